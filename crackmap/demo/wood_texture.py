"""Colour of sawn wood from a log in three dimensions.

The annual rings are distorted cylinders round a wandering pith; the show face
is a plane cut through them, which gives cathedrals where the cut runs along the
rings and straight grain where it crosses them. Knots push the grain aside like
posts in a stream (potential flow round an ellipse).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.demo.edges import inside_distance
from crackmap.demo.looks import WoodLook, linear
from crackmap.demo.noise import Float32, dashes, fibre, fractal, look_up, sample, smoothstep
from crackmap.demo.patch_grid import Grid
from crackmap.demo.scene import SlabScene

_RING_PITCH = 0.1  # of the ring table [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Log:
    """The tree behind the slab, made once a scene."""

    look: WoodLook
    rings: Float32  # (N, 3) by radius: lateness 0..1, porosity 0..1, tone
    pith: Float32  # (N, 4) by x: y and height of the pith, edge deviation top and bottom [mm]
    x0: float
    pitch: float
    offsets: NDArray[np.float32]  # (32, 2) where in each noise tile this slab lies [texels]
    pores: Float32


def _ring_table(look: WoodLook, rng: np.random.Generator, footprint: float) -> Float32:
    """Profile along the radius: each ring with its own width, tone and share of late wood."""
    reach = 1200.0
    count = int(reach / look.ring_mm * 1.6) + 20
    drift = np.convolve(rng.standard_normal(count + 40), np.hanning(21) / 3.3, "same")[:count]
    widths = np.maximum(look.ring_mm * np.exp(0.35 * drift + 0.22 * rng.standard_normal(count)), 0.5)
    borders = np.cumsum(widths)
    radius = np.arange(0, reach, _RING_PITCH)
    ring = np.searchsorted(borders, radius)
    phase = 1 - (borders[ring] - radius) / widths[ring]
    share = np.clip(rng.normal(0.32, 0.08, count), 0.12, 0.6)[ring]
    if look.anatomy == "softwood":
        late = np.clip((phase - (1 - share * 1.7)) / (share * 1.6), 0, 1) ** 1.5
        pore = np.zeros_like(phase)
    elif look.anatomy == "ring_porous":
        late = np.clip(1 - phase / (share * 1.3), 0, 1) ** 0.7
        pore = np.clip(1.15 - phase / share, 0.06, 1)
    else:
        late = 0.35 * phase + np.exp(-(((1 - phase) / 0.09) ** 2))
        pore = np.full_like(phase, 0.5)
    strength = np.clip(rng.normal(1, 0.25, count), 0.3, 1.6)[ring]
    tone = (0.6 * drift + 0.4 * rng.standard_normal(count))[ring]
    table = np.c_[late * strength, pore, tone].astype(np.float32)
    sigma = max(0.6 * footprint, 0.15) / _RING_PITCH
    return _smooth(table, sigma)


def _smooth(table: NDArray[np.float32], sigma: float) -> Float32:
    reach = int(4 * sigma) + 1
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    kernel /= kernel.sum()
    columns = [np.convolve(np.pad(c, reach, "edge"), kernel, "valid") for c in table.T]
    return np.stack(columns, -1).astype(np.float32)


def _slow_walk(
    rng: np.random.Generator, x: NDArray[np.float64], period: float, size: float
) -> NDArray[np.float64]:
    """A smooth random curve: a few sines longer than `period`. [mm]"""
    total = np.zeros_like(x)
    for k in range(1, 5):
        total += (
            size / k * np.sin(x * (2 * np.pi * k / (period * rng.uniform(1.2, 2.4))) + rng.uniform(0, 6.28))
        )
    return total


@lru_cache(maxsize=4)
def grow_log(scene: SlabScene, footprint: float) -> Log:
    """Prepare the log of a scene for samples `footprint` mm apart."""
    look = scene.wood
    rng = np.random.default_rng([scene.seed, 11])
    rings = _ring_table(look, rng, footprint)
    e = scene.edges
    taper = rng.uniform(0.004, 0.014) * rng.choice([-1, 1])
    depth = scene.pith_depth + taper * e.x + _slow_walk(rng, e.x, 900, 4 * look.wander)
    lateral = scene.pith_y + _slow_walk(rng, e.x, 1400, 7 * look.wander)

    def deviation(side: NDArray[np.float64]) -> NDArray[np.float64]:
        window = np.hanning(81) / np.hanning(81).sum()
        smooth = np.convolve(np.pad(side, 40, "edge"), window, "valid")
        return np.asarray(smooth - smooth.mean(), float)

    flat = np.zeros_like(e.x)
    pith = np.c_[
        lateral,
        depth,
        deviation(e.top) if e.live_top else flat,
        deviation(e.bottom) if e.live_bottom else flat,
    ].astype(np.float32)
    pores = dashes(0)
    blur = 0.5 * footprint / 0.15
    if blur > 0.9:
        pores = cv2.GaussianBlur(pores, (0, 0), sigmaX=max(0.5 * footprint / 0.5, 0.1), sigmaY=blur)
    offsets = rng.uniform(0, 1000, (32, 2)).astype(np.float32)
    return Log(look, rings, pith, float(e.x[0]), float(e.x[1] - e.x[0]), offsets, pores)


def _noise(log: Log, which: int, tile: Float32, x: Float32, y: Float32, px: float, py: float) -> Float32:
    """One look-up of a tile whose texel is px by py mm, at this slab's own place in it."""
    ox, oy = log.offsets[which]
    return sample(tile, x * np.float32(1 / px) + ox, y * np.float32(1 / py) + oy)


def _flow_round_knots(scene: SlabScene, grid: Grid, y: Float32) -> Float32:
    """Across-grain position of the undisturbed grain that passes through each sample. [mm]"""
    y = y.copy()
    for knot in (*scene.knots, *(v.as_knot for v in scene.voids if v.kind == "knot_hole")):
        reach = 6 * knot.radius * max(knot.stretch, 1.3)
        window = grid.window(knot.x, knot.y, reach)
        if window is None:
            continue
        near = grid.part(window)
        stretch = 1.25 * knot.stretch + 0.35
        dx = (near.x - np.float32(knot.x)) * np.float32(1 / stretch)
        dy = near.y - np.float32(knot.y)
        a2 = np.float32((1.05 * knot.radius) ** 2)
        share = a2 / np.maximum(dx * dx + dy * dy, a2)
        fade = np.clip(1.15 - np.hypot(dx * stretch, dy) / np.float32(reach), 0, 1)
        y[window] -= dy * share * fade * np.float32(0.93)
    return y


def _grain_position(scene: SlabScene, log: Log, grid: Grid, pith: Float32, inside: Float32) -> Float32:
    """y before wind, knots and the live edges bent the grain. [mm]"""
    y = _flow_round_knots(scene, grid, grid.y)
    half = np.float32(scene.width / 2)
    pull_top = np.clip(1 - (grid.y + half) / 170, 0, 1.2)
    pull_bottom = np.clip(1 - (half - grid.y) / 170, 0, 1.2)
    y -= pith[..., 2] * pull_top**1.5 + pith[..., 3] * pull_bottom**1.5
    wander = np.float32(log.look.wander)
    y += wander * np.float32(2.6) * _noise(log, 0, fractal(0), grid.x, grid.y, 15.0, 1.8)
    y += wander * np.float32(0.12) * _noise(log, 1, fractal(1), grid.x, grid.y, 5.0, 0.4)
    return y


def _mix(colour: Float32, other: NDArray[np.float32], share: Float32) -> Float32:
    """`colour` moved towards `other` by `share`, in place."""
    colour += (other - colour) * share[..., None]
    return colour


def albedo(scene: SlabScene, log: Log, grid: Grid, inside: Float32) -> Float32:
    """Linear RGB reflectance of the show face, without openings or marks.

    `inside` has shape (H, W).

    Parameters
    ----------
    inside : ndarray of float32
        `inside_distance` at the samples. [mm]
    """
    look = log.look
    pith = look_up(log.pith, log.x0, log.pitch, grid.x)
    y = _grain_position(scene, log, grid, pith, inside)
    across, down = y - pith[..., 0], pith[..., 1]
    radius = np.sqrt(across * across + down * down)
    ring = look_up(log.rings, 0.0, _RING_PITCH, radius)
    flat_sawn = np.clip(np.abs(down) / np.maximum(radius, 1), 0, 1)  # 1: the cut runs along the rings
    streaks = _noise(log, 2, fibre(0), grid.x, y, 1.2, max(0.3, 0.8 * grid.footprint))
    late = np.clip(ring[..., 0] * np.float32(look.contrast) * (1 + 0.25 * streaks), 0, 1.2)
    colour = linear(look.early) * np.ones((*late.shape, 1), np.float32)
    late_wood = linear(look.late)
    sap_share = _sap_share(scene, log, grid, y, inside)
    _mix(colour, linear(look.sap), sap_share)
    _mix(colour, late_wood, late * (1 - 0.55 * sap_share))
    cloud = _noise(log, 3, fractal(2), grid.x, y, 4.0, 1.6)
    drift = np.float32(look.drift)
    shade = 0.075 * streaks + 0.07 * drift * cloud + 0.05 * drift * ring[..., 2]
    colour *= np.exp(shade)[..., None]
    colour[..., 2] *= np.exp(-0.05 * drift * cloud - 0.03 * ring[..., 2])
    _add_pores(colour, log, grid, y, ring[..., 1])
    _add_rays(colour, log, grid, y, flat_sawn)
    _add_figure(colour, log, grid, y)
    _add_mineral(colour, scene, log, grid, y)
    _add_knots(colour, scene, log, grid)
    return colour


def _sap_share(scene: SlabScene, log: Log, grid: Grid, y: Float32, inside: Float32) -> Float32:
    """1 in the pale sapwood beside the live edges, 0 in the heartwood."""
    e = scene.edges
    band = np.float32(1e3) * np.ones_like(y)
    pitch = float(e.x[1] - e.x[0])
    sides = look_up(np.c_[e.top, e.bottom], e.x[0], pitch, grid.x)
    if e.live_top:
        band = np.minimum(band, grid.y - sides[..., 0])
    if e.live_bottom:
        band = np.minimum(band, sides[..., 1] - grid.y)
    ragged = _noise(log, 4, fractal(3), grid.x, y, 5.0, 1.2)
    fine = _noise(log, 5, fibre(0), grid.x, y, 1.0, 0.35)
    edge = band - scene.sapwood * (1 + 0.16 * ragged) - 0.5 * fine
    return 1 - smoothstep(-1.2, 2.4, edge)


def _add_pores(colour: Float32, log: Log, grid: Grid, y: Float32, porosity: Float32) -> None:
    if log.look.pores <= 0:
        return
    stroke = _noise(log, 6, log.pores, grid.x, y, 0.5, 0.15)
    if log.look.anatomy == "ring_porous":  # the band of wide pores reads as a dark broken line
        stroke = np.maximum(stroke, _noise(log, 7, log.pores, grid.x, y, 0.55, 0.17))
    dark = np.clip(stroke * porosity * np.float32(2.2 * log.look.pores), 0, 0.85)
    colour *= (1 - 0.72 * dark)[..., None]


def _add_rays(colour: Float32, log: Log, grid: Grid, y: Float32, flat_sawn: Float32) -> None:
    """Pale flakes where the cut runs along the rays (quarter-sawn); small dark dashes elsewhere."""
    if log.look.rays <= 0:
        return
    flake = _noise(log, 8, fractal(1), grid.x, grid.y, 0.9, 1.7) + 0.5 * _noise(
        log, 9, fibre(0), grid.x, y, 0.4, 0.5
    )
    quarter = np.clip(1 - 2.2 * flat_sawn, 0, 1)
    pale = smoothstep(1.0, 1.7, flake) * quarter
    colour *= (1 + np.float32(0.22 * log.look.rays) * pale)[..., None]
    dash = _noise(log, 10, log.pores, grid.x, y, 0.32, 0.2)
    colour *= (1 - np.float32(0.3 * log.look.rays) * dash * (1 - quarter))[..., None]


def _add_figure(colour: Float32, log: Log, grid: Grid, y: Float32) -> None:
    """Curl: bands of sheen across the grain."""
    curl = _noise(log, 11, fractal(3), grid.x, y, 1.4, 7.0)
    patch = _noise(log, 12, fractal(0), grid.x, y, 3.0, 2.0)
    colour *= np.exp(np.float32(0.11 * log.look.figure) * curl * np.clip(0.6 + patch, 0, 2))[..., None]


def _add_mineral(colour: Float32, scene: SlabScene, log: Log, grid: Grid, y: Float32) -> None:
    """Dark streaks along the grain."""
    if scene.finish.mineral > 0:
        streak = _noise(log, 13, fractal(2), grid.x, y, 9.0, 0.8)
        dark = smoothstep(1.3, 2.4, streak) * np.float32(0.55 * scene.finish.mineral)
        colour *= 1 - dark[..., None] * np.array([0.75, 0.85, 0.95], np.float32)


def _add_knots(colour: Float32, scene: SlabScene, log: Log, grid: Grid) -> None:
    for number, knot in enumerate(scene.knots):
        window = grid.window(knot.x, knot.y, 2.2 * knot.radius * knot.stretch)
        if window is None:
            continue
        near = grid.part(window)
        dx = (near.x - np.float32(knot.x)) / np.float32(knot.stretch)
        dy = near.y - np.float32(knot.y)
        angle_noise = _noise(log, 16 + number % 8, fractal(number % 4), near.x, near.y, 0.35, 0.35)
        rho = np.hypot(dx, dy) * (1 + 0.05 * angle_noise)
        body = 1 - smoothstep(0.94 * knot.radius - 0.3, 1.04 * knot.radius + 0.3, rho)
        rings = 0.5 + 0.5 * np.sin(rho * np.float32(6.28 / max(1.3, 0.11 * knot.radius)) + angle_noise)
        dark = np.float32(1 - 0.55 * knot.darkness)
        base = linear(log.look.knot) * dark
        inner = base * (0.8 + 0.5 * rings * np.clip(rho / knot.radius, 0.3, 1) + 0.1 * angle_noise)[..., None]
        part = colour[window]
        collar = np.exp(-(((rho - knot.radius) / (0.12 * knot.radius + 0.5)) ** 2))
        glow = np.exp(-np.clip(rho / knot.radius - 1, 0, 9) / 0.6)
        part *= (1 - 0.16 * glow)[..., None]
        part += (inner - part) * body[..., None]
        part *= (1 - (0.3 + 0.35 * knot.darkness) * collar)[..., None]
        colour[window] = part


__all__ = ["Log", "albedo", "grow_log", "inside_distance"]
