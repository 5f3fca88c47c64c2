"""From a drawn shape to a pocket and a key that the bit can cut and that go together."""

from __future__ import annotations

import math
from functools import lru_cache

from crackmap.errors import KeyShapeError
from crackmap.keys.corners import with_corners
from crackmap.keys.outline import (
    bounding_box,
    is_simple,
    least_convex_radius,
    least_notch_radius,
    offset,
    take_apart,
)
from crackmap.keys.shapes import Form, ShapeFunction, form_named
from crackmap.records import FloatArray, KeyShape
from crackmap.settings import nearest_hint
from crackmap.shop import SHAPE_CORNERS, Bit, Fit

# A slot exactly as wide as the bit leaves the CAM program no path; so little more is enough.
PASSING_ROOM = 0.1  # [mm]
# The clearance may take at most this share of the neck: past it the fit is no fit.
MOST_NECK_LOST = 0.25  # [-]


@lru_cache(maxsize=4096)  # rows of keys repeat a few sizes; the record is frozen, so sharing it is safe
def make_key(shape: str, length: float, width: float, waist: float, depth: float, bit: Bit, fit: Fit,
             corners: str = "round") -> KeyShape:
    """A key and its pocket for this bit and fit.

    Parameters
    ----------
    shape : str
        A name in `SHAPES`.
    length, width, waist : float
        Nominal lengths: along the grain, across the head, across the waist. [mm]
    depth : float
        Of the pocket. [mm]
    bit : Bit
        Every inside radius of the pocket and every notch of the key is at least
        the bit's radius.
    fit : Fit
        The clearance a side is split between pocket and key by `pocket_share`.
    corners : {"round", "chisel", "corner-relief", "end-relief"}
        What is done with the head's corners (see `corners`); all but the first
        leave the key's square.

    Returns
    -------
    KeyShape
        Pocket and key as outlines whose arcs are concentric; their radii differ
        by the clearance, and by what the bit measures under its nominal size.

    Raises
    ------
    KeyShapeError
        If it cannot be cut or fitted; says which length to change.
    """
    form = form_named(shape)
    _demand_sane(depth, bit, fit)
    room = bit.diameter + PASSING_ROOM
    if waist < room:
        raise KeyShapeError(f"a {bit.diameter:g} mm bit cannot pass a waist of {waist:.2f} mm; make the "
                            f"waist at least {room:.2f} mm or use a smaller bit.")
    outward = fit.clearance * fit.pocket_share + bit.undersize
    inward = fit.clearance * (1.0 - fit.pocket_share) + bit.undersize
    neck = waist - 2.0 * inward
    if neck < (1.0 - MOST_NECK_LOST) * waist:
        raise KeyShapeError(f"a clearance of {fit.clearance:g} mm a side eats the neck: {max(neck, 0.0):.2f} "
                            f"mm of the {waist:.2f} mm waist is left; use a smaller clearance or a wider "
                            "waist.")
    corner = _corner_radius(bit, fit)
    nominal = take_apart(_outline_function(form, corners)(length, width, waist, corner))
    pocket, key = offset(nominal, outward), offset(nominal, -inward)
    if corners != "round":
        pocket = with_corners(pocket, corners, corner)
    _demand_cuttable(shape, pocket, key, bit)
    return KeyShape(shape=shape, length=length, width=width, waist=waist, corner_radius=corner,
                    clearance=fit.clearance, depth=depth, thickness=depth + fit.proud, pocket=pocket, key=key,
                    corners=corners)


def _outline_function(form: Form, corners: str) -> ShapeFunction:
    if corners not in SHAPE_CORNERS:
        raise KeyShapeError(f"unknown corners {corners!r}{nearest_hint(corners, list(SHAPE_CORNERS))}")
    if corners == "round":
        return form.outline
    if form.square is None:
        raise KeyShapeError(f"a {form.name} key has no corners to square; use corners = \"round\", or the "
                            "straight shape.")
    return form.square


def drawn_gap(bit: Bit, fit: Fit) -> float:
    """Gap a side between the drawn outlines: the clearance and twice the bit's undersize. [mm]"""
    return fit.clearance + 2.0 * bit.undersize


def _corner_radius(bit: Bit, fit: Fit) -> float:
    """Corner radius of the nominal outline. [mm]

    The bit's, but never so small that the offsets bring a pocket corner or a
    key notch under the bit's radius, or eat a corner of the key.
    """
    inward = fit.clearance * (1.0 - fit.pocket_share) + bit.undersize
    return max(bit.corner_radius, bit.diameter / 2.0 - bit.undersize, inward)


def _demand_sane(depth: float, bit: Bit, fit: Fit) -> None:
    if not (math.isfinite(depth) and depth > 0.0):
        raise KeyShapeError(f"the pocket's depth must be more than zero, not {depth:g} mm.")
    if not (math.isfinite(fit.clearance) and fit.clearance >= 0.0):
        raise KeyShapeError(f"the clearance must be zero or more, not {fit.clearance:g} mm a side.")
    if not 0.0 <= fit.pocket_share <= 1.0:
        raise KeyShapeError(f"the pocket's share of the clearance must be 0 to 1, not {fit.pocket_share:g}.")
    if not bit.diameter > 0.0 or not bit.cutting_diameter > 0.0:
        raise KeyShapeError(f"the bit's diameter must be more than zero, not {bit.cutting_diameter:g} mm.")


def _demand_cuttable(shape: str, pocket: FloatArray, key: FloatArray, bit: Bit) -> None:
    """The last look at the outlines themselves, whatever shape function made them."""
    radius = bit.diameter / 2.0
    hole, piece = take_apart(pocket), take_apart(key)
    for what, least in (("inside corner of the pocket", least_convex_radius(hole)),
                        ("notch of the key", least_notch_radius(piece))):
        if least < radius - 1e-9:
            raise KeyShapeError(f"the smallest {what} has a radius of {least:.2f} mm, less than the "
                                f"{radius:.2f} mm of the bit; use a smaller bit.")
    for what, outline in (("pocket", hole), ("key", piece)):
        if not is_simple(outline):
            x0, y0, x1, y1 = bounding_box(outline)
            raise KeyShapeError(f"the outline of the {shape} {what} ({x1 - x0:.1f} x {y1 - y0:.1f} mm) "
                                "crosses itself; make it longer or its waist wider.")
