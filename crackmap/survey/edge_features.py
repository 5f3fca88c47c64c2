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

from crackmap.survey.edge_view import View
from crackmap.survey.light import FloatImage, linear_light, shade_and_tints

# Of each feature, a step that two materials commonly differ by: shade and tints
# in log light, roughness in the log of the gradient, grain as a unit-disc
# vector. They only fix the yardstick; the mixtures learn each picture's own.
YARDSTICK = np.array([0.25, 0.10, 0.10, 0.35, 0.50, 0.50], np.float32)

_GRAIN_WINDOW_MM = 8.0  # several growth rings wide, far less than a slab
# A relative step above this is an object's border, not texture. [-]
_GRADIENT_CAP = 0.15
_STRIP = 24  # rows of cells worked on at a time, to stay small
# Nearly the logarithm of light to within a factor; the offset keeps noise in the dark down.
_LOG_CODE = np.log(np.arange(256, dtype=np.float32) + 6.0).reshape(1, 256)


def cell_features(view: View, cell: int) -> FloatImage:
    """Shade, two tints, roughness and doubled-angle grain of each cell.

    Parameters
    ----------
    view : View
    cell : int
        Side of a cell. [px of the view]

    Returns
    -------
    ndarray of float32, shape (h // cell, w // cell, 6)
        In units of `YARDSTICK`. [-]
    """
    rows, columns = view.size[1] // cell, view.size[0] // cell
    whole = view.pixels[: rows * cell, : columns * cell]
    size = (columns, rows)
    # Twice the cells' resolution: light is averaged right to first order and cheaply.
    reduced = cv2.resize(whole, (2 * columns, 2 * rows), interpolation=cv2.INTER_AREA) if cell > 2 else whole
    light = cv2.resize(linear_light(np.asarray(reduced, np.uint8)), size, interpolation=cv2.INTER_AREA)
    features = np.empty((rows, columns, 6), np.float32)
    features[..., :3] = shade_and_tints(light)
    features[..., 3:] = _texture(whole, size, view.mm_per_px * cell)
    features /= YARDSTICK
    return features


def _texture(image: NDArray[np.uint8], size: tuple[int, int], mm_per_cell: float) -> FloatImage:
    """Log roughness and the structure tensor's doubled-angle vector, shape (rows, columns, 3).

    Grain direction by the structure tensor: Bigün & Granlund, ICCV 1987.
    """
    products = np.empty((3, size[1], size[0]), np.float32)
    cell = image.shape[0] // size[1]
    for top in range(0, size[1], _STRIP):
        rows = slice(top, min(top + _STRIP, size[1]))
        strip = _gradient_products(image[rows.start * cell : rows.stop * cell])
        for plane, product in zip(products, strip, strict=True):
            plane[rows] = cv2.resize(product, (size[0], rows.stop - top), interpolation=cv2.INTER_AREA)
    sigma = _GRAIN_WINDOW_MM / mm_per_cell
    xx, yy, xy = (cv2.GaussianBlur(plane, (0, 0), sigma) for plane in products)
    energy = xx + yy + np.float32(1e-6)
    return np.stack([0.5 * np.log(energy), (xx - yy) / energy, 2 * xy / energy], axis=-1)


def _gradient_products(image: NDArray[np.uint8]) -> tuple[FloatImage, FloatImage, FloatImage]:
    """Products xx, yy and xy of the log light's gradient, the steps at things' borders held down."""
    logs = cv2.LUT(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), _LOG_CODE)
    gx = cv2.Sobel(logs, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    gy = cv2.Sobel(logs, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    over = cv2.max(cv2.magnitude(gx, gy) / np.float32(_GRADIENT_CAP), 1.0)
    gx, gy = cv2.divide(gx, over), cv2.divide(gy, over)
    return cv2.multiply(gx, gx), cv2.multiply(gy, gy), cv2.multiply(gx, gy)
