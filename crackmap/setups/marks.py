"""The marks by which a slab is found again: those that are there, and witness points where they are out of reach.

A witness point is drilled by the machine in one set-up and found again in a
later one, so it must be in reach of both. Where it can, it lies inside a
pocket that is cut later, which takes it away again; else in sound wood.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from crackmap.frames import turned
from crackmap.keys.outline import to_polygon
from crackmap.records import FloatArray, Key, Survey
from crackmap.setups.spots import BoolArray, Spot
from crackmap.shop import Bed

_LIVE_EDGE = 25.0  # kept off: sapwood is soft there and bark comes off (a choice) [mm]
_STEP = 20.0  # between points of free wood that are looked at [mm]
_WING = 0.32  # of a key's length from its waist: the middle of a wing, in sound wood [-]
_CHORD = 0.2  # of pockets' arcs [mm]
_FAR = 400.0  # marks farther apart than this serve no better: the machine finds each to a tenth [mm]
# What a point must gain in distance to be worth it: the machine drills true but spoils wood, unless a
# pocket takes the point away; a point set out by hand is off by half a millimetre or so. [mm]
DRILLED = {"marker": 0.0, "pocket": 20.0, "wood": 80.0}
BY_HAND = {"marker": 0.0, "pocket": 230.0, "wood": 250.0}


@dataclass(frozen=True, slots=True)
class Point:
    """A place that can serve as a mark."""

    at: tuple[float, float]  # [mm]
    kind: str  # "marker", "pocket", "wood"
    name: str = ""  # of the marker or, for "pocket", the key


def standing_marks(survey: Survey) -> list[Point]:
    """The marks pricked through the paper: A, B and the centres of further markers on the slab."""
    points = [Point(_pair(survey.datum.a), "marker", "A"), Point(_pair(survey.datum.b), "marker", "B")]
    slab = shapely.Polygon(survey.outline)
    for reference in survey.references:
        middle = _pair(reference.corners_mm.mean(axis=0))
        lies_on_slab = abs(reference.height_mm) < 1.0 and slab.contains(shapely.Point(middle))
        known = any(np.hypot(middle[0] - p.at[0], middle[1] - p.at[1]) < 1.0 for p in points)
        if reference.kind == "marker" and reference.used and lies_on_slab and not known:
            points.append(Point(middle, "marker", f"M{reference.id}"))
    return points


def _pair(point: FloatArray) -> tuple[float, float]:
    return float(point[0]), float(point[1])


class Wood:
    """Where a witness point may lie."""

    def __init__(self, survey: Survey, keys: Sequence[Key], margin: float) -> None:
        slab = shapely.buffer(shapely.Polygon(survey.outline), -max(margin, _LIVE_EDGE))
        openings = [shapely.buffer(shapely.Polygon(void.polygon), margin) for void in survey.voids]
        self._cracks = shapely.union_all([
            *openings,
            *(shapely.buffer(shapely.LineString(crack.centreline), margin + crack.widest / 2.0, quad_segs=4)
              for crack in survey.cracks)])
        pockets = [shapely.buffer(to_polygon(key.pocket, _CHORD), margin) for key in keys]
        self._free = shapely.difference(slab, shapely.union_all([self._cracks, *pockets]))
        self._keys = keys
        low, high = survey.outline.min(axis=0), survey.outline.max(axis=0)
        x, y = (np.arange(np.ceil(a / _STEP), b / _STEP) * _STEP for a, b in zip(low, high, strict=True))
        grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        self._grid: FloatArray = grid[shapely.contains_xy(self._free, grid[:, 0], grid[:, 1])]

    def in_pockets(self, uncut: BoolArray) -> list[Point]:
        """Points in the wings of pockets that are still to be cut."""
        points = []
        for key in (key for key, is_left in zip(self._keys, uncut, strict=True) if is_left):
            a = np.radians(key.angle_deg)
            for side in (-1.0, 1.0):
                at = key.centre + side * _WING * key.shape.length * np.array([np.cos(a), np.sin(a)])
                if not shapely.contains_xy(self._cracks, *at):
                    points.append(Point(_pair(at), "pocket", key.id))
        return points

    def in_free_wood(self, area: shapely.Geometry) -> list[Point]:
        """Points of sound wood in an area."""
        inside = shapely.contains_xy(area, self._grid[:, 0], self._grid[:, 1])
        return [Point(_pair(at), "wood") for at in self._grid[inside]]

    def on_line(self, a: FloatArray, b: FloatArray, area: shapely.Geometry) -> list[Point]:
        """Points of sound wood on the line through both datum marks: the easiest to set out by hand."""
        along = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        reach = float(np.hypot(*(self._grid.max(axis=0) - self._grid.min(axis=0)))) if len(self._grid) else 0.0
        points = a + np.arange(-np.ceil(reach), reach, _STEP / 2.0)[:, None] * along
        shapely.prepare(area)
        good = (shapely.contains_xy(self._free, points[:, 0], points[:, 1])
                & shapely.contains_xy(area, points[:, 0], points[:, 1]))
        return [Point(_pair(at), "wood") for at in points[good]]


def reach_on_slab(spot: Spot, shift: FloatArray, bed: Bed, rim: float) -> shapely.Geometry:
    """What the machine reaches, clear of clamps, in the slab frame.

    `shift` has shape (2,), `rim` is what stays free round the bed. [mm]
    """
    reach = shapely.box(rim, rim, bed.x - rim, bed.y - rim)
    clamps = [shapely.box(x, y, x + long, y + wide) for x, y, long, wide in bed.clamps]
    free = shapely.difference(reach, shapely.union_all(clamps)) if clamps else reach
    return shapely.transform(free, lambda points: turned(points - shift, -spot.lie.turn_deg))


def within(points: Iterable[Point], area: shapely.Geometry) -> list[Point]:
    """The points in an area, its edge included."""
    grown = shapely.buffer(area, 1e-4)
    return [point for point in points if shapely.intersects_xy(grown, *point.at)]


def best_pair(points: Sequence[Point], least: float, costs: Mapping[str, float]) -> tuple[Point, Point] | None:
    """The two points that fix a slab best; None if no two are `least` apart.

    Distance counts up to `_FAR`; a point that has to be made takes off what `costs` says for its kind.

    `least` in mm.
    """
    if len(points) < 2:
        return None
    at = np.array([point.at for point in points])
    apart = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    cost = np.array([costs[point.kind] for point in points])
    worth = np.where(apart >= least, np.minimum(apart, _FAR) - cost[:, None] - cost[None], -np.inf)
    worth += 1e-4 * apart  # of pairs beyond `_FAR` still the farther one
    first, second = divmod(int(np.argmax(worth)), len(points))
    return (points[first], points[second]) if np.isfinite(worth[first, second]) else None
