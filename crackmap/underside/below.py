"""Cracks and voids matched from top to bottom: through, blind, or not to be told.

A crack's walls lean, so what comes out below lies beside the line above; all
along one crack it lies beside it by about as much. Each opening below is given
to the cracks or the void above that it follows, and counts for that stretch of
each which it lies under.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from crackmap.records import BLIND, THROUGH, UNKNOWN, Below, Crack, FloatArray, Survey, Void
from crackmap.settings import UndersideSettings
from crackmap.underside.register import Pose

_EDGE_BAND = 3.0  # an edge's own error: so near the underside's edge nothing is said [mm]
_PAPER = 0.35  # of a marker's side: the white paper round it, which hides the wood too [-]
_STEP = 1.0  # between points of an opening below [mm]
_SHORT_UNKNOWN = 15.0  # longest stretch that is settled by its neighbours [mm]
_LEAST_CONFIDENCE = 0.5
_SAME_WAY = 35.0  # a crack below runs as the one above, within this [deg]
_LEAST_FOLLOWED = 12  # points, so millimetres, that a line below runs along a crack, to belong to it
_WIDER_WINS = 0.7  # of a crack's width counts against the way to it: the wider of two neighbours is through [-]
_OVER = 8.0  # a stretch below, brought over its crack, wanders no farther from it than this [mm]
_LEAST_SHARE = 0.5  # of a line below that must run along cracks at all [-]
_IN_VOID = 0.3  # share of a void below that lies in the void above, at least, to be its other end [-]


@dataclass(frozen=True, slots=True, eq=False)
class _UnderLine:
    """A crack of the underside in the show face's frame, evenly spaced."""

    id: str
    points: FloatArray  # (K, 2) [mm]
    width: FloatArray  # (K,) [mm]
    heading: FloatArray  # (K,) of the line, modulo 180 [deg]


@dataclass(frozen=True, slots=True, eq=False)
class _Under:
    """The underside's openings and where it can be seen, in the show face's frame."""

    lines: tuple[_UnderLine, ...]
    voids: tuple[tuple[str, shapely.Geometry], ...]
    seen: shapely.Geometry  # wood of the underside in plain view
    narrowest: float  # crack that its photo can show [mm]


def openings_below(show: Survey, under: Survey, pose: Pose, thickness_mm: float,
                   settings: UndersideSettings) -> tuple[tuple[Below, ...], tuple[str, ...]]:
    """What becomes of every crack and void of the show face, and the underside's openings left over.

    Parameters
    ----------
    show, under : Survey
    pose : Pose
    thickness_mm : float
        Of the slab; cracks lean by a share of it. [mm]
    """
    other = _in_show_frame(under, pose)
    reach = max(6.0, 2.5 * settings.lean * thickness_mm) + max(0.0, pose.residual)
    owner = _owners(show, other, reach)
    nothing = _Owned()
    found = [_void_below(void, other, owner.get(void.id, nothing)) for void in show.voids]
    found += [_crack_below(crack, other, owner.get(crack.id, nothing), reach, settings) for crack in show.cracks]
    used = {name for own in owner.values() for name in own.ids}
    left = tuple(name for name in (*(line.id for line in other.lines), *(name for name, _ in other.voids))
                 if name not in used)
    return tuple(found), left


def _in_show_frame(under: Survey, pose: Pose) -> _Under:
    def placed(points: FloatArray) -> FloatArray:
        return np.asarray(points @ pose.matrix[:2, :2].T + pose.matrix[:2, 2])

    lines = tuple(_line(crack, placed) for crack in under.cracks
                  if crack.confidence >= _LEAST_CONFIDENCE or crack.drawn_by_user)
    voids = tuple((void.id, shapely.make_valid(shapely.Polygon(placed(void.polygon)))) for void in under.voids)
    hidden = []
    for reference in under.references:
        size = float(np.hypot(*(reference.corners_mm[1] - reference.corners_mm[0])))
        paper = _PAPER * size if reference.kind == "marker" else 2.0
        hidden.append(shapely.Polygon(placed(reference.corners_mm)).buffer(paper, join_style="mitre"))
    slab = shapely.make_valid(shapely.Polygon(placed(under.outline))).buffer(-_EDGE_BAND)
    seen = slab.difference(shapely.union_all(hidden)) if hidden else slab
    shapely.prepare(seen)
    return _Under(lines, voids, seen, under.scale.narrowest_crack_mm)


def _line(crack: Crack, placed: object) -> _UnderLine:
    assert callable(placed)
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(crack.centreline, axis=0).T))])
    at = np.linspace(0.0, arc[-1], max(3, round(arc[-1] / _STEP) + 1))
    points = placed(np.column_stack([np.interp(at, arc, crack.centreline[:, k]) for k in (0, 1)]))
    return _UnderLine(crack.id, points, np.interp(at, arc, crack.width), _headings(points))


def _headings(points: FloatArray) -> FloatArray:
    """Direction of a line at each point over some millimetres, modulo 180. [deg]"""
    span = max(1, min(5, len(points) // 2))
    padded = np.pad(points, ((span, span), (0, 0)), mode="edge")
    run = padded[2 * span:] - padded[: -2 * span]
    return np.asarray(np.degrees(np.arctan2(run[:, 1], run[:, 0])) % 180.0)


@dataclass(frozen=True, slots=True, eq=False)
class _Owned:
    """What of the underside belongs to one opening of the show face."""

    lines: tuple[_UnderLine, ...] = ()
    voids: tuple[tuple[str, shapely.Geometry], ...] = ()

    @property
    def ids(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*(line.id for line in self.lines), *(name for name, _ in self.voids))))


def _owners(show: Survey, other: _Under, reach: float) -> dict[str, _Owned]:
    """What of the underside belongs to each opening of the show face, by its id."""
    lines: dict[str, list[_UnderLine]] = {}
    voids: dict[str, list[tuple[str, shapely.Geometry]]] = {}
    shapes = {void.id: shapely.make_valid(shapely.Polygon(void.polygon)) for void in show.voids}
    above = _AboveLines(show.cracks)
    for name, shape in other.voids:
        shares = {v: shape.intersection(mouth.buffer(reach / 3.0)).area / max(shape.area, 1e-9)
                  for v, mouth in shapes.items()}
        best = max(shares, key=lambda v: shares[v], default="")
        if best and shares[best] >= _IN_VOID:
            voids.setdefault(best, []).append((name, shape))
        elif near := above.nearest(np.asarray(shape.centroid.coords)[0], reach):
            voids.setdefault(near, []).append((name, shape))  # a wide crack below may be measured as a void
    for line in other.lines:
        followed = above.followed_by(line, reach)
        for crack, stretch in followed.items():
            lines.setdefault(crack, []).append(stretch)
        if followed:
            continue
        string = shapely.linestrings(line.points)
        into = [v for v, mouth in shapes.items() if string.distance(mouth) <= reach / 3.0]
        if into:
            lines.setdefault(into[0], []).append(line)
    return {name: _Owned(tuple(lines.get(name, ())), tuple(voids.get(name, ()))) for name in {*lines, *voids}}


class _AboveLines:
    """The show face's cracks as one cloud of points with headings."""

    def __init__(self, cracks: tuple[Crack, ...]) -> None:
        self._ids = [crack.id for crack in cracks]
        lines = [np.asarray(crack.centreline) for crack in cracks]
        self._of = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
        self._heading = np.concatenate([_headings(line) for line in lines]) if lines else np.zeros(0)
        self._width = np.concatenate([np.asarray(crack.width) for crack in cracks]) if lines else np.zeros(0)
        self._tree = cKDTree(np.concatenate(lines)) if lines else None

    def followed_by(self, line: _UnderLine, reach: float) -> dict[str, _UnderLine]:
        """The stretches of a line below by the crack that each runs along, brought over it by the lean.

        Of two cracks side by side the wider is the likelier to come out.
        """
        if self._tree is None:
            return {}
        best, along = self._likeliest(line.points, line.heading, reach)
        if along.mean() < _LEAST_SHARE:
            return {}
        # The lean is what the line lies beside its cracks by, across its way, all along it.
        heading = np.radians(line.heading)
        normal = np.column_stack([-np.sin(heading), np.cos(heading)])
        points = np.asarray(self._tree.data)
        lean = float(np.median(((points[best] - line.points) * normal).sum(axis=1)[along]))
        placed = line.points + lean * normal
        best, along = self._likeliest(placed, line.heading, reach)
        of = np.where(along, self._of[best], -1)
        counts = np.bincount(of[along], minlength=len(self._ids))
        enough = min(_LEAST_FOLLOWED, max(2, int(counts.max(initial=0))))
        return {self._ids[k]: _UnderLine(line.id, placed[of == k], line.width[of == k], line.heading[of == k])
                for k in np.flatnonzero(counts >= enough)}

    def _likeliest(self, points: FloatArray, heading: FloatArray,
                   reach: float) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
        """For each point the crack point above that it belongs to, and whether there is one in reach."""
        assert self._tree is not None
        best = np.zeros(len(points), np.intp)
        found = np.zeros(len(points), bool)
        for n, near in enumerate(self._tree.query_ball_point(points, reach)):
            if not near:
                continue
            there = np.asarray(near)
            away = np.hypot(*(np.asarray(self._tree.data)[there] - points[n]).T)
            turned = np.abs((heading[n] - self._heading[there] + 90.0) % 180.0 - 90.0)
            ok = (turned <= _SAME_WAY) | (len(points) <= _LEAST_FOLLOWED)
            if ok.any():
                cost = np.where(ok, away - _WIDER_WINS * self._width[there], np.inf)
                best[n], found[n] = there[int(np.argmin(cost))], True
        return best, found

    def nearest(self, place: FloatArray, reach: float) -> str:
        """Id of the crack nearest to a place, empty where none is in reach."""
        if self._tree is None:
            return ""
        away, near = self._tree.query(place)
        return self._ids[self._of[near]] if away <= reach else ""


def _void_below(void: Void, other: _Under, own: _Owned) -> Below:
    area = sum(shape.area for _, shape in own.voids)
    area += sum(float(np.trapezoid(line.width, dx=_STEP)) for line in own.lines)
    if own.ids:
        state = THROUGH
    else:
        shape = shapely.make_valid(shapely.Polygon(void.polygon))
        state = BLIND if shape.intersection(other.seen).area >= 0.5 * shape.area else UNKNOWN
    across = float(2.0 * np.sqrt(area / np.pi))
    return Below(void.id, np.array([state], np.int8), np.array([across]), float(area), own.ids)


def _crack_below(crack: Crack, other: _Under, own: _Owned, reach: float, settings: UndersideSettings) -> Below:
    points = np.asarray(crack.centreline)
    width = np.zeros(len(points))
    for line in own.lines:
        width = np.maximum(width, _width_under(points, line))
    for _, shape in own.voids:
        width = np.maximum(width, _width_of_void_under(points, shape, reach))
    through = _joined(width > 0.0, points, settings.join_gap)
    in_view = shapely.contains_xy(other.seen, points[:, 0], points[:, 1])
    tellable = in_view & (settings.narrowing * crack.width >= other.narrowest)
    state = np.where(through, THROUGH, np.where(tellable, BLIND, UNKNOWN)).astype(np.int8)
    state = _short_unknowns_settled(state, points)
    through = state == THROUGH
    width = _filled(width, through, points)
    step = np.hypot(*np.diff(points, axis=0).T)
    both = through[1:] & through[:-1]
    area = float((((width[1:] + width[:-1]) / 2.0) * step)[both].sum())
    return Below(crack.id, state, np.where(through, width, 0.0), area, own.ids)


def _width_under(points: FloatArray, line: _UnderLine) -> FloatArray:
    """Width of a stretch below, already brought over the crack, at each of the crack's points; 0 past its ends."""
    away, nearest = cKDTree(line.points).query(points)
    within = (away <= _OVER) & ~_beyond(points, line.points, nearest)
    return np.asarray(np.where(within, np.maximum(line.width[nearest], 1e-3), 0.0))


def _beyond(points: FloatArray, line: FloatArray, nearest: NDArray[np.intp]) -> NDArray[np.bool_]:
    """True where a point lies past an end of the line, seen along it."""
    past = np.zeros(len(points), bool)
    for end, inner in ((0, min(4, len(line) - 1)), (len(line) - 1, max(0, len(line) - 5))):
        out = line[end] - line[inner]
        past |= (nearest == end) & ((points - line[end]) @ out > _STEP * np.hypot(*out))
    return past


def _width_of_void_under(points: FloatArray, shape: shapely.Geometry, reach: float) -> FloatArray:
    """A void below that belongs to a crack: its mean width over the stretch that it lies under."""
    box = shapely.minimum_rotated_rectangle(shape)
    corners = shapely.get_coordinates(box)
    longest = float(max(np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[2] - corners[1]))))
    mean = shape.area / max(longest, 1e-9)
    away = shapely.distance(shape, shapely.points(points))
    return np.asarray(np.where(away <= reach / 2.0, mean, 0.0))


def _short_unknowns_settled(state: NDArray[np.int8], points: FloatArray) -> NDArray[np.int8]:
    """Short stretches of which nothing can be told (at the edge, past a marker's rim) are as what lies beside them."""
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    settled = state.copy()
    known = np.flatnonzero(state != UNKNOWN)
    if not len(known):
        return settled
    edges = np.flatnonzero(np.diff(np.r_[0, (state == UNKNOWN).astype(np.int8), 0]))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if arc[last - 1] - arc[first] <= _SHORT_UNKNOWN:
            for k in range(first, last):
                settled[k] = state[known[np.argmin(np.abs(arc[known] - arc[k]))]]
    return settled


def _joined(seen: NDArray[np.bool_], points: FloatArray, gap: float) -> NDArray[np.bool_]:
    """Small gaps between places that are seen through are through as well."""
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    joined = seen.copy()
    at = np.flatnonzero(seen)
    for a, b in zip(at[:-1], at[1:], strict=True):
        if arc[b] - arc[a] <= gap:
            joined[a:b] = True
    return joined


def _filled(width: FloatArray, through: NDArray[np.bool_], points: FloatArray) -> FloatArray:
    """Widths in the gaps that were joined, from both sides of each."""
    known = np.flatnonzero(width > 0.0)
    if not len(known):
        return width
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    return np.asarray(np.where(through & (width <= 0.0), np.interp(arc, arc[known], width[known]), width))
