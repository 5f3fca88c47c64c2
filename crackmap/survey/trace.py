"""A crack between points that a person has clicked."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from crackmap.errors import SurveyError
from crackmap.survey.found import FoundCrack
from crackmap.survey.graph import Branch
from crackmap.survey.measure import measured
from crackmap.survey.ridge import SCALES, STRENGTH_UNIT, LineMap, line_map
from crackmap.survey.tone import BAND_PX, WoodValue, brightest_channel, wood_value

FloatArray = NDArray[np.float64]
MARGIN_SHARE = 0.2  # of a hop: how far beside the straight line between two clicks a crack is followed
MARGIN_PX = (24, 110)  # but at least and at most so far
LONGEST_PX = 420  # longer hops are looked at in fewer pixels, so that the answer comes at once
BEYOND_PX = 24  # a band goes on so far past the clicks, so that the filter sees what comes there
SNAP_PX = 6  # a click is moved to the strongest line this near
STEEPEST = 2  # rows that a path may climb a column: it turns up to 63 degrees off the line between its clicks
BAND_SCALES = (SCALES[0], SCALES[1], SCALES[3], SCALES[5])


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
    hops = [_hop(image, wood, first, second) for first, second in zip(clicks[:-1], clicks[1:], strict=True)]
    route = np.vstack([hops[0][0], *[points[1:] for points, _ in hops[1:]]])
    widths = np.concatenate([hops[0][1], *[width[1:] for _, width in hops[1:]]])
    return _measured(image, wood, route, widths)


def _measured(
    image: NDArray[np.uint8], wood: NDArray[np.bool_] | None, route: FloatArray, widths: NDArray[np.uint8]
) -> FoundCrack:
    """The crack along `route` [px], whose rough widths [1/4 px] are known, measured in its part of the picture."""
    low = np.maximum(np.floor(route.min(0)).astype(int) - BAND_PX, 0)
    high = np.ceil(route.max(0)).astype(int) + BAND_PX + 1
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    part = np.ascontiguousarray(image[window])
    inside = np.ones(part.shape[:2], bool) if wood is None else wood[window]
    rough = np.zeros(part.shape[:2], np.uint8)
    for (x, y), width in zip(np.rint(route - low).astype(int), widths, strict=True):
        rough[max(y - 3, 0) : y + 4, max(x - 3, 0) : x + 4] = width
    # Only the wood's extent and the rough widths are looked at from here on: no tone, no line strength.
    seen = WoodValue(brightest_channel(part), np.zeros((1, 1), np.float32), inside)
    crack = measured(part, seen, LineMap(np.zeros_like(rough), rough), [Branch(route - low, 0, 1)], [1.0])[0]
    return FoundCrack(crack.centreline + low, crack.width, crack.width_sigma, 1.0)


def _hop(
    image: NDArray[np.uint8], wood: NDArray[np.bool_] | None, first: FloatArray, second: FloatArray
) -> tuple[FloatArray, NDArray[np.uint8]]:
    """Path of least cost from click to click, (N, 2) [px], and the rough width along it [1/4 px]."""
    along = second - first
    length = max(float(np.hypot(*along)), 1.0)
    step = max(length / LONGEST_PX, 1.0)
    margin = int(np.clip(MARGIN_SHARE * length, *MARGIN_PX) / step) + 1
    columns, rows = int(np.ceil((length + 2 * BEYOND_PX) / step)), 2 * margin + 1
    to_picture = _band_to_picture(first, along / length, step, margin)
    picture, inside = _band(image, wood, to_picture, (columns, rows))
    lines = line_map(wood_value(picture, inside), BAND_SCALES)
    start, end = round(BEYOND_PX / step), round((BEYOND_PX + length) / step)
    path_rows = _least_cost_rows(lines.strength[:, start : end + 1], max(round(SNAP_PX / step), 1))
    path_columns = np.arange(start, start + len(path_rows))
    points = np.stack([path_columns, path_rows, np.ones(len(path_rows))], 1) @ to_picture.T
    width = lines.width[path_rows, path_columns].astype(float) * step
    size = np.array(image.shape[1::-1])
    return np.clip(points, 0, size - 1), np.clip(width, 0, 255).astype(np.uint8)


def _band_to_picture(first: FloatArray, direction: FloatArray, step: float, margin: int) -> FloatArray:
    """Matrix (2, 3) from (column, row, 1) of a hop's band to the picture's (x, y)."""
    across = np.array([-direction[1], direction[0]])
    corner = first - BEYOND_PX * direction - margin * step * across
    return np.column_stack([step * direction, step * across, corner])


def _band(
    image: NDArray[np.uint8], wood: NDArray[np.bool_] | None, to_picture: FloatArray, size: tuple[int, int]
) -> tuple[NDArray[np.uint8], NDArray[np.bool_] | None]:
    """The band straightened; in fewer pixels, it is the mean of the picture's own that is taken."""
    step = float(np.hypot(*to_picture[:, 0]))
    times = int(np.ceil(step))
    corner = to_picture[:, 2] - to_picture[:, :2].sum(1) * (times - 1) / (2 * times)
    finer = np.column_stack([to_picture[:, :2] / times, corner])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    large = (size[0] * times, size[1] * times)
    picture = cv2.warpAffine(image, finer, large, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    if times > 1:
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    if wood is None:
        return np.asarray(picture), None
    nearest = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    inside = cv2.warpAffine(wood.view(np.uint8), to_picture, size, flags=nearest, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(picture), np.asarray(inside > 0)


def _least_cost_rows(strength: NDArray[np.uint8], snap: int) -> NDArray[np.int64]:
    """Row of the cheapest path in each column, by dynamic programming; its ends lie within `snap` of the middle row."""
    rows, columns = strength.shape
    cost = 1.0 / (0.05 + np.minimum(strength.astype(np.float32) / (2 * STRENGTH_UNIT), 1.0))
    off = np.abs(np.arange(rows) - rows // 2)
    ends = np.where(off <= snap, 0.5 * off, np.inf).astype(np.float32)
    total = cost[:, 0] + ends
    came = np.zeros((columns, rows), np.int8)
    climbs = sorted(range(-STEEPEST, STEEPEST + 1), key=abs)
    lengths = [float(np.hypot(1, climb)) for climb in climbs]
    padded = np.full((rows + 2 * STEEPEST,), np.inf, np.float32)
    for column in range(1, columns):
        padded[STEEPEST:-STEEPEST] = total
        here = cost[:, column]
        choices = np.stack(
            [padded[STEEPEST + c : STEEPEST + c + rows] + here * n for c, n in zip(climbs, lengths, strict=True)]
        )
        best = choices.argmin(0)
        came[column] = best
        total = np.take_along_axis(choices, best[None], 0)[0]
    row = int(np.argmin(total + ends))
    path = np.zeros(columns, np.int64)
    for column in range(columns - 1, -1, -1):
        path[column] = row
        row += climbs[int(came[column, row])] if column else 0
    return path
