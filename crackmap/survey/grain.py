"""Direction of the grain over the whole slab."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_CELL_MM = 6.0  # a few growth rings
_STRIP_ROWS = 256  # about so many rows, halved, are looked at at a time, so that the gradients stay small
_HALO = 8  # rows and columns more, halved: as far as blur, gradient and the mask's rim reach


def overall_grain_deg(image: NDArray[np.uint8], mm_per_px: float, wood: NDArray[np.bool_]) -> float:
    """Direction of the grain, anticlockwise from x with y up as a viewer sees it. [deg]

    The structure tensor (Bigün & Granlund, ICCV 1987) is normed in each small
    cell, so that a knot or a dark crack has no more say than plain grain, and
    the median direction is taken as an average that votes on the doubled angle.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
    mm_per_px : float
        [mm]
    wood : ndarray of bool, shape (H, W)

    Returns
    -------
    float
        In (-90, 90]. [deg]
    """
    shrink = 2 if min(image.shape[:2]) > 400 else 1
    cell = max(2, round(_CELL_MM / (mm_per_px * shrink)))
    side = cell * shrink
    cells = (image.shape[0] // side, image.shape[1] // side)
    votes = np.zeros(2)
    strip = max(_STRIP_ROWS // cell, 1)
    for first in range(0, cells[0], strip):
        last = min(first + strip, cells[0])
        if wood[first * side : last * side].any():
            votes += _votes(image, wood, (first * side, last * side, cells[1] * side), shrink, cell)
    if not votes.any():
        return 0.0
    # The gradient stands across the grain: doubled angle, turned by 180 degrees.
    across = np.arctan2(votes[1], votes[0])
    grain = 90.0 - float(np.degrees(across)) / 2.0  # image y runs down: the sign turns
    return -((-grain + 90.0) % 180.0 - 90.0)


def _votes(
    image: NDArray[np.uint8], wood: NDArray[np.bool_], strip: tuple[int, int, int], shrink: int, cell: int
) -> NDArray[np.float64]:
    """Sum of the doubled directions (cosine, sine) of the gradient in a strip's cells that are all wood.

    `strip` is its first row, the row after its last, and its columns: whole cells. [px]
    """
    top, bottom, columns = strip
    low, high = max(top - _HALO * shrink, 0), min(bottom + _HALO * shrink, image.shape[0] // shrink * shrink)
    right = min(columns + _HALO * shrink, image.shape[1] // shrink * shrink)
    size = (right // shrink, (high - low) // shrink)
    grey = cv2.cvtColor(image[low:high, :right], cv2.COLOR_RGB2GRAY)
    grey = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    mask = np.ascontiguousarray(wood[low:high:shrink, :right:shrink]).view(np.uint8)
    mask = cv2.erode(mask, np.ones((5, 5), np.uint8))
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.0)
    own = (slice((top - low) // shrink, (bottom - low) // shrink), slice(0, columns // shrink))
    plain = mask[own].astype(np.float32)
    gx, gy = (
        np.multiply(cv2.Sobel(smooth, cv2.CV_32F, 1 - k, k)[own], plain) for k in (0, 1)
    )
    cells = (columns // shrink // cell, (bottom - top) // shrink // cell)
    xx, yy, xy, share = (
        cv2.resize(field, cells, interpolation=cv2.INTER_AREA) for field in (gx * gx, gy * gy, gx * gy, plain)
    )
    energy = xx + yy
    whole = (share > 0.9) & (energy > 0)
    energy = energy[whole]
    return np.array([((xx - yy)[whole] / energy).sum(), (2 * xy[whole] / energy).sum()], float)
