"""Direction of the grain over the whole slab."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_CELL_MM = 6.0  # a few growth rings


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
    size = (image.shape[1] // shrink, image.shape[0] // shrink)
    grey = cv2.resize(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), size, interpolation=cv2.INTER_AREA)
    mask = cv2.resize(wood.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    mask = cv2.erode(mask, np.ones((5, 5), np.uint8))
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.0)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0) * mask
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1) * mask
    cell = max(2, round(_CELL_MM / (mm_per_px * shrink)))
    cells = (max(1, size[0] // cell), max(1, size[1] // cell))
    difference, product, energy = (
        cv2.resize(field, cells, interpolation=cv2.INTER_AREA)
        for field in (gx * gx - gy * gy, 2 * gx * gy, gx * gx + gy * gy)
    )
    share = cv2.resize(mask.astype(np.float32), cells, interpolation=cv2.INTER_AREA)
    whole = (share > 0.9) & (energy > 0)
    if not whole.any():
        return 0.0
    # The gradient stands across the grain: doubled angle, turned by 180 degrees.
    across = np.arctan2((product[whole] / energy[whole]).mean(), (difference[whole] / energy[whole]).mean())
    grain = 90.0 - float(np.degrees(across)) / 2.0  # image y runs down: the sign turns
    return -((-grain + 90.0) % 180.0 - 90.0)
