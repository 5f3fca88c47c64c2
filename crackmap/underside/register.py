"""The rigid mirror that lays the underside's outline, openings and known points on the show face's.

Sawn ends are cut square, so both faces share them. A live edge is not: its
bevel makes the two faces' edges different curves. Each long side therefore has
a bevel of its own, a straight line along the slab, found together with the
pose and held near a usual slope; what comes out of the wood on both faces
(cracks right through, knot holes) says where the pose lies across the slab,
but for the lean of the cracks. Robust least squares (Huber 1964; soft L1),
from every way that the slab may have been turned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial import cKDTree

from crackmap.errors import UndersideError
from crackmap.records import CommonPoint, FloatArray, Survey
from crackmap.settings import UndersideSettings
from crackmap.underside.contour import Contour, contour_of, is_sawn, long_axis

_END_SIGMA = 1.5  # of a sawn end against the other face's [mm]
_SIDE_SIGMA = 2.5  # of a live edge once its bevel is taken off [mm]
_OPENING_SIGMA = 2.5  # of an opening below against the one above, besides its lean [mm]
_EACH_OPENING, _MOST_COUNTED = 3.0, 40.0  # points that an opening counts as, and all of them together
_FAR_LEANS = 3.0  # from an opening above; see `_residuals`
_SAWN_BEVEL = 0.7  # of a sawn side: the saw may not have stood quite upright [mm]
_POINT_SIGMA = 0.5  # of a common point [mm]
_MOST_POINTS = 500  # of the outline that are used
_OPENING_STEP = 6.0  # between the points of an opening that are used [mm]
_LEAST_OPENING = 1.0  # narrower openings below may be anything [mm]
_AS_GOOD = 1.15  # two ways of turning whose costs differ by less than this and by less than the next
_AS_GOOD_COST = 2.0  # cannot be told apart [-]


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Where the underside lies under the show face."""

    matrix: FloatArray  # (3, 3), a mirror [mm]
    method: str  # "points" or "outline"
    residual: float  # rms of the common points, or of the outlines less the bevel [mm]
    openings_off: float  # median [mm]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Facing:
    """Both faces, ready to be compared."""

    show: Contour
    tree: cKDTree
    under: FloatArray  # (M, 2) outline points, mirrored [mm]
    above: shapely.Geometry  # openings of the show face
    below: FloatArray  # (K, 2) points of openings of the underside, mirrored [mm]
    openings: int  # how many these are
    thickness: float
    sawn: tuple[bool, bool]  # the sides +1 and -1 of the show face


def register(show: Survey, under: Survey, thickness_mm: float, points: tuple[CommonPoint, ...],
             settings: UndersideSettings) -> Pose:
    """The underside's place.

    Parameters
    ----------
    show, under : Survey
        Each in its own frame, each seen from its own side.
    thickness_mm : float
        Of the slab. [mm]
    points : tuple of CommonPoint
        Two or more fix the pose alone; one helps the outlines.

    Raises
    ------
    UndersideError
        If the faces do not match, with the residual.
    """
    if len(points) >= 2:
        return _by_points(points, settings)
    facing = _facing(show, under, thickness_mm)
    _demand_equal_lengths(show, under)
    tried = [_fit(facing, start, points, settings) for start in _starts(show, under, settings)]
    tried.sort(key=lambda found: found[0])
    cost, pose = tried[0]
    if pose.residual > settings.outline_within:
        raise UndersideError(f"the underside does not fit the slab: its outline lies {pose.residual:.1f} mm off on "
                             "average, whichever way it is turned; is it the same slab, and are both marker sizes "
                             "right?")
    notes = []
    if len(tried) > 1 and tried[1][0] < _AS_GOOD * cost + _AS_GOOD_COST:
        notes.append("the underside fits the slab almost as well turned the other way: say how it was turned over "
                     "(--turned side or --turned end), or give a common point.")
    if not any(facing.sawn) and not pose.openings_off <= _FAR_LEANS * _lean(thickness_mm, settings):
        usual = settings.bevel * thickness_mm / np.sqrt(2.0)
        notes.append("no opening is seen on both faces and both long sides are live, so across the slab the underside "
                     f"may lie {usual:.0f} mm off and more: give a common point.")
    return Pose(pose.matrix, pose.method, pose.residual, pose.openings_off, tuple(notes))


def _lean(thickness: float, settings: UndersideSettings) -> float:
    """How far an opening below usually lies beside the one above, one sigma. [mm]"""
    return float(np.hypot(_OPENING_SIGMA, settings.lean * thickness / 2.0))


def _by_points(points: tuple[CommonPoint, ...], settings: UndersideSettings) -> Pose:
    """Least squares over rotations of the mirrored points (Procrustes; Kabsch 1976)."""
    show = np.array([p.show for p in points])
    under = np.array([p.under for p in points]) * (1.0, -1.0)
    a, b = show - show.mean(0), under - under.mean(0)
    angle = float(np.arctan2((b[:, 0] * a[:, 1] - b[:, 1] * a[:, 0]).sum(), (a * b).sum()))
    turn = _turn(angle)
    off = np.hypot(*(a - b @ turn.T).T)
    residual = float(np.sqrt((off**2).mean()))
    if residual > settings.points_within:
        worst = points[int(np.argmax(off))]
        raise UndersideError(f"the common points contradict each other by {residual:.1f} mm (rms; {worst.name} most, "
                             f"by {off.max():.1f} mm); is it the same slab, and is each point the same on both faces?")
    return Pose(_mirror(angle, *(show.mean(0) - turn @ under.mean(0))), "points", residual, np.nan)


def _facing(show: Survey, under: Survey, thickness: float) -> _Facing:
    contour = contour_of(show.outline)
    mirrored = contour_of(under.outline * (1.0, -1.0)).points
    step = max(1, len(mirrored) // _MOST_POINTS)
    above = shapely.union_all([*(shapely.make_valid(shapely.Polygon(v.polygon)) for v in show.voids),
                               *(shapely.linestrings(c.centreline) for c in show.cracks)])
    below, count = _opening_points(under)
    return _Facing(contour, cKDTree(contour.points), mirrored[::step], above, below, count, thickness,
                   (is_sawn(contour, 1), is_sawn(contour, -1)))


def _opening_points(under: Survey) -> tuple[FloatArray, int]:
    """Points on the underside's cracks and round its voids, mirrored, evenly spaced, and of how many. [mm]"""
    lines = [shapely.linestrings(c.centreline[c.width >= _LEAST_OPENING]) for c in under.cracks
             if (c.width >= _LEAST_OPENING).sum() >= 2]
    rings = [shapely.Polygon(v.polygon).exterior for v in under.voids]
    found = [shapely.get_coordinates(shapely.segmentize(g, _OPENING_STEP)) for g in (*lines, *rings)]
    points = np.concatenate(found) if found else np.zeros((0, 2))
    step = max(1, len(points) // _MOST_POINTS)
    return np.asarray(points[::step] * (1.0, -1.0)), len(found)


def _demand_equal_lengths(show: Survey, under: Survey) -> None:
    """Sawn ends are square, so both faces are as long; so early a refusal names the plainest reason."""
    lengths = []
    for outline in (show.outline, under.outline):
        along = outline @ long_axis(outline)
        lengths.append(float(np.ptp(along)))
    off = abs(lengths[1] - lengths[0])
    if off > max(25.0, 0.04 * lengths[0]):
        raise UndersideError(f"the underside is {lengths[1]:.0f} mm long and the show face {lengths[0]:.0f} mm: they "
                             "are two slabs, or one of the marker sizes is wrong.")


def _starts(show: Survey, under: Survey, settings: UndersideSettings) -> list[tuple[float, float, float]]:
    """Angle [rad] and shift [mm] for each way of turning the slab over."""
    mirrored = under.outline * (1.0, -1.0)
    mine, other = long_axis(show.outline), long_axis(mirrored)
    angle = float(np.arctan2(mine[1], mine[0]) - np.arctan2(other[1], other[0]))
    # Turned over its long side the photographer still stands before it: left stays left, in whichever frame.
    upright = _seen_left_to_right(show) == _seen_left_to_right(under)
    ways = {"side": angle if upright else angle + np.pi, "end": angle + np.pi if upright else angle}
    wanted = [settings.turned] if settings.turned else ["side", "end"]
    middle = np.array(shapely.Polygon(show.outline).centroid.coords[0])
    its = np.array(shapely.Polygon(mirrored).centroid.coords[0])
    return [(ways[way], *(middle - _turn(ways[way]) @ its)) for way in wanted]


def _seen_left_to_right(face: Survey) -> bool:
    """True where the slab's long axis, as `long_axis` gives it, runs to the right in the face's photo."""
    middle = np.array(shapely.Polygon(face.outline).centroid.coords[0])
    ends = face.mapping.to_pixels(np.array([middle, middle + 50.0 * long_axis(face.outline)]))
    return bool(ends[1, 0] >= ends[0, 0])


def _fit(facing: _Facing, start: tuple[float, float, float], points: tuple[CommonPoint, ...],
         settings: UndersideSettings) -> tuple[float, Pose]:
    """Cost and pose from one start; the shift across is tried at several places first."""
    across = _across(facing)
    reach = settings.bevel * facing.thickness
    tries = [np.array([start[0], *(np.array(start[1:]) + shift * across), 0.0, 0.0, 0.0, 0.0])
             for shift in np.linspace(-2.0 * reach, 2.0 * reach, 9)]

    def rows(p: FloatArray) -> FloatArray:
        return _residuals(p, facing, points, settings)

    def cost(p: FloatArray) -> float:
        return float((np.sqrt(1.0 + rows(p) ** 2) - 1.0).sum())

    best = min(tries, key=cost)
    best[3:] = 0.0
    solved = least_squares(rows, best, loss="soft_l1", x_scale=[1e-3, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0], max_nfev=60)
    p = solved.x
    off, _ = _edge_off(p, facing)
    away = _openings_off(p, facing)
    return cost(p), Pose(_mirror(*p[:3]), "outline", float(np.sqrt(np.mean(np.minimum(np.abs(off), 50.0) ** 2))),
                         float(np.median(away)) if len(away) else np.nan)


def _across(facing: _Facing) -> FloatArray:
    axis = long_axis(facing.show.points)
    return np.array([-axis[1], axis[0]])


def _placed(p: FloatArray, points: FloatArray) -> FloatArray:
    return np.asarray(points @ _turn(p[0]).T + p[1:3])


def _edge_off(p: FloatArray, facing: _Facing) -> tuple[FloatArray, NDArray[np.int8]]:
    """How far each outline point lies outside the show face's, less the bevel of its side. [mm]"""
    placed = _placed(p, facing.under)
    _, near = facing.tree.query(placed)
    contour = facing.show
    off = ((placed - contour.points[near]) * contour.normals[near]).sum(axis=1)
    side, along = contour.side[near], contour.along[near]
    bevel = np.where(side == 1, p[3] + p[4] * along, np.where(side == -1, p[5] + p[6] * along, 0.0))
    return off - bevel, side


def _openings_off(p: FloatArray, facing: _Facing) -> FloatArray:
    if not len(facing.below) or facing.above.is_empty:
        return np.zeros(0)
    return np.asarray(shapely.distance(facing.above, shapely.points(_placed(p, facing.below))))


def _residuals(p: FloatArray, facing: _Facing, points: tuple[CommonPoint, ...],
               settings: UndersideSettings) -> FloatArray:
    off, side = _edge_off(p, facing)
    away = _openings_off(p, facing)
    usual = settings.bevel * facing.thickness
    lean = _lean(facing.thickness, settings)
    # Neighbouring points of an edge err together: the edge counts as some tens of points. An opening leans
    # as a whole: each counts as few, however long it is.
    openings = min(_EACH_OPENING * facing.openings, _MOST_COUNTED)
    rows = [off / np.where(side == 0, _END_SIGMA, _SIDE_SIGMA) * np.sqrt(60.0 / len(off)),
            # Past some leans an opening below has nothing to do with any above: it pulls no harder from farther off.
            away / lean / np.sqrt(1.0 + (away / (_FAR_LEANS * lean)) ** 2) * np.sqrt(openings / max(len(away), 1)),
            p[3:] / (np.array([1.0, 0.5, 1.0, 0.5]) * np.repeat(np.where(facing.sawn, _SAWN_BEVEL, usual), 2))]
    rows += [(point.show - _placed(p, np.array([point.under * (1.0, -1.0)]))[0]) / _POINT_SIGMA for point in points]
    return np.concatenate(rows)


def _turn(angle: float) -> FloatArray:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _mirror(angle: float, x: float, y: float) -> FloatArray:
    """Matrix of: mirror y, turn, shift."""
    matrix = np.eye(3)
    matrix[:2, :2] = _turn(angle) @ np.diag([1.0, -1.0])
    matrix[:2, 2] = x, y
    return matrix
