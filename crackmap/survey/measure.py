"""From kept branches to cracks: centred, measured, run out to the border, ends shared."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.found import FoundCrack
from crackmap.survey.graph import Branch
from crackmap.survey.judge_points import rough_widths
from crackmap.survey.profile import Path, normals_of, resampled, smooth_along, smoothed_path, smoothed_paths
from crackmap.survey.ridge import LineMap
from crackmap.survey.tone import WoodValue
from crackmap.survey.width import Widths, measure_widths

FloatArray = NDArray[np.float64]
ROUGHNESS_PX = 2.0  # smoothing of a branch's own points
BORDER_PX = 7.0  # an end this near the wood's border reaches it, if it points there


def measured(seen: WoodValue, lines: LineMap, branches: list[Branch], confidences: list[float]) -> list[FoundCrack]:
    """Cracks of `branches`, each with its confidence; ends at one node are one point."""
    paths = [smoothed_path(_to_border(seen.wood, branch).points, ROUGHNESS_PX) for branch in branches]
    first = [_widths(seen, path, 1.2 * smooth_along(rough_widths(lines, path.points), 3.0)) for path in paths]
    centred = _shared_ends(branches, [_centred(path, width) for path, width in zip(paths, first, strict=True)])
    cracks = []
    for path, width, confidence in zip(centred, first, confidences, strict=True):
        final = measure_widths(seen.value, path, _carried_over(width.width, len(path)))
        cracks.append(FoundCrack(path.points, final.width, final.sigma, confidence))
    return cracks


def rough_gaps(seen: WoodValue, lines: LineMap, branches: list[Branch]) -> list[FloatArray]:
    """Measured width at each point of each branch, before it is centred. [px]"""
    paths = smoothed_paths([branch.points for branch in branches], ROUGHNESS_PX) if branches else []
    return [_widths(seen, path, 1.2 * rough_widths(lines, path.points)).width for path in paths]


def _widths(seen: WoodValue, path: Path, rough: FloatArray) -> Widths:
    """Widths from a guess that may be far off: measured twice."""
    return measure_widths(seen.value, path, measure_widths(seen.value, path, rough).width)


def _carried_over(width: FloatArray, count: int) -> FloatArray:
    """`width` at `count` points of nearly the same path."""
    return np.interp(np.linspace(0, 1, count), np.linspace(0, 1, len(width)), width)


def _centred(path: Path, width: Widths) -> Path:
    """The path moved to the middle of the gap."""
    shift = smooth_along(np.clip(width.shift, -6, 6), 2.0)
    points = resampled(path.points + path.normals * shift[:, None], 1.0)
    return Path(points, normals_of(points))


def _shared_ends(branches: list[Branch], paths: list[Path]) -> list[Path]:
    """Paths whose ends at one node are moved to their mean."""
    ends: dict[int, list[FloatArray]] = {}
    for branch, path in zip(branches, paths, strict=True):
        ends.setdefault(branch.start, []).append(path.points[0])
        ends.setdefault(branch.end, []).append(path.points[-1])
    shared = []
    for branch, path in zip(branches, paths, strict=True):
        points = path.points.copy()
        if len(ends[branch.start]) > 1:
            points[0] = np.mean(ends[branch.start], axis=0)
        if len(ends[branch.end]) > 1:
            points[-1] = np.mean(ends[branch.end], axis=0)
        shared.append(Path(points, normals_of(points)))
    return shared


def _to_border(wood: NDArray[np.bool_], branch: Branch) -> Branch:
    """The branch run on straight to the wood's border where it ends just short of it."""
    points = branch.points
    for _ in range(2):
        points = points[::-1]
        outward = points[-1] - points[max(len(points) - 16, 0)]
        outward = outward / max(float(np.hypot(*outward)), 1e-9)
        ahead = points[-1] + np.outer(np.arange(1, BORDER_PX + 1), outward)
        column, row = np.rint(ahead).astype(int).T
        off = (column < 0) | (row < 0) | (column >= wood.shape[1]) | (row >= wood.shape[0])
        off |= ~wood[np.clip(row, 0, wood.shape[0] - 1), np.clip(column, 0, wood.shape[1] - 1)]
        if off.any():
            points = np.vstack([points, ahead[: int(np.argmax(off))]])
    return Branch(points, branch.start, branch.end)
