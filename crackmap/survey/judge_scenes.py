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
    light, grain = _wood(rng, size, mm_per_px)
    _mistakables(rng, light, grain, mm_per_px)
    wood = np.ones((size, size), bool)
    _border(rng, light, wood, mm_per_px)
    lines: list[tuple[NDArray[np.float64], NDArray[np.float64]]] = []
    if cracks:
        angle = _grain_angle(grain)
        for _ in range(rng.integers(1, 7)):
            _crack(rng, light, wood, angle, mm_per_px, lines)
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


# -- wood ----------------------------------------------------------------------


def noise_field(rng: Rng, size: int, along: float, across: float) -> FloatImage:
    """Smooth noise of unit spread, correlated over `along` (x) and `across` (y) pixels."""
    step_x, step_y = max(int(along / 3), 1), max(int(across / 3), 1)
    small = rng.standard_normal((size // step_y + 3, size // step_x + 3)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), sigmaX=along / step_x / 2 + 0.01, sigmaY=across / step_y / 2 + 0.01)
    wide = cv2.resize(small, None, fx=step_x, fy=step_y, interpolation=cv2.INTER_CUBIC)
    y, x = rng.integers(0, wide.shape[0] - size + 1), rng.integers(0, wide.shape[1] - size + 1)
    field = wide[y : y + size, x : x + size]
    return np.asarray((field - field.mean()) / (field.std() + 1e-6), np.float32)


def _wood(rng: Rng, size: int, mm: float) -> tuple[FloatImage, FloatImage]:
    """Linear light of the wood, and a field constant along the grain (its level lines are grain lines)."""
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


# -- what is mistaken for a crack ----------------------------------------------


def _mistakables(rng: Rng, light: FloatImage, grain: FloatImage, mm: float) -> None:
    size = light.shape[0]
    if rng.random() < 0.5:
        _pores(rng, light, mm)
    for _ in range(rng.poisson(1.5)):
        _streak(rng, light, grain, mm)
    for _ in range(rng.poisson(0.7)):
        _knot(rng, light, mm)
    if rng.random() < 0.3:
        _zone_lines(rng, light, mm)
    for _ in range(rng.poisson(0.8)):
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
        edge = np.quantile(grain, rng.uniform(0.1, 0.9)) + rng.uniform(1, 10) * noise_field(rng, size, 100 / mm, 60 / mm)
        share = 1 / (1 + np.exp(-np.clip((grain - edge) / rng.uniform(0.3, 3), -30, 30)))
        light *= (1 + (rng.uniform(1.1, 3.0) - 1) * share)[..., None]
        np.minimum(light, 0.95, out=light)


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
    strength = np.exp(-np.abs((grain - level) / (half * (0.3 + 0.7 * taper[None, :]))) ** shape) * taper[None, :]
    strength *= 1 + 0.2 * noise_field(rng, size, 20 / mm, 1.0 / mm)
    tint = np.array([1.0, rng.uniform(0.85, 1.05), rng.uniform(0.7, 1.2)])
    light *= (1 - np.clip(strength * rng.uniform(0.15, 0.8), 0, 0.9)[..., None] * tint).clip(0.05, 1)


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
    fade = np.clip(0.5 + noise_field(rng, size, 60 / mm, 60 / mm), 0, 1)
    for level in rng.uniform(-1, 1, rng.integers(1, 4)):
        distance = np.abs(field - level) / np.maximum(slope, 1e-4) * mm
        line = np.exp(-((distance / (rng.uniform(0.2, 1.1) * (0.4 + 0.6 * fade))) ** 2)) * fade
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
    cover = _stroke(size, np.stack([x, y], 1), np.full(400, width))
    cover *= np.clip(1 + rng.uniform(0, 0.6) * noise_field(rng, size, 2, 2), 0, 1.2)
    tone = np.array([0.05, 0.05, 0.055]) if rng.random() < 0.6 else rng.uniform(0.0, 0.4, 3)
    amount = np.clip(cover * rng.uniform(0.1, 0.9), 0, 1)[..., None]
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
    specks = np.minimum(cv2.GaussianBlur(seeds, (0, 0), sigmaX=sigma * rng.uniform(1, 2), sigmaY=sigma) * 6 * sigma**2, 1)
    target = np.array([0.5, 0.4, 0.25]) * rng.uniform(0.4, 1.4) if rng.random() < 0.7 else np.array([0.03, 0.02, 0.02])
    light += (target - light) * (specks * rng.uniform(0.3, 0.9))[..., None]


def _border(rng: Rng, light: FloatImage, wood: NDArray[np.bool_], mm: float) -> None:
    """An end or an edge of the slab in view: dark line, paint, bench beyond; a mask a pixel or two off."""
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
        rim = np.exp(-np.clip((depth + 1) / rng.uniform(0.5, 3), -1, 50) ** 2) * rng.uniform(0, 0.9)
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


# -- cracks --------------------------------------------------------------------


def _stroke(size: int, points: NDArray[np.float64], widths: NDArray[np.float64]) -> FloatImage:
    """Cover (0 to 1) of each pixel by a line of varying width, drawn four times as large."""
    low = np.maximum(np.floor(points.min(0) - widths.max() - 3).astype(int), 0)
    high = np.minimum(np.ceil(points.max(0) + widths.max() + 4).astype(int), size)
    cover = np.zeros((size, size), np.float32)
    if (high <= low).any():
        return cover
    times = 4
    w, h = (high - low) * times
    fine = np.zeros((h, w), np.uint8)
    tangent = np.gradient(points, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-6)[:, None]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], 1)
    left, right = points - normal * widths[:, None] / 2, points + normal * widths[:, None] / 2
    quads = np.stack([left[:-1], left[1:], right[1:], right[:-1]], 1)
    quads = ((quads - low + 0.5) * times - 0.5) * 16
    for quad in np.rint(quads).astype(np.int32):
        cv2.fillConvexPoly(fine, quad, 255, cv2.LINE_8, 4)
    small = cv2.resize(fine, None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA)
    cover[low[1] : high[1], low[0] : high[0]] = small / 255.0
    return cover


def _crack(
    rng: Rng,
    light: FloatImage,
    wood: NDArray[np.bool_],
    angle: FloatImage,
    mm: float,
    lines: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
) -> None:
    """One crack, sometimes with a branch, drawn into `light` and added to `lines`."""
    size = light.shape[0]
    start = rng.uniform(0.05, 0.95, 2) * size
    heading = 0.0 if rng.random() < 0.5 else np.pi
    if rng.random() < 0.4:  # an end check
        start[0] = -5.0 if heading == 0.0 else size + 4.0
        outside = ~wood[int(np.clip(start[1], 0, size - 1))]
        if outside.any() and heading == 0.0:
            start[0] = np.argmax(~outside) - 3.0
    points = _crack_path(rng, angle, start, heading, rng.uniform(15, 260) / mm, mm)
    widest = np.exp(rng.uniform(np.log(0.5), np.log(min(30, 14 / mm))))
    if rng.random() < 0.35:
        widest = rng.uniform(0.5, 2.5)
    widths = _crack_widths(rng, len(points), widest, taper_start=bool(rng.random() < 0.5))
    _draw_crack(rng, light, points, widths, mm)
    lines.append((points, widths))
    if rng.random() < 0.3 and len(points) > 60:
        root = int(rng.integers(10, len(points) - 30))
        twig = _crack_path(rng, angle, points[root], heading + rng.normal(0, 0.25), rng.uniform(10, 60) / mm, mm)
        narrow = _crack_widths(rng, len(twig), widths[root] * rng.uniform(0.3, 0.9), taper_start=False)
        _draw_crack(rng, light, twig, narrow, mm)
        lines.append((twig, narrow))


def _grain_angle(grain: FloatImage) -> FloatImage:
    """Direction along the grain at each pixel, from x towards y. [rad]"""
    gx = cv2.GaussianBlur(cv2.Sobel(grain, cv2.CV_32F, 1, 0), (0, 0), 6)
    gy = cv2.GaussianBlur(cv2.Sobel(grain, cv2.CV_32F, 0, 1), (0, 0), 6)
    return np.asarray(np.arctan2(-gx, gy), np.float32)


def _crack_path(
    rng: Rng, grain_angle: FloatImage, start: NDArray[np.float64], heading: float, length: float, mm: float
) -> NDArray[np.float64]:
    """Steps of a pixel along the grain, wandering and kinked, stopping at the picture's border."""
    size = grain_angle.shape[0]
    astray = rng.normal(0, 0.12) if rng.random() < 0.9 else rng.uniform(-1.2, 1.2)
    wander, kink = rng.uniform(0.0, 0.03), rng.uniform(0.0, 0.2)
    here, turn, points = start.astype(float), 0.0, []
    for _ in range(int(length)):
        column, row = np.clip(here.astype(int), 0, size - 1)
        along = float(grain_angle[row, column])
        if np.cos(along - heading) < 0:
            along += np.pi
        turn = 0.985 * turn + rng.normal(0, wander)
        if rng.random() < 0.04:
            turn += rng.normal(0, kink)
        angle = along + astray + turn
        here = here + [np.cos(angle), np.sin(angle)]
        if not (-6 < here[0] < size + 6 and -6 < here[1] < size + 6):
            break
        points.append(here)
    path = np.array(points) if len(points) > 8 else start + np.outer(np.arange(9), [np.cos(heading), np.sin(heading)])
    jag = cv2.GaussianBlur(rng.standard_normal((len(path), 1)), (1, 9), sigmaX=0.01, sigmaY=rng.uniform(0.8, 2)).ravel()
    path[:, 1] += jag * rng.uniform(0, 0.6) / max(mm, 0.3)
    return path


def _crack_widths(rng: Rng, count: int, widest: float, taper_start: bool) -> NDArray[np.float64]:
    t = np.linspace(0, 1, count)
    shape = (1 - t) ** rng.uniform(0.3, 1.2)
    if taper_start:
        shape = np.minimum(shape, t ** rng.uniform(0.3, 1.2)) * 1.5
    rough = rng.standard_normal((count, 1))
    rough = cv2.GaussianBlur(rough, (1, 61), sigmaX=0.01, sigmaY=rng.uniform(2, 10)).ravel()
    return np.maximum(widest * shape * np.exp(rng.uniform(0, 0.5) * rough / max(rough.std(), 1e-6)), 0.0)


def _draw_crack(
    rng: Rng, light: FloatImage, points: NDArray[np.float64], widths: NDArray[np.float64], mm: float
) -> None:
    """The gap with its floor, one wall perhaps lit, dust or filler in stretches, a stained margin."""
    size = light.shape[0]
    cover = _stroke(size, points, widths)
    around = cv2.GaussianBlur(cv2.resize(light, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), (0, 0), 2)
    around = cv2.resize(around, (size, size))
    _stain_margin(rng, light, points, widths, mm)
    floor = around * np.exp(rng.uniform(np.log(0.01), np.log(0.35)))
    if rng.random() < 0.15:  # shallow: the floor is nearly as bright as the wood
        floor = around * rng.uniform(0.3, 0.65)
    floor = _walls(rng, floor, around, points, widths)
    if rng.random() < 0.3:  # dust, filler or the bench seen through, in stretches
        where = cv2.GaussianBlur(rng.standard_normal((len(points), 1)), (1, 121), sigmaX=0.01, sigmaY=15).ravel()
        filled = widths * (where > np.quantile(where, rng.uniform(0.3, 0.95)))
        fill = _stroke(size, points, filled * rng.uniform(0.5, 1.0))
        speckle = 1 + 0.3 * noise_field(rng, size, 1.5, 1.5)
        wood_dust = rng.random() < 0.6
        dust = around * rng.uniform(0.3, 1.3) if wood_dust else rng.uniform(0.05, 0.5) * np.array([1, 0.85, 0.65])
        floor = floor + fill[..., None] * (dust * speckle[..., None] - floor)
    light += (np.maximum(floor, 0.0005) - light) * cover[..., None]


def _walls(
    rng: Rng, floor: FloatImage, around: FloatImage, points: NDArray[np.float64], widths: NDArray[np.float64]
) -> FloatImage:
    """Walls that lean: bright at the lips, darker inward, on both sides or more on one."""
    if rng.random() < 0.3:
        return floor
    size = floor.shape[0]
    steep, lean = np.exp(rng.uniform(np.log(1.5), np.log(20))), rng.uniform(-0.4, 0.4)
    tangent = np.gradient(points, axis=0)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], 1)
    lit = around * rng.uniform(0.5, 1.0)
    for depth in (0.12, 0.3, 0.5):  # from the lips inward, as a share of the half-width
        inner = _stroke(size, points + normal * (lean * depth * widths / 2)[:, None], widths * (1 - depth))
        deeper = around / np.sqrt(1 + (steep * depth) ** 2) if depth < 0.5 else floor
        lit = lit + inner[..., None] * (np.maximum(deeper, floor) - lit)
    return np.asarray(lit, np.float32)


def _stain_margin(
    rng: Rng, light: FloatImage, points: NDArray[np.float64], widths: NDArray[np.float64], mm: float
) -> None:
    """A dark or pale margin, in places: stain drawn in, a rounded or torn lip."""
    if rng.random() < 0.4:
        return
    where = cv2.GaussianBlur(rng.standard_normal((len(points), 1)), (1, 81), sigmaX=0.01, sigmaY=10).ravel()
    where = np.clip(0.5 + where / max(where.std(), 1e-6) * rng.uniform(0, 1), 0, 1)
    reach = rng.uniform(0.5, 4) / max(mm, 0.4)
    spread = cv2.GaussianBlur(_stroke(light.shape[0], points, np.maximum(widths, 1.0) * where + reach * where), (0, 0), reach)
    tint = np.array([1.0, rng.uniform(0.8, 1.1), rng.uniform(0.6, 1.1)])
    light *= 1 - rng.uniform(-0.15, 0.6) * np.minimum(spread, 1)[..., None] * tint


# -- light and camera -----------------------------------------------------------


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
    blur = np.exp(rng.uniform(np.log(0.45), np.log(1.8)))
    if rng.random() < 0.2:  # out of focus, or enlarged from fewer pixels
        blur = rng.uniform(1.8, 4.0)
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
    return np.asarray(cv2.imdecode(cv2.imencode(".jpg", image[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 1)[:, :, ::-1])
