"""What is mistaken for a crack, drawn on made-up wood: the judge learns to refuse it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.judge_scene_cracks import stroke
from crackmap.survey.judge_scene_wood import noise_field

FloatImage = NDArray[np.float32]
Rng = np.random.Generator


def draw_mistakables(rng: Rng, light: FloatImage, grain: FloatImage, mm: float) -> None:
    """Pores, streaks, knots, zone lines, drawn lines, stains, saw marks and specks, in place.

    Pictures have shape (H, W); `mm` is that of a pixel.
    """
    size = light.shape[0]
    if rng.random() < 0.5:
        _pores(rng, light, mm)
    for _ in range(rng.poisson(1.2)):
        _streak(rng, light, grain, mm)
    for _ in range(rng.poisson(0.7)):
        _knot(rng, light, mm)
    if rng.random() < 0.4:
        _zone_lines(rng, light, mm)
    for _ in range(rng.poisson(1.4)):
        _drawn_line(rng, light, mm)
    for _ in range(rng.poisson(0.6)):
        _stain(rng, light, mm)
    if rng.random() < 0.35:
        _saw_marks(rng, light, mm)
    if rng.random() < 0.3:
        _specks(rng, light, mm)
    if rng.random() < 0.1:  # two camera pictures joined, or a planed step
        column = int(rng.integers(50, size - 50))
        light[:, column:] *= rng.uniform(0.85, 1.15)
    if rng.random() < 0.25:  # sapwood
        edge = np.quantile(grain, rng.uniform(0.1, 0.9)) + rng.uniform(1, 10) * noise_field(
            rng, size, 100 / mm, 60 / mm
        )
        share = 1 / (1 + np.exp(-np.clip((grain - edge) / rng.uniform(0.3, 3), -30, 30)))
        light *= (1 + (rng.uniform(1.1, 3.0) - 1) * share)[..., None]
        np.minimum(light, 0.95, out=light)


def draw_marks(rng: Rng, light: FloatImage, mm: float) -> None:
    """Zone lines, drawn lines, stains and saw marks on a finished picture, as soft as its lens, in place.

    `light` has shape (H, W); `mm` is that of a pixel.
    """
    marks = np.ones_like(light)
    if rng.random() < 0.5:
        _zone_lines(rng, marks, mm)
    for _ in range(rng.poisson(1.2)):
        _drawn_line(rng, marks, mm)
    for _ in range(rng.poisson(0.5)):
        _stain(rng, marks, mm)
    if rng.random() < 0.15:
        _saw_marks(rng, marks, mm)
    light *= cv2.GaussianBlur(marks, (0, 0), rng.uniform(0.5, 1.2))


def _pores(rng: Rng, light: FloatImage, mm: float) -> None:
    size = light.shape[0]
    seeds = (rng.random((size, size)) < rng.uniform(0.0005, 0.01)).astype(np.float32)
    length = max(int(rng.uniform(1, 8) / mm), 1) | 1
    dashes = cv2.blur(seeds, (length, 1)) * length
    dashes = cv2.GaussianBlur(np.minimum(dashes, 1), (0, 0), sigmaX=1, sigmaY=max(rng.uniform(0.1, 0.3) / mm, 0.4))
    dashes /= max(float(dashes.max()), 1e-3)
    light *= (1 - rng.uniform(0.1, 0.75) * dashes)[..., None]


def _streak(rng: Rng, light: FloatImage, grain: FloatImage, mm: float) -> None:
    """A mineral streak or a dark grain line: long, soft, tapering, along the grain."""
    size = light.shape[0]
    level = grain[rng.integers(size), rng.integers(size)]
    half = np.exp(rng.uniform(np.log(0.25), np.log(5))) / 2
    centre, reach = rng.uniform(0, size), rng.uniform(15, 150) / mm
    taper = np.exp(-(((np.arange(size) - centre) / reach) ** 4)).astype(np.float32)
    shape = rng.choice([2.0, 4.0])
    strength = np.exp(-(np.abs((grain - level) / (half * (0.3 + 0.7 * taper[None, :]))) ** shape)) * taper[None, :]
    strength *= 1 + 0.2 * noise_field(rng, size, 20 / mm, 1.0 / mm)
    tint = np.array([1.0, rng.uniform(0.85, 1.05), rng.uniform(0.7, 1.2)])
    light *= (1 - np.clip(strength * (0.1 + 0.6 * rng.random() ** 1.5), 0, 0.9)[..., None] * tint).clip(0.05, 1)


def _knot(rng: Rng, light: FloatImage, mm: float) -> None:
    """A sound knot: dark, ringed, with a darker rim and sometimes checks that stay inside it."""
    size = light.shape[0]
    cx, cy = rng.uniform(0, size, 2)
    a, b = np.exp(rng.uniform(np.log(3), np.log(22), 2)) / mm
    x, y = np.meshgrid(np.arange(size) - cx, np.arange(size) - cy)
    d = np.sqrt((x / a) ** 2 + (y / b) ** 2) + 0.08 * noise_field(rng, size, 6 / mm, 6 / mm)
    core = 1 / (1 + np.exp(np.clip((d - 1) / 0.05, -30, 30)))
    rim = np.exp(-(((d - 1) / rng.uniform(0.04, 0.2)) ** 2))
    rings = 0.5 + 0.5 * np.sin(d * rng.uniform(10, 40))
    colour = np.array([1.0, rng.uniform(0.6, 0.95), rng.uniform(0.4, 0.9)]) * rng.uniform(0.2, 0.9)
    light *= 1 - core[..., None] * (1 - colour) * (1 - 0.3 * rings[..., None])
    light *= (1 - rng.uniform(0.0, 0.85) * rim)[..., None]


def _zone_lines(rng: Rng, light: FloatImage, mm: float) -> None:
    """Black lines of fungal rot: level lines of a wandering field, thin, sharp, closed or fading."""
    size = light.shape[0]
    field = noise_field(rng, size, rng.uniform(30, 150) / mm, rng.uniform(15, 70) / mm)
    slope = np.hypot(cv2.Sobel(field, cv2.CV_32F, 1, 0, scale=1 / 8), cv2.Sobel(field, cv2.CV_32F, 0, 1, scale=1 / 8))
    fade = np.clip(rng.uniform(0.3, 1.2) + noise_field(rng, size, 60 / mm, 60 / mm), 0, 1)
    for level in rng.uniform(-1, 1, rng.integers(1, 4)):
        distance = np.abs(field - level) / np.maximum(slope, 1e-4) * mm
        line = np.exp(-((distance / (np.exp(rng.uniform(np.log(0.15), np.log(1.1))) * (0.5 + 0.5 * fade))) ** 2)) * fade
        light *= (1 - rng.uniform(0.4, 0.97) * line)[..., None]
        inside = 1 / (1 + np.exp(-(field - level) / 0.03))
        light *= 1 - inside[..., None] * rng.uniform(-0.1, 0.35) * rng.uniform(0.7, 1.3, 3)


def _drawn_line(rng: Rng, light: FloatImage, mm: float) -> None:
    """Pencil, ink, a scratch, a glass ring, a hair: even width, its own way."""
    size = light.shape[0]
    kind = rng.integers(5)
    t = np.linspace(0, 1, 400)
    x0, y0 = rng.uniform(0, size, 2)
    if kind == 0:  # ring or arc
        r = rng.uniform(6, 60) / mm
        sweep = rng.uniform(0.3, 1) * 2 * np.pi
        x, y = x0 + r * np.cos(t * sweep), y0 + r * np.sin(t * sweep) * rng.uniform(0.7, 1)
    elif kind == 1:  # zigzag or scribble
        length, swing = rng.uniform(30, 120) / mm, rng.uniform(2, 10) / mm
        x, y = x0 + t * length, y0 + swing * np.sin(t * rng.uniform(10, 60)) + t * rng.uniform(-20, 20) / mm
    else:  # straight, or a slow bend
        angle = rng.uniform(0, np.pi) if rng.random() < 0.7 else rng.normal(0, 0.05)
        length, bend = rng.uniform(15, 250) / mm, rng.normal(0, 0.03) if kind == 3 else 0.0
        x = x0 + (t - 0.5) * length * np.cos(angle) - bend * length * (t - 0.5) ** 2 * np.sin(angle)
        y = y0 + (t - 0.5) * length * np.sin(angle) + bend * length * (t - 0.5) ** 2 * np.cos(angle)
    width = rng.uniform(0.3, 1.6) / mm * (4 if kind == 0 and rng.random() < 0.5 else 1)
    cover = stroke(size, np.stack([x, y], 1), np.full(400, width))
    cover *= np.clip(1 + rng.uniform(0, 0.6) * noise_field(rng, size, 2, 2), 0, 1.2)
    tone = np.array([0.05, 0.05, 0.055]) if rng.random() < 0.6 else rng.uniform(0.0, 0.4, 3)
    amount = np.clip(cover * rng.uniform(0.15, 1.0), 0, 1)[..., None]
    light *= 1 - amount * (1 - tone)


def _stain(rng: Rng, light: FloatImage, mm: float) -> None:
    size = light.shape[0]
    field = noise_field(rng, size, rng.uniform(15, 60) / mm, rng.uniform(15, 60) / mm)
    level = rng.uniform(0.8, 2.0)
    sharp = rng.uniform(0.02, 0.3)
    inside = 1 / (1 + np.exp(-np.clip((field - level) / sharp, -30, 30)))
    rim = np.exp(-(((field - level) / (2 * sharp)) ** 2))
    light *= 1 - inside[..., None] * rng.uniform(0.0, 0.5, 3) - rim[..., None] * rng.uniform(0, 0.15)
    np.maximum(light, 0.002, out=light)


def _saw_marks(rng: Rng, light: FloatImage, mm: float) -> None:
    """Marks across the grain, straight or arched, dark or bright, in patches."""
    size = light.shape[0]
    x, y = np.meshgrid(np.arange(size) * mm, np.arange(size) * mm)
    lean, arch = rng.normal(0, 0.2), rng.normal(0, 1 / 800)
    u = x + lean * y + arch * y**2
    if rng.random() < 0.3:
        u = y + lean * x
    pitch = rng.uniform(2, 20)
    phase = (u / pitch) % 1.0
    line = np.exp(-(((phase - 0.5) * pitch / rng.uniform(0.2, 1.0)) ** 2))
    patch = np.clip(noise_field(rng, size, 50 / mm, 50 / mm) + rng.uniform(-0.5, 1.0), 0, 1.5)
    light *= (1 - rng.uniform(-0.35, 0.35) * line * patch).clip(0.05, 3)[..., None]


def _specks(rng: Rng, light: FloatImage, mm: float) -> None:
    """Saw dust and torn fibre: small, bright or dark."""
    size = light.shape[0]
    seeds = (rng.random((size, size)) < rng.uniform(0.0005, 0.004)).astype(np.float32)
    sigma = max(rng.uniform(0.1, 0.5) / mm, 0.5)
    specks = np.minimum(
        cv2.GaussianBlur(seeds, (0, 0), sigmaX=sigma * rng.uniform(1, 2), sigmaY=sigma) * 6 * sigma**2, 1
    )
    target = np.array([0.5, 0.4, 0.25]) * rng.uniform(0.4, 1.4) if rng.random() < 0.7 else np.array([0.03, 0.02, 0.02])
    light += (target - light) * (specks * rng.uniform(0.3, 0.9))[..., None]


def draw_border(rng: Rng, light: FloatImage, wood: NDArray[np.bool_], mm: float) -> None:
    """An end or an edge of the slab in view: dark line, paint, bench beyond; a mask a pixel or two off.

    Pictures have shape (H, W); `mm` is that of a pixel.
    """
    size = light.shape[0]
    for side in range(4):
        if rng.random() < 0.6:
            continue
        inset = rng.uniform(5, 60)
        rough = noise_field(rng, size, 30 / mm, 30 / mm)[0] * rng.uniform(0.1, 4) / mm * (side % 2)
        edge = inset + rough
        depth = np.arange(size)[:, None] - edge[None, :]
        off = depth - rng.normal(0, 1.3)
        bench = np.clip(rng.uniform(0.005, 0.6) * np.array([1, rng.uniform(0.6, 1.1), rng.uniform(0.4, 1.2)]), 0, 1)
        outside = 1 / (1 + np.exp(np.clip(depth / 0.5, -30, 30)))
        rim = np.exp(-(np.clip((depth + 1) / rng.uniform(0.5, 3), -1, 50) ** 2)) * rng.uniform(0, 0.9)
        paint = (depth < rng.uniform(3, 20) / mm) if rng.random() < 0.2 else np.zeros_like(depth, bool)
        turned = np.rot90(light, side)
        turned[paint] = turned[paint] * 0.3 + np.array([0.08, 0.14, 0.25]) * rng.uniform(0.4, 1.6) * 0.7
        turned *= (1 - rim)[..., None]
        if side % 2 and rng.random() < 0.7:
            _bark_lines(rng, turned, depth, mm)
        turned += (bench - turned) * outside[..., None]
        np.rot90(wood, side)[off < 0] = False


def _bark_lines(rng: Rng, light: FloatImage, depth: NDArray[np.float64], mm: float) -> None:
    """Dark lines that keep beside a live edge: inner bark, a loose cambium, a step of wane."""
    size = light.shape[1]
    for _ in range(rng.integers(1, 4)):
        inside = np.exp(rng.uniform(np.log(0.5), np.log(12))) / mm
        wander = rng.uniform(0.1, 1.2) / mm * noise_field(rng, size, 15 / mm, 15 / mm)[0]
        half = np.exp(rng.uniform(np.log(0.15), np.log(1.5))) / mm
        fade = np.clip(0.6 + noise_field(rng, size, 40 / mm, 40 / mm)[1], 0, 1)
        line = np.exp(-(((depth - inside - wander) / half) ** 2)) * fade
        light *= (1 - rng.uniform(0.3, 0.95) * line)[..., None]
        beyond = 1 / (1 + np.exp(np.clip((depth - inside - wander) / 0.6, -30, 30)))
        light *= 1 - rng.uniform(0, 0.5) * beyond[..., None] * rng.uniform(0.6, 1.0, 3)
