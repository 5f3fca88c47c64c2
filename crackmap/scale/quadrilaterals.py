"""Rectangles of a known shape in a photo: where a sheet or card might lie.

The picture, reduced, is cut at many levels of lightness, of both colour axes
(CIE L*a*b*) and of saturation, which a shadow hardly changes; a sheet or card
that differs from what surrounds it, in any of the four, comes out whole at
some level. Regions whose smallest enclosing
rectangle they fill, and whose sides are in about the right ratio, are kept.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.scale.target import FloatArray

ImageArray = NDArray[np.uint8]

_LONG_SIDE_PX = 1400  # of the reduced picture: a card on a table 2 m wide is then 60 px long
_LEVELS = 20  # a channel
_LEAST_FILL = 0.90  # area over that of the smallest enclosing rectangle; a card's round corners take 1 %
_RATIO_TOLERANCE = 0.11  # of the sides' ratio: a tilt of 20 degrees squeezes 6 %, perspective some more
_LEAST_SIDE_PX = 18  # short side in the reduced picture
_LARGEST_SHARE = 0.5  # of the picture
_SAME_PX = 4.0  # candidates whose corners lie this close are one


def find_rectangles(pixels: ImageArray, ratio: float) -> list[FloatArray]:
    """Corners of regions that look like a rectangle of the given shape.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        RGB.
    ratio : float
        Long side over short side. [-]

    Returns
    -------
    list of ndarray, shape (4, 2)
        Corners in the photo, in order round the rectangle, the first side
        along the long one and to the right; clockwise as seen. [px]
    """
    shrink = max(1.0, max(pixels.shape[:2]) / _LONG_SIDE_PX)
    size = (round(pixels.shape[1] / shrink), round(pixels.shape[0] / shrink))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    colours = cv2.medianBlur(small, 3)
    saturation = cv2.cvtColor(colours, cv2.COLOR_RGB2HSV)[..., 1]
    channels = (*cv2.split(cv2.cvtColor(colours, cv2.COLOR_RGB2LAB)), saturation)
    found: list[FloatArray] = []
    for channel in channels:
        low, high = np.percentile(channel[::4, ::4], [0.2, 99.8])
        for level in np.unique(np.linspace(low, high, _LEVELS + 2)[1:-1].astype(int)):
            cut = np.asarray(channel > level, np.uint8)
            contours, _ = cv2.findContours(cut, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
            found += [c for c in map(lambda c: _as_rectangle(np.asarray(c), ratio, size), contours) if c is not None]
    return [(c + 0.5) * shrink - 0.5 for c in _distinct(found)]


def _as_rectangle(contour: NDArray[np.int32], ratio: float, size: tuple[int, int]) -> FloatArray | None:
    """Corners of a contour that fills a rectangle of the right shape, else None."""
    if len(contour) < 4 * _LEAST_SIDE_PX:
        return None
    centre, sides, angle = cv2.minAreaRect(contour)
    short, long = min(sides), max(sides)
    if short < _LEAST_SIDE_PX or long * short > _LARGEST_SHARE * size[0] * size[1]:
        return None
    if abs(long / short / ratio - 1) > _RATIO_TOLERANCE or cv2.contourArea(contour) < _LEAST_FILL * long * short:
        return None
    corners = _side_lines_meet(contour.reshape(-1, 2).astype(float), cv2.boxPoints((centre, sides, angle)))
    if corners is None or (corners < 2).any() or (corners > np.array(size) - 3).any():
        return None
    return _long_side_first(corners)


def _side_lines_meet(points: FloatArray, box: NDArray[np.float32]) -> FloatArray | None:
    """Corners where straight lines through the four sides' middle parts meet."""
    box = box.astype(float)
    lines = []
    for start, end in zip(box, np.roll(box, -1, axis=0), strict=True):
        length = float(np.hypot(*(end - start)))
        unit = (end - start) / length
        along = (points - start) @ unit
        across = (points - start) @ np.array([-unit[1], unit[0]])
        near = points[(along > 0.15 * length) & (along < 0.85 * length) & (np.abs(across) < 0.12 * length)]
        if len(near) < 6:
            return None
        vx, vy, x, y = (float(v) for v in np.ravel(cv2.fitLine(near.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01)))
        lines.append((vy, -vx, vy * x - vx * y))
    corners = []
    for (a1, b1, c1), (a2, b2, c2) in zip(np.roll(lines, 1, axis=0), lines, strict=True):
        det = a1 * b2 - a2 * b1
        if abs(det) < 0.5:  # sides at less than 30 degrees
            return None
        corners.append([(c1 * b2 - c2 * b1) / det, (a1 * c2 - a2 * c1) / det])
    return np.array(corners)


def _long_side_first(corners: FloatArray) -> FloatArray:
    """Clockwise as seen (y down), the first side along the long one and running to the right."""
    following = np.roll(corners, -1, axis=0)
    if (corners[:, 0] * following[:, 1] - corners[:, 1] * following[:, 0]).sum() < 0:
        corners = corners[::-1]
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    if sides[0] + sides[2] < sides[1] + sides[3]:
        corners = np.roll(corners, -1, axis=0)
    return np.roll(corners, -2, axis=0) if corners[1, 0] < corners[0, 0] else corners


def _distinct(found: list[FloatArray]) -> list[FloatArray]:
    """Candidates without near doubles; of those that repeat, the middle one; most often seen first."""
    groups: list[list[FloatArray]] = []
    for corners in found:
        for group in groups:
            turned = (np.roll(corners, 2 * k, axis=0) for k in range(2))
            match = next((t for t in turned if np.abs(t - group[0]).max() < _SAME_PX), None)
            if match is not None:
                group.append(match)
                break
        else:
            groups.append([corners])
    groups.sort(key=len, reverse=True)
    return [np.asarray(np.median(group, axis=0)) for group in groups]
