"""From gamma-coded pixels to light, and to the logarithms that part shade from colour.

A shadow multiplies all three channels by nearly the same factor, so in the
logarithm of linear light it moves `shade` alone and leaves the two `tints`
where they were. That is why the edge is looked for there.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

FloatImage = NDArray[np.float32]

# Light below this share of full scale is noise: it bounds the logarithm. [-]
_LEAST_LIGHT = 0.004


def _decoding_table() -> FloatImage:
    """sRGB code value to linear light (IEC 61966-2-1, the inverse transfer function)."""
    code = np.arange(256) / 255.0
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return light.astype(np.float32).reshape(1, 256)


_LIGHT = _decoding_table()


def linear_light(image: NDArray[np.uint8]) -> FloatImage:
    """Linear light of sRGB code values, 0 to 1, same shape. [-]"""
    return np.asarray(cv2.LUT(np.ascontiguousarray(image), _LIGHT), np.float32)


def shade_and_tints(light: FloatImage) -> FloatImage:
    """Log shade and two log tints of linear RGB light.

    Parameters
    ----------
    light : ndarray of float32, shape (..., 3)
        Linear RGB, 0 to 1. [-]

    Returns
    -------
    ndarray of float32, shape (..., 3)
        ln of the luminance-weighted light, ln(R/G), ln(B/G). [-]
    """
    logs = np.log(light + np.float32(_LEAST_LIGHT))
    out = np.empty_like(logs)
    out[..., 0] = 0.25 * logs[..., 0] + 0.6 * logs[..., 1] + 0.15 * logs[..., 2]
    out[..., 1] = logs[..., 0] - logs[..., 1]
    out[..., 2] = logs[..., 2] - logs[..., 1]
    return np.asarray(out, np.float32)
