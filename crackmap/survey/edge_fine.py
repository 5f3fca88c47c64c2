"""The last pass: the outline on the colour step itself, to a fraction of a pixel.

Blur mixes light, not code values, so the edge lies where linear light is half
way between the wood and what lies beyond; on gamma-coded values the paler side
would seem to bloom.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_band import FloatArray, band_along, ring_mean, smoothed
from crackmap.survey.edge_path import closed_path
from crackmap.survey.edge_view import View
from crackmap.survey.light import linear_light

BoolMask = NDArray[np.bool_]

_ACROSS_PX = 0.7
_SIDES_MM = (0.8, 1.8)  # where the light to both sides of the step is read
_DARK_FLOOR = 0.03  # of the wood's light: bark's own depths are not told apart
_FULL_STEP = 1.5
_STEEPEST = 2
_STIFFNESS = 0.15
_SMOOTH_STEPS = 0.8  # of the offsets at the end: single noisy profiles, not the wood's own line


@dataclass(frozen=True, slots=True)
class Search:
    """How far to both sides to look, how far off the outline commonly is, and the step along it. [mm]"""

    reach: float
    likely: float
    along: float
    smooth: float  # of the outline before normals are taken


SLAB_EDGE = Search(reach=5.0, likely=2.0, along=1.0, smooth=1.5)


def refined(
    ring: FloatArray,
    image: NDArray[np.uint8],
    mm_per_px: float,
    view: View,
    usable: BoolMask,
    search: Search = SLAB_EDGE,
) -> FloatArray:
    """The closed outline (N, 2) [px] moved on to the colour step near it.

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
        [px]
    image : ndarray of uint8, shape (H, W, 3)
    mm_per_px : float
        [mm]
    view : View
        The picture's smaller copy.
    usable : ndarray of bool, shape (h, w)
        Of the copy: where slab or bench is in plain view; elsewhere the outline runs on as it was.
    search : Search
    """
    spacing = _ACROSS_PX * mm_per_px
    offsets = np.arange(-search.reach, search.reach + spacing / 2, spacing)
    band = band_along(ring, mm_per_px, search.along, offsets, search.smooth, 4 * search.smooth)
    light = linear_light(band.unroll(image))
    light /= _wood_level(light, offsets)[:, None]
    on_view = replace(band, stations=view.to_view(band.stations), mm_per_px=view.mm_per_px)
    plain = on_view.unroll(usable.view(np.uint8) * np.uint8(255)) > 200
    step = _step_strength(light, plain)
    cost = -step + 0.5 * (offsets[None] / search.likely) ** 2 * 0.25
    path = closed_path(cost, _STEEPEST, _STIFFNESS)
    exact = _half_way(light, plain, offsets, path)
    return band.at(smoothed(exact, _SMOOTH_STEPS))


def _wood_level(light: NDArray[np.float32], offsets: FloatArray) -> NDArray[np.float32]:
    """Light of the wood inside each station, per channel (N, 3), averaged along the edge."""
    inside = light[:, offsets < -_SIDES_MM[1]]
    return np.maximum(ring_mean(np.median(inside, axis=1), 8), 0.01).astype(np.float32)


def _step_strength(light: NDArray[np.float32], plain: BoolMask) -> FloatArray:
    """How much the log light changes across each sample, at most `_FULL_STEP`.

    In the logarithm the foot of a dirty, darkening edge counts as much as its
    shoulder, so the path runs where the wood ends, not where it starts to darken.
    """
    logs = np.log(light + _DARK_FLOOR)
    change = np.zeros(light.shape[:2])
    change[:, 1:-1] = np.abs(logs[:, 2:] - logs[:, :-2]).max(axis=-1)
    change[:, 1:-1] *= plain[:, 2:] & plain[:, :-2]
    return np.minimum(ring_mean(change, 1), _FULL_STEP)


def _half_way(light: NDArray[np.float32], plain: BoolMask, offsets: FloatArray, path: NDArray[np.int64]) -> FloatArray:
    """Offset of half light between the two sides of the step, within 1.5 samples of the path. [mm]"""
    spacing = offsets[1] - offsets[0]
    count = len(offsets)
    rows = np.arange(len(path))
    near, far = (max(1, round(s / spacing)) for s in _SIDES_MM)
    inner = np.stack([light[rows, np.clip(path - k, 0, count - 1)] for k in range(near, far + 1)]).mean(axis=0)
    outer = np.stack([light[rows, np.clip(path + k, 0, count - 1)] for k in range(near, far + 1)]).mean(axis=0)
    channel = np.abs(inner - outer).argmax(axis=1)
    low, high = inner[rows, channel], outer[rows, channel]
    contrast = np.where(np.abs(high - low) < 0.02, np.inf, high - low)
    reach = np.arange(-2, 3)
    index = np.clip(path[:, None] + reach, 0, count - 1)
    share = (light[rows[:, None], index, channel[:, None]] - low[:, None]) / contrast[:, None]
    # The share runs from 0 inside to 1 outside: its shortfall is how far out the edge lies.
    shift = (0.5 - np.clip(share, 0, 1)).sum(axis=1)
    seen = plain[rows[:, None], index].all(axis=1) & np.isfinite(contrast)
    return np.asarray(offsets[path] + np.where(seen, np.clip(shift, -1.5, 1.5), 0.0) * spacing)
