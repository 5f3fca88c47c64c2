"""Key shapes: pure functions from four lengths to an outline.

Each takes length, head width, waist width and corner radius [mm] and returns
rows ``(x, y, bulge)`` in the key's frame: x along the length, origin at the
middle of the waist, anticlockwise. Every shape is a belt laid round circles,
tangent to each of them; a circle that the belt passes on its other side makes a
hollow. So length, width and waist are exact, arcs stay arcs, and every outline
can be offset exactly.

To add a shape, write such a function with `belt` and put it in `SHAPES` with
the proportions it looks and holds best at.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from crackmap.errors import KeyShapeError, quoted
from crackmap.keys.outline import without_repeats
from crackmap.records import FloatArray, frozen_array
from crackmap.settings import nearest_hint

ShapeFunction = Callable[[float, float, float, float], FloatArray]
# Centre x, centre y, radius; negative: passed on the other side (a hollow). [mm]
Circle = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Form:
    """A shape that can be chosen by name.

    `width_ratio` and `waist_ratio` are shares of the length: what the sizes of
    a family take where the shop file says nothing. One maker gives 0.30 of the
    length for the waist (common practice, no source); ours is narrower, because the
    neck is many times stronger along its grain than the shoulders beside it bear.
    """

    name: str
    outline: ShapeFunction
    about: str
    width_ratio: float
    waist_ratio: float
    square: ShapeFunction | None = None  # the same with sharp corners, where that makes sense


def belt(circles: list[Circle]) -> FloatArray:
    """The tangent outline round circles taken in anticlockwise order.

    Parameters
    ----------
    circles : list of (x, y, radius)
        A negative radius is a circle that lies outside the belt. [mm]

    Raises
    ------
    KeyShapeError
        If two neighbouring circles overlap so that no tangent joins them.
    """
    chain = [c for c, last in zip(circles, [circles[-1], *circles[:-1]], strict=True) if c != last]
    headings = [_tangent_heading(a, b) for a, b in zip(chain, [*chain[1:], chain[0]], strict=True)]
    rows: list[tuple[float, float, float]] = []
    arrivals = [headings[-1], *headings[:-1]]
    for (x, y, radius), arriving, leaving in zip(chain, arrivals, headings, strict=True):
        sweep = (leaving - arriving) % (2.0 * math.pi)
        if 2.0 * math.pi - sweep < 1e-9:  # a full turn is rounding noise about none
            sweep = 0.0
        if radius < 0.0 and sweep > 0.0:
            sweep -= 2.0 * math.pi
        # Some readers stumble over a bulge above 1: an arc past the half turn becomes two.
        parts = 2 if abs(sweep) > math.pi + 1e-9 else 1
        bulge = math.tan(sweep / parts / 4.0)
        for part in range(parts):
            heading = arriving + sweep * part / parts
            rows.append((x + radius * math.sin(heading), y - radius * math.cos(heading), bulge))
        rows.append((x + radius * math.sin(leaving), y - radius * math.cos(leaving), 0.0))
    return frozen_array(without_repeats(rows), 3)


def _tangent_heading(a: Circle, b: Circle) -> float:
    """Direction of the belt between two circles. [rad]"""
    dx, dy = b[0] - a[0], b[1] - a[1]
    apart = math.hypot(dx, dy)
    rise = a[2] - b[2]
    if abs(rise) > apart + 1e-9:
        raise KeyShapeError("the key's circles overlap; make it longer, its waist wider, or its corners "
                            "smaller.")
    return math.atan2(dy, dx) + math.asin(max(-1.0, min(1.0, rise / apart)))


def straight(length: float, width: float, waist: float, corner_radius: float) -> FloatArray:
    """Bow tie with straight flanks, its four corners and two notches rounded. All in mm; rows as `belt` gives them."""
    return _straight(length, width, waist, corner_radius, corner_radius)


def square_straight(length: float, width: float, waist: float, corner_radius: float) -> FloatArray:
    """Bow tie with straight flanks and sharp corners; only its notches are rounded.

    All in mm; rows as `belt` gives them.
    """
    return _straight(length, width, waist, 0.0, corner_radius)


def _straight(length: float, width: float, waist: float, corner: float, notch: float) -> FloatArray:
    _demand_order("straight", length, width, waist)
    _demand_corner_room("straight", width, corner)
    x, y = length / 2.0 - corner, width / 2.0 - corner
    bottom = waist / 2.0 + notch
    if x <= 0.0 or math.hypot(x, bottom - y) < corner + notch:
        raise KeyShapeError(f"a straight key {length:.1f} mm long is too short for corners of "
                            f"{max(corner, notch):.2f} mm radius; make it longer or use a smaller bit.")
    return belt([(x, -y, corner), (x, y, corner), (0.0, bottom, -notch),
                 (-x, y, corner), (-x, -y, corner), (0.0, -bottom, -notch)])


def curved(length: float, width: float, waist: float, corner_radius: float) -> FloatArray:
    """Bow tie whose flanks are one hollow arc each, tangent to the rounded corners.

    All in mm; rows as `belt` gives them.
    """
    _demand_order("curved", length, width, waist)
    _demand_corner_room("curved", width, corner_radius)
    r = corner_radius
    x, y = length / 2.0 - r, width / 2.0 - r
    hollow = _hollow_radius(x, y, r, waist)
    _demand_hollow("curved", hollow, r)
    return belt([(x, -y, r), (x, y, r), (0.0, waist / 2.0 + hollow, -hollow),
                 (-x, y, r), (-x, -y, r), (0.0, -waist / 2.0 - hollow, -hollow)])


def two_lobe(length: float, width: float, waist: float, corner_radius: float) -> FloatArray:
    """Two round lobes joined by a neck.

    The fillets between lobe and neck are half the waist where there is room,
    which keeps the stress down where the neck begins, and never less than the
    corner radius; on a short key they meet in one hollow arc.

    All in mm; rows as `belt` gives them.
    """
    _demand_order("two-lobe", length, width, waist)
    lobe = width / 2.0
    return _lobes_and_neck("two-lobe", length, lobe, waist, max(corner_radius, waist / 2.0), corner_radius)


def strap(length: float, width: float, waist: float, corner_radius: float) -> FloatArray:
    """Straight strap with dowel ends, for very narrow cracks.

    With a width equal to the waist it is a plain slot with round ends, which
    holds by its glue line alone.

    All in mm; rows as `belt` gives them.
    """
    if width == waist and length > width:
        x = (length - width) / 2.0
        return belt([(x, 0.0, width / 2.0), (-x, 0.0, width / 2.0)])
    _demand_order("strap", length, width, waist)
    return _lobes_and_neck("strap", length, width / 2.0, waist, corner_radius, corner_radius)


def _lobes_and_neck(name: str, length: float, lobe: float, waist: float, fillet: float,
                    least_fillet: float) -> FloatArray:
    x = length / 2.0 - lobe
    if x <= 0.0:
        raise KeyShapeError(f"a {name} key {length:.1f} mm long has no room for two lobes of {2 * lobe:.1f} "
                            f"mm; make it longer than {4 * lobe - waist:.1f} mm or its head narrower.")
    one_arc = _hollow_radius(x, 0.0, lobe, waist)
    _demand_hollow(name, one_arc, least_fillet)
    if one_arc <= fillet:
        y = waist / 2.0 + one_arc
        return belt([(x, 0.0, lobe), (0.0, y, -one_arc), (-x, 0.0, lobe), (0.0, -y, -one_arc)])
    y = waist / 2.0 + fillet
    inner = x - math.sqrt((lobe + fillet) ** 2 - y**2)
    return belt([(x, 0.0, lobe), (inner, y, -fillet), (-inner, y, -fillet),
                 (-x, 0.0, lobe), (-inner, -y, -fillet), (inner, -y, -fillet)])


def _hollow_radius(x: float, y: float, radius: float, waist: float) -> float:
    """Radius of the arc that touches both corner circles (at +-x, y) and the waist in its middle. [mm]

    From the distance of the centres: x^2 + (waist/2 + h - y)^2 = (h + radius)^2.
    """
    drop = waist / 2.0 - y
    return (x**2 + drop**2 - radius**2) / (2.0 * (radius - drop))


def _demand_order(name: str, length: float, width: float, waist: float) -> None:
    for what, value in (("length", length), ("head width", width), ("waist", waist)):
        if not (math.isfinite(value) and value > 0.0):
            raise KeyShapeError(f"the {what} of a {name} key must be more than zero, not {value:g} mm.")
    if waist >= width:
        raise KeyShapeError(f"the waist of a {name} key ({waist:.2f} mm) must be narrower than its head "
                            f"({width:.2f} mm), or it cannot hold; make the head wider or the waist "
                            "narrower.")


def _demand_corner_room(name: str, width: float, corner_radius: float) -> None:
    if 2.0 * corner_radius > width:
        raise KeyShapeError(f"the head of a {name} key is {width:.2f} mm wide, too narrow for two corners of "
                            f"{corner_radius:.2f} mm radius; make it at least {2 * corner_radius:.2f} mm "
                            "wide or use a smaller bit.")


def _demand_hollow(name: str, hollow: float, corner_radius: float) -> None:
    if hollow < corner_radius - 1e-9:
        raise KeyShapeError(f"the hollow of a {name} key would have a radius of {hollow:.2f} mm, less than "
                            f"the {corner_radius:.2f} mm that the bit needs; make the key longer, its head "
                            "narrower, or use a smaller bit.")


SHAPES: dict[str, Form] = {
    form.name: form
    for form in (
        Form("straight", straight, "bow tie with straight flanks", 0.42, 0.18, square_straight),
        Form("curved", curved, "bow tie with hollow flanks", 0.42, 0.18),
        Form("two-lobe", two_lobe, "two round lobes and a neck", 0.42, 0.18),
        Form("strap", strap, "narrow strap with dowel ends, for hairline cracks", 0.22, 0.13),
    )
}


def form_named(name: str) -> Form:
    """The shape called `name`.

    Raises
    ------
    KeyShapeError
        If there is none; names the nearest.
    """
    if name not in SHAPES:
        raise KeyShapeError(f"unknown key shape {quoted(name)}{nearest_hint(name, list(SHAPES))}")
    return SHAPES[name]
