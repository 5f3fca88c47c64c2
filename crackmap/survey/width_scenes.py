"""Made-up brightness profiles across cracks, to fit the width measure on.

One dimension is enough: sound wood with its grain on both sides, perhaps a
stained margin, and between the lips the light that comes out of a slit. How
bright a wall is at a depth follows the share of the sky seen from there (the
view factor of a slit), so that lips shade off softly in a shallow or tapering
crack and fall off sharply in a deep one. Then the lens's blur, in light, and
the camera's coding.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.width_model import window_of

FloatArray = NDArray[np.float64]
Rng = np.random.Generator
FINE_PX = 0.1  # spacing that profiles are made at


def make_profile(rng: Rng, relative: FloatArray) -> tuple[FloatArray, float, float, float]:
    """One profile at offsets `relative` times the window: (light, rough width, width, shift).

    `relative` has shape (S,).
    """
    width = float(np.exp(rng.uniform(np.log(0.3), np.log(40))))
    rough = max(width * np.exp(rng.uniform(-0.8, 1.0)), 2.0) if rng.random() < 0.8 else max(width * 1.2, 2.0)
    shift = float(rng.normal(0, 0.12 * rough + 0.2))
    window = window_of(np.array([rough]))[0]
    count = int(2 * (window + 6) / FINE_PX) + 1
    x = np.asarray((np.arange(count) - count // 2) * FINE_PX, np.float64)
    light = _wood(rng, x)
    inside = (x - shift) / (width / 2)  # -1 and 1 at the lips
    gap = np.abs(inside) < 1
    if gap.any():
        light[gap] *= _slit(rng, inside[gap], width)
    light *= _margin(rng, x - shift, width)
    if rng.random() < 0.25 and gap.any():
        _dust(rng, light, inside, gap)
    light = _camera(rng, light, width)
    at = relative * window
    return np.interp(at, x, light), rough, width, shift


def _wood(rng: Rng, x: FloatArray) -> FloatArray:
    """Sound wood: a slope, a step between two growth zones, grain lines, noise."""
    light = 1 + rng.normal(0, 0.004) * x + rng.normal(0, 0.06) * np.tanh((x - rng.normal(0, 5)) / 2)
    for _ in range(rng.poisson(2)):
        spread = np.exp(rng.uniform(np.log(0.5), np.log(6)))
        light -= rng.normal(0.02, 0.07) * np.exp(-(((x - rng.uniform(x[0], x[-1])) / spread) ** 2))
    return np.maximum(light, 0.3)


def _slit(rng: Rng, inside: FloatArray, width: float) -> FloatArray:
    """Light out of the gap as a share of sound wood's, at positions -1 to 1 between the lips."""
    # Depth has little to do with the width: hairlines are deep for their width, wide ones need not be.
    steep = np.exp(rng.uniform(np.log(3), np.log(120))) / (width / 2)
    taper = np.exp(rng.uniform(np.log(0.005), np.log(0.7), 2))  # share of the half-width that each wall leans over
    colour = rng.uniform(0.6, 1.05)
    deepest = np.full_like(inside, steep)
    for side, lean in zip((-1.0, 1.0), taper, strict=True):
        from_lip = 1 + side * inside  # 0 at this lip, 2 at the other
        wall = from_lip / lean * steep
        deepest = np.minimum(deepest, wall)
    # Share of the sky seen from the middle of a slit of half-width 1 at that depth
    sky = 1 / np.sqrt(1 + deepest**2)
    floor = np.exp(rng.uniform(np.log(0.002), np.log(0.08)))
    light = floor + (colour - floor) * sky ** rng.uniform(1.0, 2.0)
    if rng.random() < 0.3:  # the sun or a lamp reaches one wall
        reach = rng.uniform(0.05, 0.6) * 2
        lit = (1 + rng.choice([-1.0, 1.0]) * inside) < reach
        light = np.where(lit, np.maximum(light, rng.uniform(0.1, 0.9)), light)
    return np.asarray(np.clip(light, 0.001, 1.1))


def _margin(rng: Rng, x: FloatArray, width: float) -> FloatArray:
    """A stained, worn or pale margin beside the gap."""
    if rng.random() < 0.35:
        return np.ones_like(x)
    beside = np.maximum(np.abs(x) - width / 2, 0)
    reaches = np.exp(rng.uniform(np.log(1.5), np.log(9), 2))
    reach = np.where(x < 0, reaches[0], reaches[1])
    darkness = rng.uniform(-0.08, 0.5)
    shares = rng.uniform(0.4, 1.0, 2)
    depth = darkness * np.where(x < 0, shares[0], shares[1])
    return np.asarray(1 - depth * np.exp(-((beside / reach) ** rng.uniform(1, 2.5))))


def _dust(rng: Rng, light: FloatArray, inside: FloatArray, gap: NDArray[np.bool_]) -> None:
    low = rng.uniform(-1, 0.8)
    filled = gap & (inside > low) & (inside < low + rng.uniform(0.2, 2))
    light[filled] = rng.uniform(0.2, 1.2) * (1 + 0.1 * rng.standard_normal(int(filled.sum())))


def _camera(rng: Rng, light: FloatArray, width: float) -> FloatArray:
    """Lens blur, some unevenness of the lips along the stretch averaged, noise, coding errors."""
    blur = np.hypot(np.exp(rng.uniform(np.log(0.45), np.log(1.5))), rng.uniform(0, 0.03) * width)
    radius = int(3 * blur / FINE_PX)
    t = np.arange(-radius, radius + 1) * FINE_PX
    kernel = np.exp(-(t**2) / (2 * blur**2))
    seen = np.convolve(np.pad(light, radius, mode="edge"), kernel / kernel.sum(), mode="valid")
    if rng.random() < 0.4:  # sharpened
        wide = np.exp(-(t**2) / (2 * (1.3 * blur) ** 2))
        soft = np.convolve(np.pad(seen, radius, mode="edge"), wide / wide.sum(), mode="valid")
        seen = seen + rng.uniform(0, 0.6) * (seen - soft)
    if rng.random() < 0.5:  # a tone curve that the standard decoding does not undo
        seen = np.maximum(seen, 0) ** rng.uniform(0.85, 1.25)
    seen = seen + rng.uniform(0, 0.02)
    coarse = rng.standard_normal(len(seen) // 8 + 2) * rng.uniform(0.002, 0.03)
    return np.asarray(np.maximum(seen + np.interp(np.arange(len(seen)) / 8, np.arange(len(coarse)), coarse), 0.0))
