"""The gap between a crack's lips, from brightness profiles square to its centreline.

Profiles are taken in linear light, since blur happens in light and not in
gamma-coded values, and read by a small fitted measure (`width_model`). It says how
sure it is of each, and widths are then averaged along the crack by that: a
stretch full of dust, where the profile says little, takes its width from either
side. Quick enough for every line that may be a crack; the cracks themselves are
measured by `width_lips`, which a stained margin or a lit wall doesn't mislead.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.profile import FloatArray, Path, profiles, smooth_along
from crackmap.survey.width_model import RELATIVE, fitted_width, inputs_of, read_outputs, window_of

LEAST_ROUGH_PX = 2.0
ALONG_PX = 1.0  # profiles are averaged over this sigma along the crack
NEAR_PX, FAR_PX, FAR_WEIGHT = 2.0, 15.0, 0.02  # averaging along: nearly all from close by


@dataclass(frozen=True, slots=True, eq=False)
class Widths:
    """Widths along a path, and how far the middle of the gap lies from it.

    Arrays of shape (N,): `width` and its `sigma`, `shift` of the middle along
    the path's normal. [px]
    """

    width: FloatArray
    sigma: FloatArray
    shift: FloatArray


def linear_light() -> NDArray[np.float32]:
    """Light for each 8-bit sRGB value, 0 to 1 (IEC 61966-2-1)."""
    v = np.arange(256) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def measure_widths(value: NDArray[np.uint8], path: Path, rough_width: FloatArray) -> Widths:
    """Widths along `path`.

    Parameters
    ----------
    value : ndarray of uint8, shape (H, W)
        Brightest channel, sRGB-coded.
    path : Path
        Centreline, points about a pixel apart.
    rough_width : ndarray, shape (N,)
        First guess of the width, right to a factor of two. [px]
    """
    rough = np.maximum(rough_width, LEAST_ROUGH_PX)
    light = smooth_along(_light_profiles(value, path, window_of(rough)), ALONG_PX)
    width, sigma, shift = read_outputs(fitted_width().outputs(inputs_of(light, rough)), rough)
    weight = 1 / sigma**2
    return Widths(averaged(width, weight), averaged(sigma, weight), averaged(shift, weight))


def averaged(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Weighted average along the path, mostly of the closest points. Both have shape (N, ...)."""
    total = smooth_along(weight, NEAR_PX) + FAR_WEIGHT * smooth_along(weight, FAR_PX)
    summed = smooth_along(values * weight, NEAR_PX) + FAR_WEIGHT * smooth_along(values * weight, FAR_PX)
    return summed / np.maximum(total, 1e-12)


def _light_profiles(value: NDArray[np.uint8], path: Path, window: FloatArray) -> FloatArray:
    """Profiles in linear light at `RELATIVE` times `window`.

    Read from crops, so that the whole picture is never converted.
    """
    table = linear_light()
    parts = []
    piece = 200
    for first in range(0, len(path), piece):
        points = path.points[first : first + piece]
        own = Path(points, path.normals[first : first + piece])
        reach = window[first : first + piece]
        margin = float(reach.max()) + 2
        low = np.maximum(np.floor(points.min(0) - margin).astype(int), 0)
        high = np.minimum(np.ceil(points.max(0) + margin).astype(int) + 1, value.shape[::-1])
        crop = table[value[low[1] : high[1], low[0] : high[0]]]
        parts.append(profiles(crop, Path(own.points - low, own.normals), reach[:, None] * RELATIVE))
    return np.concatenate(parts).astype(float)
