"""Cracks and voids as areas on the show face, no part of it counted twice.

A crack is cut into slices between neighbouring centreline points: the
trapezoid rule gives each slice's area; its outline says how much of it lies in
wood that stays, outside voids and outside cracks already counted (the widest
first), and under which pocket.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.keys.outline import to_points
from crackmap.records import (
    BLIND,
    THROUGH,
    UNKNOWN,
    Below,
    Crack,
    Edits,
    FloatArray,
    Key,
    Survey,
    Void,
)
from crackmap.remember import remembered
from crackmap.settings import ResinSettings

_SAME_PLACE = 2.0  # a branch's root lies this near its stem, besides the stem's half width [mm]
# Below an opening may be wider than above, but not by more than this: more is a second opening beside it. [-]
_MOST_LOWER = 1.5
_LEAST_CHORD = 2.0  # a slice lies square to the centreline's direction over this, not to each jag [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Opening:
    """One crack or void. Slices S; a void is one slice."""

    id: str
    area: FloatArray  # (S,) on the show face, of the part that counts [mm2]
    width: FloatArray  # (S,) of a crack; of a void, the diameter of its circle of equal area [mm]
    place: FloatArray  # (S, 2) [mm]
    under_keys: FloatArray  # (S,) share of the slice that lies in a key's pocket [-]
    pocket_depth: FloatArray  # (S,) of that pocket [mm]
    length: float  # of the crack; of a void, its width [mm]
    kind: str  # "end", "closed" or "void"
    width_doubt: float  # share by which the area may be off, two sigma [-]
    state: NDArray[np.int8]  # (S,) THROUGH, BLIND or UNKNOWN, as the underside's photo tells
    lower: FloatArray  # (S,) area of the opening below over that above, where it is through and seen; else nan [-]
    wall: float  # length of wall for a millimetre of depth [mm]


def openings(survey: Survey, keys: tuple[Key, ...], edits: Edits, settings: ResinSettings) -> tuple[Opening, ...]:
    """Every crack and void that resin runs into, voids first, then cracks in the survey's order."""
    below = {} if survey.other_face is None else {b.opening: b for b in survey.other_face.below}
    wood = _sound_wood(survey, edits)
    pockets = np.array([shapely.Polygon(to_points(k.pocket)) for k in keys], object)
    depths = np.array([k.shape.depth for k in keys])
    found = [opening for void in survey.voids
             if (opening := _void(void, wood, pockets, depths, below.get(void.id))) is not None]
    taken = [_valid(shapely.Polygon(v.polygon)) for v in survey.voids]
    reaching = reaching_the_end(survey.cracks)
    by_id = {}
    for crack in sorted(survey.cracks, key=lambda c: (-c.widest, c.id)):
        if (crack.confidence >= settings.least_confidence
            or crack.drawn_by_user) and crack.widest >= settings.least_width:
            slices, body = _slices_and_body(crack)
            by_id[crack.id] = _crack(crack, slices, wood, taken, pockets, depths, crack.id in reaching,
                                     below.get(crack.id))
            taken.append(body)
    return (*found, *(by_id[c.id] for c in survey.cracks if c.id in by_id and by_id[c.id].area.sum() > 0.0))


def reaching_the_end(cracks: tuple[Crack, ...]) -> frozenset[str]:
    """Ids of cracks that open at the slab's edge, and of those that branch from them."""
    ends = np.array([p for c in cracks for p in (c.centreline[0], c.centreline[-1])]).reshape(-1, 2)
    strings = [shapely.linestrings(c.centreline) for c in cracks]

    def meets(end: int, j: int) -> bool:
        away = shapely.distance(shapely.points(ends[end]), strings[j])
        return bool(away <= _SAME_PLACE + cracks[j].widest / 2.0)

    reaching = {k for k, c in enumerate(cracks) if set(c.ends) & {"edge", "border"}}
    while True:
        more = {k for k, c in enumerate(cracks) if k not in reaching and any(
            kind == "junction" and meets(2 * k + side, j)
            for side, kind in enumerate(c.ends) for j in reaching)}
        if not more:
            return frozenset(cracks[k].id for k in reaching)
        reaching |= more


def _sound_wood(survey: Survey, edits: Edits) -> shapely.Geometry:
    slab = _valid(shapely.Polygon(survey.outline if edits.outline is None else edits.outline))
    if edits.finished_top is not None:
        slab = slab.intersection(_valid(shapely.Polygon(edits.finished_top)))
    shapely.prepare(slab)
    return slab


def _valid(polygon: shapely.Geometry) -> shapely.Geometry:
    return polygon if polygon.is_valid else shapely.make_valid(polygon, method="structure")


def _void(void: Void, wood: shapely.Geometry, pockets: NDArray[np.object_], depths: FloatArray,
          below: Below | None) -> Opening | None:
    whole = _valid(shapely.Polygon(void.polygon))
    shape = whole.intersection(wood)
    if shape.area <= 0.0:
        return None
    under, depth = _under_pockets(np.array([shape], object), pockets, depths)
    across = float(2.0 * np.sqrt(shape.area / np.pi))
    place = shapely.get_coordinates(shapely.point_on_surface(shape))
    seen = below is not None and bool(below.state[0] == THROUGH) and below.area_mm2 > 0.0
    lower = np.array([min(below.area_mm2 / whole.area, _MOST_LOWER) if seen and below is not None else np.nan])
    return Opening(void.id, np.array([shape.area]), np.array([across]), place, under, depth, across, "void", 0.0,
                   np.array([UNKNOWN], np.int8) if below is None else below.state, lower, float(shape.length))


@remembered(128)
def _slices_and_body(crack: Crack) -> tuple[NDArray[np.object_], shapely.Geometry]:
    """Outline of each slice, and of all together."""
    slices = _slices(crack)
    slices.setflags(write=False)
    return slices, shapely.union_all(slices)


def _slices(crack: Crack) -> NDArray[np.object_]:
    """Outline of each slice, shape (N - 1,)."""
    points = crack.centreline
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    reach = np.maximum(crack.width, _LEAST_CHORD) / 2.0

    def at(s: FloatArray) -> FloatArray:
        return np.column_stack([np.interp(s, arc, points[:, 0]), np.interp(s, arc, points[:, 1])])

    chord = at(arc + reach) - at(arc - reach)
    chord /= np.maximum(np.hypot(*chord.T), 1e-9)[:, None]
    side = np.column_stack([-chord[:, 1], chord[:, 0]]) * np.maximum(crack.width, 1e-3)[:, None] / 2.0
    left, right = points + side, points - side
    corners = np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1)
    return np.asarray(shapely.convex_hull(shapely.multipoints(corners)))


def _crack(crack: Crack, slices: NDArray[np.object_], wood: shapely.Geometry, taken: list[shapely.Geometry],
           pockets: NDArray[np.object_], depths: FloatArray, reaches_end: bool, below: Below | None) -> Opening:
    step = np.hypot(*np.diff(crack.centreline, axis=0).T)
    width = (crack.width[1:] + crack.width[:-1]) / 2.0
    own = np.maximum(shapely.area(slices), 1e-12)
    left = slices.copy()
    outside = ~shapely.contains(wood, slices)
    left[outside] = shapely.intersection(slices[outside], wood)
    for other in taken:
        meets = shapely.intersects(other, left)
        left[meets] = shapely.difference(left[meets], other)
    share = np.clip(shapely.area(left) / own, 0.0, 1.0)
    under, depth = _under_pockets(left, pockets, depths)
    doubt = 0.0
    if len(crack.width_sigma) == len(crack.width) and crack.width.mean() > 0.0:
        doubt = float(min(0.5, 2.0 * crack.width_sigma.mean() / crack.width.mean()))
    middle = (crack.centreline[1:] + crack.centreline[:-1]) / 2.0
    state, lower = _below_slices(crack, width, below)
    return Opening(crack.id, width * step * share, width, middle, under, depth, crack.length,
                   "end" if reaches_end else "closed", doubt, state, lower, float(2.0 * (step * share).sum()))


def _below_slices(crack: Crack, width: FloatArray, below: Below | None) -> tuple[NDArray[np.int8], FloatArray]:
    """What is known of each slice from below: its state, and the lower width over the upper."""
    unknown = np.full(len(width), UNKNOWN, np.int8), np.full(len(width), np.nan)
    if below is None or len(below.state) != len(crack.width):
        return unknown
    # A slice is through where both its ends are; one blind end makes it blind.
    first, last = below.state[:-1], below.state[1:]
    state = np.where((first == THROUGH) & (last == THROUGH), THROUGH,
                     np.where((first == BLIND) | (last == BLIND), BLIND, UNKNOWN)).astype(np.int8)
    lower = (below.width[1:] + below.width[:-1]) / 2.0 / np.maximum(width, 1e-9)
    return state, np.where(state == THROUGH, np.minimum(lower, _MOST_LOWER), np.nan)


def _under_pockets(shapes: NDArray[np.object_], pockets: NDArray[np.object_],
                   depths: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Share of each shape inside pockets and, of the pocket that takes most of it, the depth."""
    share, depth = np.zeros(len(shapes)), np.zeros(len(shapes))
    area = np.maximum(shapely.area(shapes), 1e-12)
    for pocket, pocket_depth in zip(pockets, depths, strict=True):
        shapely.prepare(pocket)
        meets = np.flatnonzero(shapely.intersects(pocket, shapes))
        inside = shapely.area(shapely.intersection(pocket, shapes[meets])) / area[meets]
        depth[meets] = np.where(inside > share[meets], pocket_depth, depth[meets])
        share[meets] = np.minimum(share[meets] + inside, 1.0)
    return share, depth
