"""A crack between points that a person has clicked."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from skimage.graph import route_through_array

from crackmap.errors import SurveyError
from crackmap.survey.found import FoundCrack
from crackmap.survey.graph import Branch
from crackmap.survey.measure import measured
from crackmap.survey.ridge import STRENGTH_UNIT, LineMap, line_map
from crackmap.survey.tone import wood_value

MARGIN_PX = 40  # how far beside the straight line between two clicks a crack is followed, at least
LONGEST_BAND_PX = 400  # longer hops are routed on a reduced band
SNAP_PX = 6  # a click is moved to the strongest line this near


def trace(
    image: NDArray[np.uint8],
    mm_per_px: float,
    points_px: ArrayLike,
    wood: NDArray[np.bool_] | None = None,
) -> FoundCrack:
    """The crack through clicked points, along the path of least cost, with widths.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        sRGB.
    mm_per_px : float
        Size of a pixel. [mm]
    points_px : array_like, shape (K, 2), K >= 2
        Clicked points (x, y) in order along the crack. [px]
    wood : ndarray of bool, shape (H, W), optional
        Where the path may run; everywhere if not given.

    Returns
    -------
    FoundCrack
        With confidence 1: the person is sure.

    Raises
    ------
    SurveyError
        If there are fewer than two points, or a point lies outside the picture.
    """
    clicks = np.asarray(points_px, float).reshape(-1, 2)
    if len(clicks) < 2:
        raise SurveyError(f"A drawn crack needs two points or more; this one has {len(clicks)}.")
    size = np.array(image.shape[1::-1])
    outside = (clicks < -0.5) | (clicks > size - 0.5)
    if outside.any():
        x, y = clicks[outside.any(1)][0]
        raise SurveyError(
            f"The point ({x:.0f}, {y:.0f}) of a drawn crack lies outside the picture "
            f"of {size[0]} x {size[1]} px."
        )
    span = np.ptp(clicks, axis=0).max()
    margin = int(max(MARGIN_PX, 0.15 * span))
    low = np.maximum(np.floor(clicks.min(0)).astype(int) - margin, 0)
    high = np.minimum(np.ceil(clicks.max(0)).astype(int) + margin + 1, size)
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    seen = wood_value(np.ascontiguousarray(image[window]), None if wood is None else wood[window])
    lines = line_map(seen)
    route = _route(lines, clicks - low)
    crack = measured(seen, lines, [Branch(route, 0, 1)], [1.0])[0]
    return FoundCrack(crack.centreline + low, crack.width, crack.width_sigma, 1.0)


def _route(lines: LineMap, clicks: NDArray[np.float64]) -> NDArray[np.float64]:
    """Path of least cost through the clicks, in pixels of the window."""
    longest = float(np.abs(np.diff(clicks, axis=0)).max())
    step = max(int(np.ceil(longest / LONGEST_BAND_PX)), 1)
    strength = lines.strength
    if step > 1:
        # the strongest of each block, so that a hairline survives the reduction
        grown = cv2.dilate(strength, np.ones((step, step), np.uint8))
        strength = grown[step // 2 :: step, step // 2 :: step]
    cost = 1.0 / (0.05 + np.minimum(strength.astype(float) / (2 * STRENGTH_UNIT), 1.0))
    points = [_snapped(strength, click / step, max(SNAP_PX // step, 1)) for click in clicks]
    pieces = []
    for first, second in zip(points[:-1], points[1:], strict=True):
        rows_columns, _ = route_through_array(cost, first, second, fully_connected=True, geometric=True)
        pieces.append(np.array(rows_columns, float)[:, ::-1] * step + (step // 2 if step > 1 else 0))
    return np.vstack([pieces[0], *[piece[1:] for piece in pieces[1:]]])


def _snapped(strength: NDArray[np.uint8], click: NDArray[np.float64], reach: int) -> tuple[int, int]:
    """(row, column) of the strongest pixel within `reach` of the click, the nearest where none stands out."""
    column, row = np.clip(np.rint(click).astype(int), 0, np.array(strength.shape[::-1]) - 1)
    rows = np.arange(max(row - reach, 0), min(row + reach + 1, strength.shape[0]))
    columns = np.arange(max(column - reach, 0), min(column + reach + 1, strength.shape[1]))
    distance = np.hypot(rows[:, None] - row, columns[None, :] - column)
    score = np.minimum(strength[np.ix_(rows, columns)].astype(float), 3 * STRENGTH_UNIT) - 2.0 * distance
    best = np.unravel_index(np.argmax(score), score.shape)
    return int(rows[best[0]]), int(columns[best[1]])
