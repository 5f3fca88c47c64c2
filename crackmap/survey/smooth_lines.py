"""Many pixel-by-pixel lines smoothed in one go."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.profile import FloatArray, Path


def smooth_lines(lines: list[FloatArray], sigma: float) -> list[Path]:
    """`lines`, each (N, 2) with about one point a pixel, smoothed by a Gaussian of `sigma` points.

    Points are kept one for one and ends stay where they are: beyond its ends a
    line is continued by its mirror image through the end point. [px]
    """
    reach = int(np.ceil(3 * sigma))
    counts = np.array([len(line) for line in lines])
    starts = np.r_[0, np.cumsum(counts)[:-1]]
    points = np.concatenate(lines)
    # Every line with `reach` more points at either end, all in one column.
    owner = np.repeat(np.arange(len(lines)), counts + 2 * reach)
    place = np.arange(len(owner)) - np.repeat(starts + 2 * reach * np.arange(len(lines)), counts + 2 * reach) - reach
    first, last = starts[owner], starts[owner] + counts[owner] - 1
    before, after = place < 0, place >= counts[owner]
    turned = np.where(before, -place, np.where(after, 2 * (counts[owner] - 1) - place, place))
    value = points[first + np.clip(turned, 0, counts[owner] - 1)]
    value[before] = 2 * points[first[before]] - value[before]
    value[after] = 2 * points[last[after]] - value[after]
    smooth = cv2.GaussianBlur(value, (1, 2 * reach + 1), sigmaX=0.01, sigmaY=sigma)[~(before | after)]
    normals = _normals(smooth, starts, counts)
    return [Path(smooth[a : a + n], normals[a : a + n]) for a, n in zip(starts, counts, strict=True)]


def _normals(points: FloatArray, starts: NDArray[np.int64], counts: NDArray[np.int64]) -> FloatArray:
    """Unit normals from chords over two points either way."""
    here = np.arange(len(points))
    first, last = np.repeat(starts, counts), np.repeat(starts + counts - 1, counts)
    chord = points[np.minimum(here + 2, last)] - points[np.maximum(here - 2, first)]
    length = np.maximum(np.hypot(*chord.T), 1e-9)[:, None]
    return np.asarray(np.stack([-chord[:, 1], chord[:, 0]], 1) / length)
