"""What each small cell of the picture looks like: shade, tints, roughness, grain direction.

Bench and slab may have one colour (plywood under maple) but then differ in
grain; or both be plain and differ in colour. All are put side by side, each
divided by the step that commonly parts two materials, so that a distance
between two cells means the same in every direction.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.light import FloatImage, linear_light, shade_and_tints

# Of each feature, a step that two materials commonly differ by: shade and tints
# in log light, roughness in the log of the gradient, grain as a unit-disc
# vector. They only fix the yardstick; the mixtures learn each picture's own.
YARDSTICK = np.array([0.25, 0.10, 0.10, 0.35, 0.50, 0.50], np.float32)

_GRAIN_WINDOW_MM = 8.0  # several growth rings wide, far less than a slab
# A relative step above this is an object's border, not texture. [-]
_GRADIENT_CAP = 0.15


def cell_features(image: NDArray[np.uint8], mm_per_px: float, cell: int) -> FloatImage:
    """Shade, two tints, roughness and doubled-angle grain of each cell.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        RGB.
    mm_per_px : float
        [mm]
    cell : int
        Side of a cell. [px]

    Returns
    -------
    ndarray of float32, shape (H // cell, W // cell, 6)
        In units of `YARDSTICK`. [-]
    """
    rows, columns = image.shape[0] // cell, image.shape[1] // cell
    whole = image[: rows * cell, : columns * cell]
    size = (columns, rows)
    light = cv2.resize(linear_light(_reduced(whole, cell)), size, interpolation=cv2.INTER_AREA)
    features = np.empty((rows, columns, 6), np.float32)
    features[..., :3] = shade_and_tints(light)
    features[..., 3:] = _texture(whole, size, mm_per_px * cell)
    features /= YARDSTICK
    return features


def _reduced(image: NDArray[np.uint8], cell: int) -> NDArray[np.uint8]:
    """A copy at twice the cells' resolution: light is averaged right to first order and cheaply."""
    half = max(1, cell // 2)
    size = (image.shape[1] // half, image.shape[0] // half)
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)


def _texture(image: NDArray[np.uint8], size: tuple[int, int], mm_per_cell: float) -> FloatImage:
    """Log roughness and the structure tensor's doubled-angle vector, shape (rows, columns, 3).

    Grain direction by the structure tensor: Bigün & Granlund, ICCV 1987.
    """
    half = cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    grey = np.log(np.arange(256, dtype=np.float32) + 6.0).astype(np.float32)
    logs = np.asarray(cv2.LUT(cv2.cvtColor(half, cv2.COLOR_RGB2GRAY), grey.reshape(1, 256)), np.float32)
    gx = cv2.Sobel(logs, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    gy = cv2.Sobel(logs, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    over = np.maximum(1.0, cv2.magnitude(gx, gy) / _GRADIENT_CAP)
    gx /= over
    gy /= over
    sigma = _GRAIN_WINDOW_MM / mm_per_cell
    xx, yy, xy = (
        cv2.GaussianBlur(cv2.resize(product, size, interpolation=cv2.INTER_AREA), (0, 0), sigma)
        for product in (gx * gx, gy * gy, gx * gy)
    )
    energy = xx + yy + np.float32(1e-6)
    return np.stack([0.5 * np.log(energy), (xx - yy) / energy, 2 * xy / energy], axis=-1)
