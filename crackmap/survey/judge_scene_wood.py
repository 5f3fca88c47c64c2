"""Made-up wood for the judge's pictures: rings, fibre and colour, in linear light."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

FloatImage = NDArray[np.float32]
Rng = np.random.Generator


def noise_field(rng: Rng, size: int, along: float, across: float) -> FloatImage:
    """Smooth noise of unit spread, correlated over `along` (x) and `across` (y) pixels."""
    step_x, step_y = max(int(along / 3), 1), max(int(across / 3), 1)
    small = rng.standard_normal((size // step_y + 3, size // step_x + 3)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), sigmaX=along / step_x / 2 + 0.01, sigmaY=across / step_y / 2 + 0.01)
    wide = cv2.resize(small, None, fx=step_x, fy=step_y, interpolation=cv2.INTER_CUBIC)
    y, x = rng.integers(0, wide.shape[0] - size + 1), rng.integers(0, wide.shape[1] - size + 1)
    field = wide[y : y + size, x : x + size]
    return np.asarray((field - field.mean()) / (field.std() + 1e-6), np.float32)


def made_wood(rng: Rng, size: int, mm: float) -> tuple[FloatImage, FloatImage]:
    """Linear light of a wood, and a field constant along the grain (its level lines are grain lines)."""
    x, y = np.meshgrid(np.arange(size, dtype=np.float32) * mm, np.arange(size, dtype=np.float32) * mm)
    lean = rng.normal(0, 0.06)
    wave = noise_field(rng, size, rng.uniform(60, 300) / mm, rng.uniform(30, 120) / mm) * rng.uniform(0.3, 6)
    across = y + lean * x + wave
    for _ in range(rng.poisson(0.6)):  # the grain parts round a knot
        _part_grain(rng, across, x, y, size * mm)
    if rng.random() < 0.4:  # arched grain of a flat-sawn board
        middle, stretch = rng.uniform(0, size * mm), rng.uniform(0.02, 0.15)
        radius = np.sqrt((across - middle) ** 2 + (stretch * (x - rng.uniform(-500, 500))) ** 2 + 1)
        rings = radius + noise_field(rng, size, 80 / mm, 20 / mm) * 0.6
    else:
        rings = across
    spacing = np.exp(rng.uniform(np.log(1.2), np.log(16)))
    phase = rings / spacing + 0.35 * noise_field(rng, size, 200 / mm, rng.uniform(4, 40) / mm)
    latewood = (phase - np.floor(phase)) ** rng.uniform(1.5, 8)
    pale, dark = _colours(rng)
    mix = latewood * rng.uniform(0.05, 1.0)
    mix = mix + rng.uniform(0.02, 0.3) * noise_field(rng, size, rng.uniform(20, 150) / mm, rng.uniform(0.4, 2.0) / mm)
    mix = mix + rng.uniform(0.0, 0.3) * noise_field(rng, size, rng.uniform(200, 900) / mm, rng.uniform(3, 30) / mm)
    light = pale * (1 - mix[..., None]) + dark * mix[..., None]
    fibre = noise_field(rng, size, rng.uniform(5, 40) / mm, max(rng.uniform(0.15, 0.6) / mm, 0.7))
    light = light * (1 + rng.uniform(0.01, 0.12) * fibre)[..., None]
    return np.maximum(light, 0.004).astype(np.float32), across.astype(np.float32)


def _part_grain(rng: Rng, across: FloatImage, x: FloatImage, y: FloatImage, extent: float) -> None:
    cx, cy = rng.uniform(0, extent, 2)
    radius = rng.uniform(5, 25)
    d = np.exp(-((x - cx) ** 2) / (2 * (3 * radius) ** 2) - ((y - cy) ** 2) / (2 * (1.5 * radius) ** 2))
    across -= (np.tanh((y - cy) / radius) * d * radius * 0.6).astype(np.float32)


def _colours(rng: Rng) -> tuple[FloatImage, FloatImage]:
    """Linear light of early- and latewood, from near white to near black woods, yellow to red to grey."""
    level = np.exp(rng.uniform(np.log(0.04), np.log(0.75)))
    red_green = np.exp(-rng.uniform(0.08, 0.75))
    green_blue = np.exp(-rng.uniform(0.05, 1.0))
    pale = level * np.array([1.0, red_green, red_green * green_blue])
    dark = pale * np.array([1.0, rng.uniform(0.8, 1.0), rng.uniform(0.6, 1.0)]) * rng.uniform(0.25, 0.9)
    return pale.astype(np.float32), dark.astype(np.float32)
