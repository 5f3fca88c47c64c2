"""The brightness that cracks are looked for in, and the tone of the sound wood near each pixel.

Terminology
-----------
value   the brightest of the three channels of a pixel. Wood is red or yellow,
        and its grain is drawn mostly in the darker channels; a crack takes the
        light from all three. So the brightest channel shows cracks at full
        contrast and the grain at its least.
tone    the value of sound wood round about, cracks and specks left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

REDUCTION = 8  # the tone changes slowly: kept at an eighth of the picture's size
TONE_WINDOW_PX = 152.0  # several times the widest crack looked for (30 px)
BAND_PX = 48  # how far beyond the wood the picture is continued; covers the widest filter

ImageArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class WoodValue:
    """The picture's value continued beyond the wood, and the sound wood's tone.

    Parameters
    ----------
    value : ndarray of uint8, shape (H, W)
        Brightest channel; outside the wood, that of the nearest wood.
    tone : ndarray of float32, shape (ceil(H / 8), ceil(W / 8))
        Tone of sound wood. [grey levels]
    wood : ndarray of bool, shape (H, W)
    """

    value: ImageArray
    tone: NDArray[np.float32]
    wood: BoolArray


def brightest_channel(image: ImageArray) -> ImageArray:
    """Brightest of the three channels, shape (H, W)."""
    red, green, blue = cv2.split(image)
    return np.asarray(cv2.max(cv2.max(red, green), blue))


def wood_value(image: ImageArray, wood: BoolArray | None) -> WoodValue:
    """The value of the wood, continued beyond its edge, and its tone.

    Continuing the nearest wood outward makes a crack that runs out over the
    edge go on beyond it, and takes away what lies outside, bench or shadow, so
    that the border itself makes no line.

    `image` has shape (H, W, 3), `wood` (H, W).
    """
    value = brightest_channel(image)
    if wood is None:
        whole = np.ones(value.shape, bool)
        return WoodValue(value, _tone(value), whole)
    sure = cv2.erode(wood.astype(np.uint8), np.ones((5, 5), np.uint8), borderValue=1)
    if sure.any():
        value = _continued(value, sure)
    return WoodValue(value, _tone(value), wood)


def _continued(value: ImageArray, sure: NDArray[np.uint8]) -> ImageArray:
    """`value` with every pixel outside `sure` set to that of the nearest inside.

    Nearest to within a pixel: looked up on every second pixel, a quarter of the work.
    """
    inside = sure[::2, ::2]
    if not inside.any():
        return value
    _, labels = cv2.distanceTransformWithLabels(
        1 - inside, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    by_label = np.zeros(int(labels.max()) + 1, np.uint8)
    by_label[labels[inside > 0]] = value[::2, ::2][inside > 0]
    beyond = cv2.resize(by_label[labels], value.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return np.asarray(cv2.copyTo(value, sure, beyond))


def _tone(value: ImageArray) -> NDArray[np.float32]:
    height, width = value.shape
    size = (-(-width // REDUCTION), -(-height // REDUCTION))
    small = cv2.resize(value, size, interpolation=cv2.INTER_AREA)
    window = 2 * round(TONE_WINDOW_PX / REDUCTION / 2) + 1
    middle = cv2.medianBlur(small, window)  # keeps the edges of cast shadows, forgets cracks
    return np.asarray(cv2.GaussianBlur(middle, (0, 0), 1.5), np.float32)


def tone_at(tone: NDArray[np.float32], x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Tone at picture positions, bilinear. [grey levels] `tone` has shape (H, W), `x` and `y` any one shape."""
    shape = np.shape(x)
    columns = ((np.ravel(x) + 0.5) / REDUCTION - 0.5).astype(np.float32).reshape(-1, 1)
    rows = ((np.ravel(y) + 0.5) / REDUCTION - 0.5).astype(np.float32).reshape(-1, 1)
    return sample(tone, columns, rows).reshape(shape).astype(float)


def sample(picture: NDArray, x: NDArray, y: NDArray) -> NDArray:  # type: ignore[type-arg]
    """Bilinear values at (x, y); any number of points, in pieces that OpenCV's remap can take.

    `picture` has shape (H, W) or (H, W, C), `x` and `y` any one shape.
    """
    x = np.asarray(x, np.float32)
    y = np.asarray(y, np.float32)
    piece = 32000  # remap's sizes must stay under 2^15 rows
    parts = [
        cv2.remap(picture, x[k : k + piece], y[k : k + piece], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for k in range(0, len(x), piece)
    ]
    return np.concatenate(parts) if parts else np.zeros(x.shape + picture.shape[2:], np.float32)
