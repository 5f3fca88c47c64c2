"""Geometry of closed outlines made of lines and arcs.

Terminology
-----------
Outline   rows ``(x, y, bulge)``, shape (N, 3), closed, anticlockwise. `bulge`
          is DXF's: the tangent of a quarter of the angle of the arc that leads
          to the next row; 0 a line, positive an arc that turns left.
Convex    turning left: an outer corner of the outlined area. In a pocket it is
          an inside corner that the bit has to reach into.
Notch     turning right: the area is hollow there. On a key the bit has to reach
          into it from outside.
Tangent   every segment leaves a row in the direction in which the last one
          arrived. Such an outline is offset exactly by moving each row along
          its normal and keeping the bulges: arcs stay concentric.

All lengths are millimetres, angles degrees.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import Polygon

from crackmap.errors import KeyShapeError
from crackmap.records import FloatArray, frozen_array

CHORD_TOLERANCE = 0.002  # how far a chord may stray from its arc: a tenth of what a router holds [mm]
_REACH_CHORDS = 0.01  # of the check that the bit reaches everything [mm]
_CROSSING_CHORDS = 0.1  # fine enough to see an outline cross itself [mm]
# Rows closer than this are one point: tangent points of circles are found to the root of the rounding. [mm]
_SAME_POINT = 1e-5
_LEFT = np.array([-1.0, 1.0])  # (dy, dx) times this is (dx, dy) turned left by a right angle
_TANGENT_WITHIN = 1e-3  # a turn at a row below this counts as none: rows read back from plan.json are rounded [rad]


@dataclass(frozen=True, slots=True)
class Segments:
    """An outline taken apart, one entry for each row; lines have radius inf.

    `angle` is the signed angle that the segment turns through [rad];
    `heading_in` and `heading_out` are its directions at start and end [rad].
    """

    start: FloatArray  # (N, 2) [mm]
    end: FloatArray  # (N, 2) [mm]
    bulge: FloatArray  # (N,) [-]
    angle: FloatArray  # (N,) [rad]
    radius: FloatArray  # (N,) [mm]
    centre: FloatArray  # (N, 2), nan for lines [mm]
    heading_in: FloatArray  # (N,) [rad]
    heading_out: FloatArray  # (N,) [rad]
    turn: FloatArray  # (N,) at its start: 0 where tangent, positive at a sharp convex corner [rad]
    is_arc: NDArray[np.bool_]  # (N,)


Outline = ArrayLike | Segments  # what the measuring functions take; apart already, it saves doing so again


def take_apart(outline: Outline) -> Segments:
    """The segments of an outline with their circles and headings."""
    if isinstance(outline, Segments):
        return outline
    rows = np.asarray(outline, float)
    start, bulge = rows[:, :2], rows[:, 2]
    end = np.concatenate([start[1:], start[:1]])
    chord = end - start
    length = np.hypot(chord[:, 0], chord[:, 1])
    angle = 4.0 * np.arctan(bulge)
    is_arc = bulge != 0.0
    quarter = np.where(is_arc, 4.0 * bulge, np.nan)
    squared = bulge**2
    radius = np.where(is_arc, length * (1.0 + squared) / np.abs(quarter), np.inf)
    # The centre lies on the chord's left normal, this share of its length from the middle.
    left = chord[:, ::-1] * ((1.0 - squared) / quarter)[:, None] * _LEFT
    heading = np.arctan2(chord[:, 1], chord[:, 0])
    heading_in, heading_out = heading - angle / 2.0, heading + angle / 2.0
    turn = heading_in - _before(heading_out)
    turn -= 2.0 * np.pi * np.round(turn / (2.0 * np.pi))
    return Segments(start, end, bulge, angle, radius, (start + end) / 2.0 + left, heading_in, heading_out, turn,
                    is_arc)


def outline_area(outline: Outline) -> float:
    """Area, exact: the polygon of the rows and the arcs' circle segments. [mm2]"""
    s = take_apart(outline)
    polygon = np.sum(s.start[:, 0] * s.end[:, 1] - s.end[:, 0] * s.start[:, 1]) / 2.0
    arcs = s.is_arc
    bows = s.radius[arcs] ** 2 * (s.angle[arcs] - np.sin(s.angle[arcs])) / 2.0
    return float(polygon + bows.sum())


def outline_length(outline: Outline) -> float:
    """Length once round, exact. [mm]"""
    s = take_apart(outline)
    arcs = s.is_arc
    chords = np.hypot(*(s.end - s.start)[~arcs].T)
    return float(chords.sum() + np.abs(s.angle[arcs] * s.radius[arcs]).sum())


def bounding_box(outline: Outline) -> tuple[float, float, float, float]:
    """(x least, y least, x most, y most), exact, arcs included. [mm]"""
    s = take_apart(outline)
    points = [s.start]
    arcs = s.is_arc
    for quarter, direction in enumerate(((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))):
        from_start = np.arctan2(*(s.start - s.centre)[arcs].T[::-1])
        turned = (quarter * np.pi / 2.0 - from_start) * np.sign(s.angle[arcs])
        on_arc = np.mod(turned, 2.0 * np.pi) <= np.abs(s.angle[arcs])
        points.append(s.centre[arcs][on_arc] + s.radius[arcs][on_arc, None] * np.array(direction))
    every = np.concatenate(points)
    return (*map(float, every.min(axis=0)), *map(float, every.max(axis=0)))  # type: ignore[return-value]


def turns_at_rows(outline: Outline) -> FloatArray:
    """Signed turn at each row, shape (N,): 0 where tangent, positive at a sharp convex corner. [rad]"""
    return take_apart(outline).turn


def is_tangent(outline: Outline) -> bool:
    """True where no row has a corner."""
    return bool(np.abs(turns_at_rows(outline)).max() < _TANGENT_WITHIN)


def least_convex_radius(outline: Outline) -> float:
    """Smallest radius that a bit inside the outline must reach into; 0 at a sharp corner. [mm]"""
    return _least_radius(outline, 1.0)


def least_notch_radius(outline: Outline) -> float:
    """Smallest radius that a bit outside the outline must reach into; inf where nothing is hollow. [mm]"""
    return _least_radius(outline, -1.0)


def _least_radius(outline: Outline, side: float) -> float:
    s = take_apart(outline)
    if bool((s.turn * side > _TANGENT_WITHIN).any()):
        return 0.0
    radii = s.radius[s.is_arc & (s.bulge * side > 0.0)]
    return float(radii.min()) if len(radii) else float("inf")


def offset(outline: Outline, distance: float) -> FloatArray:
    """The outline moved outwards by `distance` (inwards where negative), exact.

    Arcs stay concentric; a sharp corner between two lines stays sharp.

    `distance` in mm.

    Raises
    ------
    KeyShapeError
        If a sharp corner meets an arc, or an arc is smaller than the offset.
    """
    s = take_apart(outline)
    rows = np.column_stack([s.start, s.bulge])
    if distance == 0.0:
        return frozen_array(rows, 3)
    sharp = np.abs(s.turn) > _TANGENT_WITHIN
    if np.any(sharp & (s.is_arc | _before(s.is_arc))):
        raise KeyShapeError("an outline with a sharp corner at an arc has no exact offset; round that "
                            "corner first.")
    turning = s.is_arc
    moved_radius = s.radius[turning] + distance * np.sign(s.bulge[turning])
    if np.any(moved_radius < 0.0):
        raise KeyShapeError(f"an arc of {s.radius[turning][np.argmin(moved_radius)]:.2f} mm radius is "
                            f"smaller than the offset of {abs(distance):.2f} mm; use larger corners or a "
                            "smaller offset.")
    leaving, arriving = _right_normal(s.heading_in), _right_normal(_before(s.heading_out))
    # Both neighbours move out by the distance: at a corner their lines meet on its mitre.
    mitre = (leaving + arriving) / (1.0 + np.sum(leaving * arriving, axis=1, keepdims=True))
    rows[:, :2] += distance * mitre
    return frozen_array(without_repeats(rows), 3)


def _before(values: NDArray[Any]) -> NDArray[Any]:
    """Each row's predecessor."""
    return np.concatenate([values[-1:], values[:-1]])


def _right_normal(heading: FloatArray) -> FloatArray:
    return np.column_stack([np.sin(heading), -np.cos(heading)])


def without_repeats(outline: ArrayLike) -> FloatArray:
    """The outline without segments of no length (an arc whose radius went to 0, a line that closed up)."""
    rows = np.asarray(outline, float)
    step = np.concatenate([rows[1:, :2], rows[:1, :2]]) - rows[:, :2]
    # A row is dropped where its own segment has no length: the next row stands at the same place.
    return np.asarray(rows[np.hypot(step[:, 0], step[:, 1]) > _SAME_POINT])


def moved(outline: ArrayLike, angle_deg: float, centre: ArrayLike) -> FloatArray:
    """The outline turned about its origin by `angle_deg`, then shifted by `centre`. [mm]"""
    rows = np.array(outline, dtype=float)
    a = np.radians(angle_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    rows[:, :2] = rows[:, :2] @ turn + np.asarray(centre, float).reshape(2)
    return frozen_array(rows, 3)


def mirrored(outline: ArrayLike) -> FloatArray:
    """The outline mirrored in the x axis (y to -y), still anticlockwise."""
    rows = np.asarray(outline, float)
    back = rows[::-1].copy()
    back[:, 1] *= -1.0
    # Run backwards, a segment's bulge belongs to the row at its other end; mirrored and
    # reversed, a left turn stays a left turn.
    back[:, 2] = np.roll(rows[:, 2], 1)[::-1]
    return frozen_array(back, 3)


def to_points(outline: Outline, chord_tolerance: float = CHORD_TOLERANCE) -> FloatArray:
    """Points along the outline, shape (M, 2), not closed; chords stray by at most `chord_tolerance`. [mm]

    The points lie on the arcs, so an area is short by a share of that tolerance.
    """
    s = take_apart(outline)
    arc = s.is_arc
    step = 2.0 * np.arccos(np.maximum(1.0 - chord_tolerance / np.maximum(s.radius, chord_tolerance / 2.0),
                                      -1.0))
    pieces = np.ones(len(arc), dtype=int)
    pieces[arc] = np.maximum(1, np.ceil(np.abs(s.angle[arc]) / step[arc]))
    which = np.repeat(np.arange(len(pieces)), pieces)
    points = s.start[which]
    on_arc = np.flatnonzero(arc[which])
    of = which[on_arc]
    a = (on_arc - (np.cumsum(pieces) - pieces)[of]) / pieces[of] * s.angle[of]
    centre = s.centre[of]
    x, y = (points[on_arc] - centre).T
    cos, sin = np.cos(a), np.sin(a)
    points[on_arc] = centre + np.column_stack([x * cos - y * sin, x * sin + y * cos])
    return points


def to_polygon(outline: Outline, chord_tolerance: float = CHORD_TOLERANCE) -> Polygon:
    """A shapely polygon whose chords stray from the arcs by at most `chord_tolerance`. [mm]"""
    return Polygon(to_points(outline, chord_tolerance))


def distances_to(outline: Outline, points: ArrayLike) -> FloatArray:
    """Distance of each point, shape (M, 2), from the outline's line, exact, shape (M,). [mm]"""
    s = take_apart(outline)
    p = np.asarray(points, float).reshape(-1, 2)
    nearest = _lengths(p[:, None] - s.start).min(axis=1)
    line, arc = ~s.is_arc, s.is_arc
    if line.any():
        run = s.end[line] - s.start[line]
        along = np.sum((p[:, None] - s.start[line]) * run, axis=2) / np.sum(run**2, axis=1)
        foot = s.start[line] + np.clip(along, 0.0, 1.0)[:, :, None] * run
        nearest = np.minimum(nearest, _lengths(p[:, None] - foot).min(axis=1))
    if arc.any():
        spoke = p[:, None] - s.centre[arc]
        first = s.start[arc] - s.centre[arc]
        from_first = np.arctan2(spoke[..., 1], spoke[..., 0]) - np.arctan2(first[:, 1], first[:, 0])
        beside = np.mod(from_first * np.sign(s.angle[arc]), 2.0 * np.pi) <= np.abs(s.angle[arc])
        away = np.abs(_lengths(spoke) - s.radius[arc])
        nearest = np.minimum(nearest, np.where(beside, away, np.inf).min(axis=1))
    return np.asarray(nearest)


def _lengths(vectors: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(vectors[..., 0] ** 2 + vectors[..., 1] ** 2))


def is_simple(outline: Outline) -> bool:
    """True where the outline does not cross or touch itself and runs anticlockwise."""
    s = take_apart(outline)
    return bool(to_polygon(s, _CROSSING_CHORDS).is_valid and outline_area(s) > 0.0)


def unreached_area(outline: Outline, bit_diameter: float) -> float:
    """Area inside the outline that a round bit inside it leaves standing. [mm2]

    Opening by the bit's radius (erode, then dilate); what the opening loses is
    what the bit cannot reach. Where the eroded area falls apart, the bit cannot
    get from one part to the other at full depth, and all but the largest part
    count as unreached. The chords and the dilation's own facets lose a sliver:
    that is what `reach_tolerance` allows for.

    Where everything is reached, Steiner's formula for the inner parallel curve
    holds, eroded area = A - r L + pi r^2 (from memory), and the dilation is
    spared; a corner or gate that the bit cannot enter leaves more.
    """
    s = take_apart(outline)
    polygon = to_polygon(s, _REACH_CHORDS)
    radius = bit_diameter / 2.0
    pieces = _quarter_pieces(radius, _REACH_CHORDS)
    eroded = shapely.buffer(polygon, -radius, quad_segs=pieces)
    if eroded.is_empty:
        return float(polygon.area)
    kept = polygon.area - radius * outline_length(s) + np.pi * radius**2
    if eroded.geom_type == "Polygon" and eroded.area - kept <= reach_tolerance(s) / 2.0:
        return max(0.0, float(eroded.area - kept))
    if eroded.geom_type == "MultiPolygon":
        eroded = max(eroded.geoms, key=lambda part: part.area)
    opened = shapely.buffer(eroded, radius, quad_segs=pieces)
    # An opening only ever takes away, so the areas' difference is the area of the difference.
    return max(0.0, float(polygon.area - opened.area))


def reach_tolerance(outline: Outline) -> float:
    """Area that `unreached_area` may report though everything is reached. [mm2]

    A sliver along the outline as thick as half the chords' tolerance: the facets
    of polygon, erosion and dilation lose at most a third of it.
    """
    return 0.5 * _REACH_CHORDS * outline_length(outline)


def is_reachable_by_bit(outline: Outline, bit_diameter: float) -> bool:
    """True where a round bit inside the outline can cut all of it. `bit_diameter` in mm."""
    return unreached_area(outline, bit_diameter) <= reach_tolerance(outline)


def _quarter_pieces(radius: float, chord_tolerance: float) -> int:
    """Facets in a quarter circle."""
    flat = 1.0 - chord_tolerance / max(radius, chord_tolerance)
    return max(4, int(np.ceil(np.pi / 4.0 / np.arccos(flat))))
