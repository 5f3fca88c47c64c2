"""The gap between a crack's lips, from brightness profiles square to its centreline.

Two measures, in linear light (blur happens in light, not in gamma-coded values):

- missing light: what the crack takes from the wood's brightness, summed over
  the profile, over what a pixel of crack takes. Blur moves light about but
  loses none, so this is right for cracks far narrower than a pixel. It needs the
  brightness of the crack's own floor.
- lips: where the profile, coming in from sound wood on either side, has fallen
  half way to what lies just inside. Right for wide cracks even where one wall is
  lit or dust fills them, for the inside's brightness does not enter.

The first is used up to a few pixels, the second above, with a smooth change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.profile import FloatArray, Path, profiles, smooth_along

STEP = 0.5  # spacing of the samples on a profile [px]
GUARD_PX = 2.0  # blur of the lens: sound wood starts this far outside the lips
SIDE_PX = 5.0  # how much sound wood on either side gives its tone
LIPS_FROM_PX = 3.0  # below this lips are nearer to each other than the blur is wide
LIPS_ONLY_PX = 6.0
FLOOR_SEEN_PX = 5.0  # a crack this wide shows its floor
USUAL_FLOOR = 0.04


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


def measure_widths(
    value: NDArray[np.uint8], path: Path, rough_width: FloatArray, floor_share: float
) -> Widths:
    """Widths along `path`.

    Parameters
    ----------
    value : ndarray of uint8, shape (H, W)
    path : Path
        Centreline, points about a pixel apart.
    rough_width : ndarray, shape (N,)
        First guess of the width. [px]
    floor_share : float
        Light on the floor of a deep crack, as a share of the wood's. [-]
    """
    reach = 0.75 * float(rough_width.max()) + GUARD_PX + SIDE_PX + 2.0
    offsets = np.arange(-np.ceil(reach / STEP), np.ceil(reach / STEP) + 1) * STEP
    light = _light_profiles(value, path, offsets)
    light = smooth_along(light, 0.7)
    wood, noise = _sound_wood(light, offsets, rough_width)
    floor = floor_share * wood
    share = np.clip((wood - light) / np.maximum(wood - floor, 1e-4), -0.5, 1.05)  # 1 in the dark of the crack
    inside = np.abs(offsets)[None, :] <= (0.75 * rough_width + GUARD_PX)[:, None]
    missing = (share * inside).sum(1) * STEP
    left, right = _lips(share, offsets, rough_width)
    lips = right - left
    weight = np.clip((np.maximum(missing, 0.8 * lips) - LIPS_FROM_PX) / (LIPS_ONLY_PX - LIPS_FROM_PX), 0.0, 1.0)
    width = np.maximum((1 - weight) * missing + weight * lips, 0.0)
    middle = (share * inside * offsets).sum(1) / np.maximum((np.abs(share) * inside).sum(1), 0.3)
    shift = (1 - weight) * np.clip(middle, -1.5, 1.5) + weight * 0.5 * (left + right)
    relative_noise = noise / np.maximum(wood - floor, 1e-4).mean(1)
    sigma = np.hypot(0.10 + 0.03 * width, relative_noise * np.sqrt(inside.sum(1)) * STEP)
    return Widths(width, sigma, shift)


def dark_floor(value: NDArray[np.uint8], paths: list[Path], rough_widths: list[FloatArray]) -> float:
    """Light on the floor of this picture's cracks, as a share of the wood's beside them.

    Taken from the darker of the stretches wide enough to show their floor through
    the blur; the usual share where there are none.
    """
    shares = []
    for path, rough in zip(paths, rough_widths, strict=True):
        wide = rough >= FLOOR_SEEN_PX
        if wide.sum() < 5:
            continue
        seen = Path(path.points[wide], path.normals[wide])
        beside = 0.5 * rough.max() + GUARD_PX + 2.0
        light = _light_profiles(value, seen, np.array([-beside, -1.0, 0.0, 1.0, beside]))
        shares.append(light[:, 1:4].min(1) / np.maximum(0.5 * (light[:, 0] + light[:, 4]), 1e-3))
    if not shares or sum(map(len, shares)) < 20:
        return USUAL_FLOOR
    return float(np.clip(np.quantile(np.concatenate(shares), 0.25), 0.0, 0.3))


def _light_profiles(value: NDArray[np.uint8], path: Path, offsets: FloatArray) -> FloatArray:
    """Profiles in linear light, read from crops so that the whole picture is never converted."""
    table = linear_light()
    parts = []
    piece = 200
    margin = float(np.abs(offsets).max()) + 2
    for first in range(0, len(path), piece):
        points = path.points[first : first + piece]
        normals = path.normals[first : first + piece]
        low = np.maximum(np.floor(points.min(0) - margin).astype(int), 0)
        high = np.minimum(np.ceil(points.max(0) + margin).astype(int) + 1, value.shape[::-1])
        crop = table[value[low[1] : high[1], low[0] : high[0]]]
        parts.append(profiles(crop, Path(points - low, normals), offsets))
    return np.concatenate(parts).astype(float)


def _sound_wood(
    light: FloatArray, offsets: FloatArray, rough_width: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Brightness of sound wood under the profile, from both sides, and its scatter."""
    lip = (0.6 * rough_width + GUARD_PX)[:, None]
    sides = []
    scatter = []
    for sign in (-1.0, 1.0):
        beside = sign * offsets[None, :]
        picked = np.where((beside >= lip) & (beside <= lip + SIDE_PX), light, np.nan)
        level = np.nanmedian(picked, axis=1)
        sides.append(smooth_along(level, 3.0))
        scatter.append(np.nanstd(picked, axis=1))
    left, right = sides
    ramp = np.clip(offsets[None, :] / (2 * lip + SIDE_PX) + 0.5, 0.0, 1.0)
    return left[:, None] * (1 - ramp) + right[:, None] * ramp, np.hypot(*scatter) / 2


def _lips(share: FloatArray, offsets: FloatArray, rough_width: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where the profile has fallen half way to what lies just inside, from the left and right. [px]"""
    left = -_first_fall(share[:, ::-1], -offsets[::-1], rough_width)
    right = _first_fall(share, offsets, rough_width)
    return left, right


def _first_fall(share: FloatArray, offsets: FloatArray, rough_width: FloatArray) -> FloatArray:
    """Coming in from the right (greatest offset): position of the half-way fall."""
    rows = np.arange(len(share))
    allowed = offsets[None, :] <= (0.75 * rough_width + GUARD_PX)[:, None]
    dark = (share > 0.3) & allowed
    last = len(offsets) - 1 - np.argmax(dark[:, ::-1], axis=1)
    found = dark.any(1)
    depth = int(2.5 / STEP)
    inner = np.maximum(last[:, None] - np.arange(depth + 1)[None, :], 0)
    half = 0.5 * share[rows[:, None], inner].max(1)
    # walk from the sound wood inward to the crossing of `half`
    beyond = np.minimum(last[:, None] + np.arange(depth, -depth - 1, -1)[None, :], len(offsets) - 1)
    beyond = np.maximum(beyond, 0)
    walk = share[rows[:, None], beyond]
    crossed = walk >= half[:, None]
    k = np.argmax(crossed, axis=1)
    k = np.maximum(k, 1)
    outer, inner_value = walk[rows, k - 1], walk[rows, k]
    part = np.clip((half - outer) / np.where(np.abs(inner_value - outer) > 1e-6, inner_value - outer, 1.0), 0, 1)
    position = offsets[beyond[rows, k - 1]] * (1 - part) + offsets[beyond[rows, k]] * part
    return np.where(found, position, 0.0)
