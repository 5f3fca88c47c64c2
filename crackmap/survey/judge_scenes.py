"""Made-up pictures of wood with known cracks, to fit the judge on.

Not photographs and not a renderer: flat textures of every kind of wood, light
and camera that could be thought of, with what is mistaken for a crack (rings,
streaks, zone lines of rot, pencil, saw marks, stains, knots) drawn in plenty,
and cracks with dark, lit, dusty and open floors. Every choice is drawn from a
wide range, since the judge must serve woods and cameras that nobody here has seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.judge_scene_cracks import draw_crack, grain_direction
from crackmap.survey.judge_scene_marks import draw_border, draw_mistakables
from crackmap.survey.judge_scene_wood import made_wood, noise_field

FloatImage = NDArray[np.float32]
Rng = np.random.Generator


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A made picture with its truth.

    `lines` holds (points (N, 2) [px], widths (N,) [px]) for each crack.
    """

    image: NDArray[np.uint8]
    wood: NDArray[np.bool_]
    mm_per_px: float
    lines: list[tuple[NDArray[np.float64], NDArray[np.float64]]]


def make_scene(rng: Rng, size: int = 512, cracks: bool = True) -> Scene:
    """One picture, `size` pixels a side."""
    mm_per_px = float(np.exp(rng.uniform(np.log(0.2), np.log(0.95))))
    light, grain = made_wood(rng, size, mm_per_px)
    draw_mistakables(rng, light, grain, mm_per_px)
    wood = np.ones((size, size), bool)
    draw_border(rng, light, wood, mm_per_px)
    lines: list[tuple[NDArray[np.float64], NDArray[np.float64]]] = []
    if cracks:
        angle = grain_direction(grain)
        for _ in range(rng.integers(1, 7)):
            draw_crack(rng, light, wood, angle, mm_per_px, lines)
    light *= _illumination(rng, size)[..., None]
    if rng.random() < 0.2:
        light += _highlight(rng, size)[..., None]
    image = _camera(rng, light)
    turns = int(rng.integers(4))
    return _turned(Scene(image, wood, mm_per_px, lines), turns)


def _turned(scene: Scene, turns: int) -> Scene:
    size = scene.image.shape[0]
    lines = scene.lines
    for _ in range(turns):  # np.rot90: (x, y) -> (y, size - 1 - x)
        lines = [(np.stack([p[:, 1], size - 1 - p[:, 0]], 1), w) for p, w in lines]
    image = np.ascontiguousarray(np.rot90(scene.image, turns))
    return Scene(image, np.ascontiguousarray(np.rot90(scene.wood, turns)), scene.mm_per_px, lines)


def _illumination(rng: Rng, size: int) -> FloatImage:
    light = 1 + rng.uniform(0, 0.25) * noise_field(rng, size, size / 2, size / 2)
    light = np.clip(light, 0.3, 2)
    if rng.random() < 0.25:  # cast shadow
        band = np.zeros((size, size), np.float32)
        corners = rng.uniform(-0.3, 1.3, (4, 2)) * size
        cv2.fillConvexPoly(band, cv2.convexHull(corners.astype(np.int32)), 1.0)
        band = cv2.GaussianBlur(band, (0, 0), np.exp(rng.uniform(np.log(0.5), np.log(8))))
        light *= 1 - rng.uniform(0.3, 0.8) * band
    return np.asarray(light, np.float32)


def _highlight(rng: Rng, size: int) -> FloatImage:
    x, y = np.meshgrid(np.arange(size), np.arange(size))
    cx, cy = rng.uniform(0, size, 2)
    spot = np.exp(-(((x - cx) / rng.uniform(100, 400)) ** 2) - ((y - cy) / rng.uniform(100, 400)) ** 2)
    return np.asarray(rng.uniform(0.02, 0.5) * spot, np.float32)


def _camera(rng: Rng, light: FloatImage) -> NDArray[np.uint8]:
    """Lens, sensor, tone curve, sharpening and JPEG."""
    blur = np.exp(rng.uniform(np.log(0.4), np.log(1.3)))
    if rng.random() < 0.25:  # out of focus, or enlarged from fewer pixels
        blur = rng.uniform(1.3, 4.0)
    light = cv2.GaussianBlur(light, (0, 0), blur)
    gain = rng.uniform(0.55, 1.05) / max(float(np.quantile(light.max(2), 0.95)), 0.05)
    if rng.random() < 0.5:  # a dark wood on a pale bench is not always exposed for itself
        gain = min(gain, rng.uniform(0.8, 3.0))
    light = light * gain * np.exp(rng.normal(0, 0.08, 3))
    light = light + rng.uniform(0, 0.012)  # stray light in the lens
    grain = rng.standard_normal(light.shape).astype(np.float32) * np.sqrt(np.maximum(light, 0) * 1e-4 + 1e-6)
    light = np.clip(light + grain * rng.uniform(0, 4), 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055)
    if rng.random() < 0.5:
        contrast = rng.uniform(0, 0.35)
        coded = coded * (1 - contrast) + contrast * (3 * coded**2 - 2 * coded**3)
    if rng.random() < 0.5:
        soft = cv2.GaussianBlur(coded.astype(np.float32), (0, 0), rng.uniform(0.7, 1.8))
        coded = coded + rng.uniform(0.1, 0.9) * (coded - soft)
    image = (np.clip(coded, 0, 1) * 255 + 0.5).astype(np.uint8)
    quality = int(rng.integers(55, 98))
    _, packed = cv2.imencode(".jpg", image[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.ascontiguousarray(np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR))[:, :, ::-1])
