"""Made-up strips of picture along cracks, with true widths, to fit the width network on.

Strips are drawn straight away in the frame that the network sees: along and
across the crack, in pixels. Nothing is copied from a photograph.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from crackmap.survey.width_inputs import ACROSS, reach_of
from tests.benchmarks.width_network.face import face_light, random_wood
from tests.benchmarks.width_network.gap import Lighting, gap_cover, gap_light, random_gap, random_lighting
from tests.benchmarks.width_network.noise import FloatArray, Rng, smooth_line

FINE_ACROSS, FINE_ALONG = 4, 2  # samples a pixel while drawing
COLUMNS = 96  # length of a strip [px]


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """One strip with its truth.

    Parameters
    ----------
    root : ndarray of uint8, shape (N, M, 3)
        Square root of linear light. [1/255]
    reach, width, middle : ndarray, shape (N,)
        Half the strip's span; true width; true middle less the path. [px]
    counts : ndarray of bool, shape (N,)
        False where the crack is hidden.
    """

    root: NDArray[np.uint8]
    reach: FloatArray
    width: FloatArray
    middle: FloatArray
    counts: NDArray[np.bool_]


def make_strip(rng: Rng, columns: int = COLUMNS) -> Strip:
    """A random strip."""
    count = columns * FINE_ALONG
    typical = float(np.exp(rng.uniform(np.log(0.5), np.log(20 if rng.random() < 0.85 else 42))))
    width = _widths(rng, count, typical)
    middle = _wander(rng, count, typical)
    rough = _guess(rng, width)
    reach = reach_of(rough)
    far = float(reach.max()) + 4
    y = (np.arange(int(2 * far * FINE_ACROSS)) + 0.5) / FINE_ACROSS - far
    light = random_lighting(rng)
    wood = random_wood(rng)
    picture = face_light(rng, y, width, middle, wood)
    for other_middle, other_width in _neighbours(rng, count, typical, middle, width):
        _paint(rng, picture, y, other_middle, other_width, light, wood)
    _paint(rng, picture, y, middle, width, light, wood)
    hidden = _lay_things(rng, picture, y)
    pixels = _photographed(rng, picture)
    fine = slice(FINE_ALONG // 2, None, FINE_ALONG)
    reach, width, middle = reach[fine], _pixel_mean(width), _pixel_mean(middle)
    across = reach[:, None] * ACROSS + far - 0.5
    along = np.broadcast_to(np.arange(columns)[:, None], across.shape)
    root = np.stack(
        [np.sqrt(map_coordinates(pixels[..., k], [across, along], order=1, mode="nearest")) for k in range(3)], -1
    )
    return Strip(np.rint(np.clip(root, 0, 1) * 255).astype(np.uint8), reach, width, middle, ~hidden[fine])


def _pixel_mean(values: FloatArray) -> FloatArray:
    return np.asarray(values.reshape(-1, FINE_ALONG).mean(1))


def _widths(rng: Rng, count: int, typical: float) -> FloatArray:
    """True widths along the strip, with jagged lips and perhaps a tip."""
    slow = rng.uniform(0, 0.35) * smooth_line(rng, count, rng.uniform(20, 100))
    jagged = rng.uniform(0.02, 0.18) * smooth_line(rng, count, rng.uniform(6, 30))
    width = typical * np.exp(slow + jagged)
    if rng.random() < 0.35:
        along = np.arange(count) if rng.random() < 0.5 else np.arange(count)[::-1]
        tip = rng.uniform(0.2, 1.2) * count
        width = width * np.clip((tip - along) / (rng.uniform(0.2, 1.5) * count), 0, 1) ** rng.uniform(0.5, 1.3)
    return np.asarray(width)


def _wander(rng: Rng, count: int, typical: float) -> FloatArray:
    """How far the true middle lies from the path."""
    own = rng.uniform(0, 0.12) * typical * smooth_line(rng, count, rng.uniform(8, 30))
    path = (rng.exponential(0.4) + rng.exponential(0.08) * typical) * smooth_line(rng, count, rng.uniform(25, 100))
    return np.asarray(own + path)


def _guess(rng: Rng, width: FloatArray) -> FloatArray:
    """A rough width, as the steps before the network give it."""
    spread = 0.8 if rng.random() < 0.15 else 0.25
    factor = rng.normal(0.1, spread) + rng.uniform(0, 0.3) * smooth_line(rng, len(width), rng.uniform(20, 80))
    smooth = np.convolve(np.pad(width, 12, mode="edge"), np.ones(25) / 25, mode="valid")
    return np.asarray(np.clip(smooth * np.exp(factor), 2.0, 60.0))


def _neighbours(
    rng: Rng, count: int, typical: float, middle: FloatArray, width: FloatArray
) -> list[tuple[FloatArray, FloatArray]]:
    """Other cracks in view: branches that leave, stems that are left, and ones that run beside."""
    found = []
    along = np.arange(count) / FINE_ALONG
    for _ in range(rng.choice(3, p=[0.6, 0.3, 0.1])):
        other = max(typical * float(np.exp(rng.normal(-0.2, 0.8))), 0.4)
        other_width = other * np.exp(0.2 * smooth_line(rng, count, 15))
        side = rng.choice([-1.0, 1.0])
        if rng.random() < 0.6:  # leaves at some place, at an angle
            start = rng.uniform(-0.5, 1.0) * along[-1]
            run = np.maximum((along - start) * rng.choice([-1.0, 1.0]), 0)
            slope = rng.uniform(0.05, 0.7)
            away = slope * run + 0.3 * other * smooth_line(rng, count, 12) * np.minimum(run / 10, 1)
            other_width = np.where(run > 0, other_width, 0)
        else:
            apart = 0.5 * (typical + other) + 0.6 + rng.exponential(4.0)
            away = np.maximum(apart + rng.exponential(1.5) * smooth_line(rng, count, 30), (width + other_width) / 2)
        found.append((middle + side * away, other_width))
    return found


def _paint(
    rng: Rng,
    picture: FloatArray,
    y: FloatArray,
    middle: FloatArray,
    width: FloatArray,
    light: Lighting,
    wood: FloatArray,
) -> None:
    gap = random_gap(rng, middle, width)
    cover = gap_cover(gap, y, 1 / FINE_ACROSS)
    inside = gap_light(rng, gap, y, cover, light, wood)
    picture += (inside - picture) * cover[:, :, None]


def _lay_things(rng: Rng, picture: FloatArray, y: FloatArray) -> NDArray[np.bool_]:
    """A rule, paper or the bench beyond the slab's end over part of the strip; True where it hides the crack."""
    count = picture.shape[1]
    hidden = np.zeros(count, bool)
    if rng.random() > 0.18:
        return hidden
    first = rng.integers(-count // 2, count)
    tilt = np.rint(y * rng.normal(0, 0.5) * FINE_ALONG).astype(int)
    last = first + int(rng.uniform(0.1, 1.0) * count)
    colour = rng.uniform(0.01, 0.9) * rng.uniform(0.6, 1, 3)
    columns = np.arange(count)
    over = (columns >= first + tilt[:, None]) & (columns < last + tilt[:, None])
    picture[over] = colour
    return np.asarray(over[len(y) // 2 - 4 : len(y) // 2 + 4].any(0))


def _photographed(rng: Rng, picture: FloatArray) -> FloatArray:
    """Linear light (Y, N, 3) that would be decoded from the photo's pixels."""
    rows, columns = picture.shape[0] // FINE_ACROSS, picture.shape[1] // FINE_ALONG
    seen = picture[: rows * FINE_ACROSS].reshape(rows, FINE_ACROSS, columns, FINE_ALONG, 3).mean((1, 3))
    level = float(np.quantile(seen.max(2), 0.6))
    seen = seen * (np.exp(rng.uniform(np.log(0.12), np.log(0.95))) / max(level, 1e-3))
    blur = float(np.exp(rng.uniform(np.log(0.4), np.log(1.6))))
    seen = gaussian_filter(seen, (blur, blur, 0), truncate=3) + rng.exponential(0.006)
    noise = np.sqrt(rng.uniform(0.001, 0.01) ** 2 + rng.exponential(0.0002) * np.maximum(seen, 0))
    seen = seen + noise * rng.standard_normal(seen.shape)
    coded = _encoded(np.clip(seen, 0, 1)) ** rng.uniform(0.88, 1.15)
    coded = coded + rng.uniform(-0.2, 0.6) * coded * (1 - coded) * (2 * coded - 1)  # a camera's contrast
    if rng.random() < 0.5:
        coded = coded + rng.uniform(0, 0.8) * (coded - gaussian_filter(coded, (1.2, 1.2, 0), truncate=2))
    coded = _compressed(rng, coded)
    return _decoded(np.rint(np.clip(coded, 0, 1) * 255) / 255)


def _compressed(rng: Rng, coded: FloatArray) -> FloatArray:
    """Colour at half the detail, and a little unrest, as a compressed file shows it."""
    if rng.random() < 0.3:
        return coded
    grey = coded @ np.array([0.299, 0.587, 0.114])
    colour = gaussian_filter(coded - grey[..., None], (1.0, 1.0, 0), truncate=2)
    unrest = gaussian_filter(rng.standard_normal(grey.shape), 0.8) * rng.exponential(0.008)
    return np.asarray(grey[..., None] + colour + unrest[..., None])


def _encoded(light: FloatArray) -> FloatArray:
    """sRGB (IEC 61966-2-1)."""
    return np.asarray(np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055))


def _decoded(code: FloatArray) -> FloatArray:
    return np.asarray(np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4))
