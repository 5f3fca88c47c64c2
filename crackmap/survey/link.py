"""Join what belongs together: across dust and filler, and a branch to its stem.

Two loose ends that look at each other across a short gap are joined along the
path of least cost over the strength map; a loose end that runs up to another
line is joined to it and makes a junction there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from skimage.graph import route_through_array

from crackmap.survey.graph import Branch, degrees, merge_through
from crackmap.survey.near import Neighbourhood
from crackmap.survey.ridge import STRENGTH_UNIT, LineMap

FloatArray = NDArray[np.float64]
GAP_MM = 25.0  # widest stretch of dust bridged between two plain cracks
GAP_SHARE = 0.6  # and at most this share of what it joins
GAP_PX = 60.0
FACING_COS = np.cos(np.radians(35.0))  # how squarely two ends must look at each other
MOSTLY = 0.7  # share of a bridge that must lie on wood: its feet may stand on a void's or marker's rim
TOUCH_PX = 10.0  # an end this near another line meets it
LOOK_BACK_PX = 15


def linked(
    branches: list[Branch], lines: LineMap, widths: list[float], mm_per_px: float, wood: NDArray[np.bool_]
) -> list[Branch]:
    """Branches with gaps bridged and near ends joined; `widths` are the branches' rough widths. [px]

    A crack ends at a void: no gap is bridged that is not `wood`, shape (H, W).
    """
    joined = merge_through(branches + [b for b in _bridges(branches, lines, mm_per_px) if _on_wood(b, wood)])
    return merge_through(_met(joined, float(np.median(widths)) if widths else 0.0))


def _loose_ends(branches: list[Branch]) -> list[tuple[int, int, FloatArray, FloatArray]]:
    """(branch, node, position, outward direction) of each end that nothing else shares."""
    count = degrees(branches)
    ends = []
    for number, branch in enumerate(branches):
        for node, points in ((branch.start, branch.points), (branch.end, branch.points[::-1])):
            if count[node] == 1:
                outward = points[0] - points[min(LOOK_BACK_PX, len(points) - 1)]
                ends.append((number, node, points[0], outward / max(float(np.hypot(*outward)), 1e-9)))
    return ends


def _bridges(branches: list[Branch], lines: LineMap, mm_per_px: float) -> list[Branch]:
    ends = _loose_ends(branches)
    if len(ends) < 2:
        return []
    longest_gap = min(GAP_MM / mm_per_px, GAP_PX)
    positions = np.array([end[2] for end in ends])
    choices = []
    for a, b in Neighbourhood(positions).pairs(longest_gap):
        if ends[a][0] == ends[b][0]:
            continue
        across = positions[b] - positions[a]
        gap = float(np.hypot(*across))
        lengths = branches[ends[a][0]].length + branches[ends[b][0]].length
        if gap > GAP_SHARE * lengths:
            continue
        unit = across / max(gap, 1e-9)
        facing = min(float(ends[a][3] @ unit), float(-ends[b][3] @ unit))
        if facing >= FACING_COS or (gap < 5 and facing > 0):
            choices.append((gap * (2 - facing), a, b))
    used: set[int] = set()
    bridges = []
    for _, a, b in sorted(choices):
        if a not in used and b not in used:
            used |= {a, b}
            bridges.append(Branch(least_cost_path(lines, positions[a], positions[b]), ends[a][1], ends[b][1]))
    return bridges


def _on_wood(bridge: Branch, wood: NDArray[np.bool_]) -> bool:
    column, row = np.rint(bridge.points).astype(int).T
    return bool(wood[row, column].mean() >= MOSTLY)


def least_cost_path(lines: LineMap, start: FloatArray, end: FloatArray, margin: int = 8) -> FloatArray:
    """Path from `start` to `end` along the strongest line between them, shape (N, 2). [px]"""
    size = np.array(lines.strength.shape[::-1])
    low = np.clip(np.floor(np.minimum(start, end)).astype(int) - margin, 0, size - 1)
    high = np.clip(np.ceil(np.maximum(start, end)).astype(int) + margin + 1, 1, size)
    strength = lines.strength[low[1] : high[1], low[0] : high[0]].astype(float) / STRENGTH_UNIT
    cost = 1.0 / (0.2 + np.minimum(strength, 2.0))
    inside = np.array(cost.shape[::-1]) - 1
    first, last = (np.clip(np.rint(p - low).astype(int), 0, inside) for p in (start, end))
    route, _ = route_through_array(
        cost, tuple(first[::-1]), tuple(last[::-1]), fully_connected=True, geometric=True
    )
    points = np.array(route, float)[:, ::-1] + low
    return np.vstack([start, points[1:-1], end])


def _met(branches: list[Branch], width: float) -> list[Branch]:
    """Loose ends that run up to another branch joined to it; that branch is parted there."""
    fresh = 1 + max((max(b.start, b.end) for b in branches), default=0)
    for number, node, position, outward in _loose_ends(branches):
        best = None
        for other, branch in enumerate(branches):
            if other == number or len(branch.points) < 12:
                continue
            away = branch.points[4:-4] - position
            distance = np.hypot(*away.T)
            nearest = int(np.argmin(distance))
            ahead = float(away[nearest] @ outward)
            if distance[nearest] <= TOUCH_PX + width / 2 and ahead > 0.3 * distance[nearest]:
                best = min(best or (np.inf, 0, 0), (float(distance[nearest]), other, nearest + 4))
        if best is None:
            continue
        _, other, at = best
        stem = branches[other]
        branches[other] = Branch(stem.points[: at + 1], stem.start, fresh)
        branches.append(Branch(stem.points[at:], fresh, stem.end))
        mine = branches[number]
        if mine.end == node:
            branches[number] = Branch(np.vstack([mine.points, stem.points[at]]), mine.start, fresh)
        else:
            branches[number] = Branch(np.vstack([stem.points[at], mine.points]), fresh, mine.end)
        fresh += 1
    return branches
