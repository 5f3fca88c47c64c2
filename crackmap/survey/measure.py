"""From kept branches to cracks: centred, measured, run out to the border, ends shared."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.found import FoundCrack
from crackmap.survey.graph import Branch, degrees
from crackmap.survey.judge_points import rough_widths
from crackmap.survey.profile import Path, normals_of, resampled, smooth_along, smoothed_path
from crackmap.survey.ridge import LineMap
from crackmap.survey.tone import WoodValue
from crackmap.survey.width import Widths
from crackmap.survey.width_lips import measure_lips
from crackmap.survey.width_tips import run_to_border, without_empty_ends

FloatArray = NDArray[np.float64]
ROUGHNESS_PX = 2.0  # smoothing of a branch's own points


def measured(
    image: NDArray[np.uint8], seen: WoodValue, lines: LineMap, branches: list[Branch], confidences: list[float]
) -> list[FoundCrack]:
    """Cracks of `branches` of `image`, each with its confidence; ends at one node are one point.

    `image` has shape (H, W, 3).
    """
    free = _free_ends(branches)
    reaching = [run_to_border(seen.wood, branch.points, own) for branch, own in zip(branches, free, strict=True)]
    paths = [_guessed(image, lines, points) for points in reaching]
    widths = [measure_lips(image, path, width) for path, width in paths]
    parts = [without_empty_ends(own, ends) for own, ends in zip(widths, free, strict=True)]
    moved = [
        (path.points + path.normals * _shift(own)[:, None])[part]
        for (path, _), own, part in zip(paths, widths, parts, strict=True)
    ]
    return [
        FoundCrack(points, own.width[part], own.sigma[part], confidence)
        for points, own, part, confidence in zip(
            _shared_ends(branches, moved), widths, parts, confidences, strict=True
        )
    ]


def _guessed(image: NDArray[np.uint8], lines: LineMap, points: FloatArray) -> tuple[Path, FloatArray]:
    """A branch's points as a path in the middle of its gap, and widths from a guess that may be far off."""
    path = smoothed_path(points, ROUGHNESS_PX)
    guess = measure_lips(image, path, 1.2 * smooth_along(rough_widths(lines, path.points), 3.0))
    path = _centred(path, guess)
    return path, _carried_over(guess.width, len(path))


def _free_ends(branches: list[Branch]) -> list[tuple[bool, bool]]:
    """Which ends of each branch hang on nothing."""
    count = degrees(branches)
    return [(count[branch.start] == 1, count[branch.end] == 1) for branch in branches]


def _carried_over(width: FloatArray, count: int) -> FloatArray:
    """`width` at `count` points of nearly the same path."""
    return np.interp(np.linspace(0, 1, count), np.linspace(0, 1, len(width)), width)


def _centred(path: Path, widths: Widths) -> Path:
    """The path moved to the middle of the gap."""
    points = resampled(path.points + path.normals * _shift(widths)[:, None], 1.0)
    return Path(points, normals_of(points))


def _shift(widths: Widths) -> FloatArray:
    """How far each point moves along its normal: smooth, and never out of the gap. [px]"""
    most = 0.6 * widths.width + 2.0
    return smooth_along(np.clip(widths.shift, -most, most), 2.0)


def _shared_ends(branches: list[Branch], lines: list[FloatArray]) -> list[FloatArray]:
    """Lines whose ends at one node are moved to their mean."""
    ends: dict[int, list[FloatArray]] = {}
    for branch, points in zip(branches, lines, strict=True):
        ends.setdefault(branch.start, []).append(points[0])
        ends.setdefault(branch.end, []).append(points[-1])
    shared = []
    for branch, points in zip(branches, lines, strict=True):
        moved = points.copy()
        moved[0], moved[-1] = np.mean(ends[branch.start], axis=0), np.mean(ends[branch.end], axis=0)
        shared.append(moved)
    return shared
