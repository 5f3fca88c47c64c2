"""How much like a dark line each pixel is, at every width from a hairline to a wide split.

Each scale's response is the strongest second derivative of the Gaussian-blurred
value, less what a dark spot would give (the weaker second derivative). It is
then measured two ways, and the smaller counts:

- against the texture: divided by the mean response of the neighbourhood at that
  scale, so that one threshold is one rate of false alarms on calm maple and on
  lively oak;
- against the tone: as the share of the wood's light that a line would have to
  take away, so that broad brown bands in calm wood, which are lines but not
  dark, do not count however calm the wood.

References
----------
.. [1] T. Lindeberg, "Edge detection and ridge detection with automatic scale
   selection," International Journal of Computer Vision 30(2), 1998, 117-154.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.tone import REDUCTION, WoodValue

FloatImage = NDArray[np.float32]

CELL_PX = 16  # side of the cells in which the texture's mean response is taken
STRIP_ROWS = 512
STRENGTH_UNIT = 16.0  # grey levels of the stored strength for 1.0


@dataclass(frozen=True, slots=True)
class Scale:
    """One filter: `sigma` in pixels of the picture halved `level` times.

    `texture_limit` and `contrast_limit` are the responses, against the texture
    and against the tone, that count as 1.
    """

    level: int
    sigma: float
    texture_limit: float
    contrast_limit: float

    @property
    def sigma_px(self) -> float:
        """Sigma in pixels of the picture."""
        return self.sigma * 2.0**self.level

    @property
    def quarter_width(self) -> int:
        """Width of the line that answers best. [1/4 px]"""
        return round(4.0 * float(np.sqrt(12.0)) * self.sigma_px)


# Two scales an octave. A line of width w answers best at sigma = w / sqrt(12).
# Contrast limits: a hairline of 0.7 px blurred by the lens keeps a twentieth of
# its darkness; a line wider than the blur keeps all of it and must be dark.
SCALES = (
    Scale(0, 1.0, 4.5, 0.030),
    Scale(0, 1.6, 4.5, 0.040),
    Scale(1, 1.25, 4.5, 0.050),
    Scale(1, 1.9, 4.5, 0.060),
    Scale(2, 1.45, 4.5, 0.070),
    Scale(2, 2.2, 4.5, 0.080),
    Scale(3, 1.6, 4.5, 0.090),
)


@dataclass(frozen=True, slots=True, eq=False)
class LineMap:
    """Likeness to a dark line.

    Parameters
    ----------
    strength : ndarray of uint8, shape (H, W)
        `STRENGTH_UNIT` where a line is just worth a look; saturates at 255.
    width : ndarray of uint8, shape (H, W)
        Width of the line that the best answering scale stands for. [1/4 px]
    """

    strength: NDArray[np.uint8]
    width: NDArray[np.uint8]


def line_map(wood: WoodValue, scales: tuple[Scale, ...] = SCALES) -> LineMap:
    """Strength of the best answering scale at each pixel, nought outside the wood."""
    height, width = wood.value.shape
    strength = np.zeros((height, width), np.uint8)
    best = np.zeros((height, width), np.uint8)
    coarsest = 2 ** max(scale.level for scale in scales)
    # Whole numbers of coarse pixels, so that all levels' pixel centres line up.
    picture = cv2.copyMakeBorder(wood.value, 0, -height % coarsest, 0, -width % coarsest, cv2.BORDER_REPLICATE)
    for level in range(1 + max(scale.level for scale in scales)):
        if level:
            picture = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        for scale in scales:
            if scale.level == level:
                _add_scale(strength, best, picture, wood.tone, scale)
    strength[~wood.wood] = 0
    return LineMap(strength, best)


def _add_scale(
    strength: NDArray[np.uint8],
    best: NDArray[np.uint8],
    picture: NDArray[np.uint8],
    tone: FloatImage,
    scale: Scale,
) -> None:
    """Raise `strength` and set the width `best` where this scale answers more than those before."""
    response = _response(picture, scale.sigma)
    texture = _texture(response, scale.level)
    size = (max(texture.shape[1], tone.shape[1]), max(texture.shape[0], tone.shape[0]))
    limits = np.maximum(scale.texture_limit * cv2.resize(texture, size), scale.contrast_limit * cv2.resize(tone, size))
    full_height, full_width = strength.shape
    step = 2**scale.level
    strip = max(STRIP_ROWS // step, 8)
    for top in range(0, response.shape[0], strip):
        part = response[top : top + strip]
        rows = (top * step, min((top + len(part)) * step, full_height))
        if rows[0] >= full_height:
            break
        limit = _rows_of(limits, part.shape, top, response.shape[0])
        score = cv2.divide(part, limit, scale=STRENGTH_UNIT)
        if step > 1:
            score = cv2.resize(score, None, fx=step, fy=step, interpolation=cv2.INTER_LINEAR)
        score = cv2.convertScaleAbs(score[: rows[1] - rows[0], :full_width])
        kept = strength[rows[0] : rows[0] + len(score)]
        np.copyto(best[rows[0] : rows[0] + len(score)], np.uint8(scale.quarter_width), where=score > kept)
        cv2.max(score, kept, dst=kept)


def _rows_of(small: FloatImage, shape: tuple[int, ...], top: int, height: int) -> FloatImage:
    """The rows `top` to `top + shape[0]`, of `height`, of `small` enlarged to `shape`'s width."""
    y = (np.arange(top, top + shape[0]) + 0.5) * small.shape[0] / height - 0.5
    low = np.clip(np.floor(y).astype(int), 0, small.shape[0] - 1)
    high = np.minimum(low + 1, small.shape[0] - 1)
    share = np.clip(y - low, 0, 1).astype(np.float32)[:, None]
    wide = cv2.resize(small[low[0] : high[-1] + 1], (shape[1], int(high[-1] - low[0] + 1)))
    return np.asarray(wide[low - low[0]] * (1 - share) + wide[high - low[0]] * share)


def _response(picture: NDArray[np.uint8], sigma: float) -> FloatImage:
    """Line response of one scale, in grey levels: sigma squared times the second derivative."""
    halo = int(np.ceil(3.2 * sigma))
    size = (2 * halo + 1, 2 * halo + 1)
    height = picture.shape[0]
    response = np.empty(picture.shape, np.float32)
    for top in range(0, height, STRIP_ROWS):
        low, high = max(top - halo - 1, 0), min(top + STRIP_ROWS + halo + 1, height)
        part = cv2.GaussianBlur(picture[low:high].astype(np.float32), size, sigma, borderType=cv2.BORDER_REPLICATE)
        bottom = min(top + STRIP_ROWS, height)
        response[top:bottom] = _line(part, sigma**2)[top - low : bottom - low]
    return response


def _line(smooth: FloatImage, gain: float) -> FloatImage:
    """Stronger less (positive) weaker second derivative of a smoothed picture, times `gain`."""
    second = np.array([1, -2, 1], np.float32)
    first = np.array([-0.5, 0, 0.5], np.float32)
    here = np.array([0, 1, 0], np.float32)
    xx = cv2.sepFilter2D(smooth, cv2.CV_32F, second * gain, here, borderType=cv2.BORDER_REPLICATE)
    yy = cv2.sepFilter2D(smooth, cv2.CV_32F, here, second * gain, borderType=cv2.BORDER_REPLICATE)
    xy = cv2.sepFilter2D(smooth, cv2.CV_32F, first * gain, first, borderType=cv2.BORDER_REPLICATE)
    middle = cv2.addWeighted(xx, 0.5, yy, 0.5, 0)
    spread = cv2.magnitude(cv2.addWeighted(xx, 0.5, yy, -0.5, 0, dst=xx), xy)
    weaker = cv2.max(cv2.subtract(middle, spread, dst=yy), 0.0)
    return np.asarray(cv2.max(cv2.subtract(cv2.add(middle, spread), weaker), 0.0))


def _texture(response: FloatImage, level: int) -> FloatImage:
    """Mean response of the neighbourhood, with the few strong lines in it left out."""
    cell = max(CELL_PX >> level, 4)
    size = (max(response.shape[1] // cell, 1), max(response.shape[0] // cell, 1))
    cells = cv2.resize(response, size, interpolation=cv2.INTER_AREA)
    middle = cv2.medianBlur(cells, 5)
    return np.asarray(cv2.blur(middle, (5, 5)) + 0.15)  # 0.15: rounding of 8-bit values


__all__ = ["REDUCTION", "SCALES", "STRENGTH_UNIT", "LineMap", "Scale", "line_map"]
