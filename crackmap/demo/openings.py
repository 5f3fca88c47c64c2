"""Cracks and voids as real gaps: what the eye sees on looking into them.

Each sample's sight line is followed down into the gap until it meets a wall,
the floor, dust, or, where the gap goes through, the bench. How light that spot
is follows from how deep it lies, how wide the gap is and where the light stands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from crackmap.demo.bench_texture import LitBench
from crackmap.demo.lens import Rays
from crackmap.demo.lighting import drift_per_depth, main_light, pit_sky, shade, slot_sky
from crackmap.demo.looks import linear
from crackmap.demo.noise import Float32, fractal, sample, smoothstep
from crackmap.demo.patch_grid import Grid
from crackmap.demo.scene import CrackShape, SlabScene, VoidShape

_STEPS = 18
_DUST = (206, 182, 148)


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """Where samples lie along and across a crack."""

    across: NDArray[np.float64]  # signed distance to the centreline, positive on its left [mm]
    width: NDArray[np.float64]  # [mm]
    inner: NDArray[np.float64]  # width below the jagged lips: the same, smoothed along the crack [mm]
    depth: NDArray[np.float64]
    dusty: NDArray[np.float64]
    left: NDArray[np.float64]  # (N, 2) unit normal
    beyond: NDArray[np.bool_]  # past an end


def inner_width(width: ArrayLike) -> NDArray[np.float64]:
    """Width of a gap below its jagged lips: smoothed along the crack. [mm]"""
    lips = np.asarray(width, float)
    return np.asarray(np.minimum(gaussian_filter1d(lips, 4.0, mode="nearest"), lips * 1.4), float)


def narrowing(z: ArrayLike, shut: ArrayLike) -> NDArray[np.float64]:
    """Share of its width that a gap closed at depth `shut` still has at depth `z`. [-]"""
    return np.asarray(np.clip(1 - np.asarray(z) / (np.asarray(shut) * 1.001), 0, 1) ** 0.6, float)


def find_nearest(crack: CrackShape, points: NDArray[np.float64]) -> Nearest:
    """Project points on a crack's centreline; values along it are linear between vertices.

    `points` has shape (N, 2).
    """
    line = crack.centreline
    _, vertex = cKDTree(line).query(points)
    best = np.full(len(points), np.inf)
    segment = np.zeros(len(points), int)
    place = np.zeros(len(points))
    step = np.diff(line, axis=0)
    length2 = np.maximum((step**2).sum(1), 1e-12)
    last = len(line) - 2
    for offset in (-1, 0):
        candidate = np.clip(vertex + offset, 0, last)
        along = ((points - line[candidate]) * step[candidate]).sum(1) / length2[candidate]
        foot = line[candidate] + np.clip(along, 0, 1)[:, None] * step[candidate]
        distance = ((points - foot) ** 2).sum(1)
        closer = distance < best
        best[closer], segment[closer], place[closer] = distance[closer], candidate[closer], along[closer]
    unit = step / np.sqrt(length2)[:, None]
    normal = np.c_[unit[:, 1], -unit[:, 0]]  # left of the direction when y points down
    beyond = ((segment == 0) & (place < 0)) | ((segment == last) & (place > 1))
    t = np.clip(place, 0, 1)
    foot = line[segment] + t[:, None] * step[segment]
    side = np.sign(((points - foot) * normal[segment]).sum(1))

    def between(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(values[segment] * (1 - t) + values[segment + 1] * t, float)

    inner = inner_width(crack.width)
    return Nearest(
        side * np.sqrt(best),
        between(crack.width),
        between(inner),
        between(crack.depth),
        between(crack.dusty),
        normal[segment],
        beyond,
    )


def gap_coverage(
    across: NDArray[np.float64], width: NDArray[np.float64], footprint: float
) -> NDArray[np.float64]:
    """Share of a sample `footprint` wide that lies in the gap: exact for a straight crack. [-]

    Arrays of any one shape; all lengths in mm.
    """
    half, f = width / 2, footprint / 2
    overlap = np.minimum(across + f, half) - np.maximum(across - f, -half)
    return np.asarray(np.clip(overlap, 0, None) / footprint, float)


def _ribbon_window(crack: CrackShape, grid: Grid, part: slice, margin: float) -> tuple[slice, slice] | None:
    points = crack.centreline[part]
    low, high = points.min(0), points.max(0)
    middle = (low + high) / 2
    return grid.window(float(middle[0]), float(middle[1]), float((high - low).max()) / 2 + margin)


def crack_samples(crack: CrackShape, grid: Grid, margin: float) -> NDArray[np.intp]:
    """Flat indices of the samples within `margin` of a crack; found piece by piece to stay cheap. `margin` in mm."""
    taken = []
    columns = grid.x.shape[1]
    piece = 40
    for first in range(0, len(crack.centreline) - 1, piece):
        part = slice(first, first + piece + 1)
        window = _ribbon_window(crack, grid, part, margin)
        if window is None:
            continue
        near = grid.part(window)
        points = crack.centreline[part]
        low, high = points.min(0) - margin, points.max(0) + margin
        keep = (near.x >= low[0]) & (near.x <= high[0]) & (near.y >= low[1]) & (near.y <= high[1])
        rows, cols = np.nonzero(keep)
        taken.append((rows + window[0].start) * columns + cols + window[1].start)
    return np.unique(np.concatenate(taken)) if taken else np.zeros(0, np.intp)


def _follow_into_crack(
    near: Nearest, lean: float, sideways: NDArray[np.float64], limit: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Depth where a sight line meets the gap's wall or floor, and the gap's width there. [mm]

    The gap narrows with depth as (1 - z / depth)^0.6, or stays open where it goes through.
    """
    half, inner = near.width / 2, near.inner / 2
    floor = np.minimum(near.depth, limit)
    shut = np.where(near.depth >= limit, 3.0 * limit, near.depth)
    start = np.clip(near.across, -half * 0.98, half * 0.98)
    met = floor.copy()
    open_ = np.ones(len(half), bool)
    for step in range(1, _STEPS + 1):
        z = floor * (step / _STEPS) ** 1.6
        lip = np.exp(-z / 0.7)
        wall = (half * lip + inner * (1 - lip)) * narrowing(z, shut)
        wall = np.where(near.dusty > 0.5, np.maximum(half * lip + inner * (1 - lip), 0.02), wall)
        hit = open_ & (np.abs(start + z * (sideways - lean)) >= wall)
        met[hit] = z[hit]
        open_ &= ~hit
    return met, 2 * half * np.clip(1 - met / (shut * 1.3), 0.05, 1)


def paint_crack(
    scene: SlabScene,
    crack: CrackShape,
    rays: Rays,
    grid: Grid,
    picture: Float32,
    cover: Float32,
    inside: Float32,
    bench: LitBench,
) -> None:
    """Lay one crack over the picture, in place.

    Parameters
    ----------
    picture : ndarray, shape (H, W, 3)
        Linear light. Changed.
    cover : ndarray, shape (H, W)
        Share of each sample that lies in any crack. Changed.
    inside : ndarray, shape (H, W)
        Distance inside the show face. [mm]
    bench : LitBench
        Seen through what goes right through.
    """
    margin = float(crack.width.max()) / 2 + 1.5 * grid.footprint + (4.0 if crack.halo else 0.0)
    index = crack_samples(crack, grid, margin)
    if not len(index):
        return
    points = np.c_[grid.x.ravel()[index], grid.y.ravel()[index]].astype(float)
    near = find_nearest(crack, points)
    share = gap_coverage(near.across, near.width, grid.footprint)
    share[near.beyond | (inside.ravel()[index] < 0)] = 0
    flat = picture.reshape(-1, 3)
    if crack.halo:
        stain = crack.halo * np.exp(-np.maximum(np.abs(near.across) - near.width / 2, 0) / 1.3)
        flat[index] *= (1 - 0.5 * stain * np.clip(near.width, 0, 1))[:, None].astype(np.float32)
    keep = share > 0
    index, share = index[keep], share[keep]
    if not len(index):
        return
    near = Nearest(
        *(getattr(near, n)[keep] for n in ("across", "width", "inner", "depth", "dusty", "left", "beyond"))
    )
    light = _gap_light(scene, crack, near, rays, index, bench)
    flat[index] += (light - flat[index]) * share[:, None].astype(np.float32)
    flat_cover = cover.reshape(-1)
    flat_cover[index] = np.maximum(flat_cover[index], share)


def _gap_light(
    scene: SlabScene, crack: CrackShape, near: Nearest, rays: Rays, index: NDArray[np.intp], bench: LitBench
) -> Float32:
    """Linear light that comes out of the gap at the samples `index`."""
    thickness = scene.thickness_mm
    slope = np.c_[rays.slope_x.ravel()[index], rays.slope_y.ravel()[index]]
    sideways = (slope * near.left).sum(1)
    met, gap = _follow_into_crack(near, crack.lean, sideways, thickness)
    x, y = rays.x.ravel()[index], rays.y.ravel()[index]
    grain = sample(fractal(2), x * np.float32(0.9), (y + 3 * met.astype(np.float32)) * np.float32(2.2))
    own = linear(scene.wood.early) * np.float32(0.62) if crack.wall is None else linear(crack.wall)
    wall = own * np.exp(0.22 * grain)[:, None]
    dust = (near.dusty > 0.5) & (met > 0.8 * near.depth)
    wall[dust] = linear(crack.fill or _DUST) * np.exp(0.18 * grain[dust])[:, None]
    dx, dy = drift_per_depth(scene.light)
    drift = near.left @ np.array([dx, dy])  # sideways run of the light for 1 mm down
    reach = near.across + met * (sideways - drift)  # where the ray from the light crossed the face
    margin = near.width / 2 - np.abs(reach)
    soft = scene.light.softness * met * np.abs(drift) + 0.08
    lit = np.clip(0.5 + margin / (2 * soft), 0, 1).astype(np.float32)
    facing = np.where(dust, 1.0, np.clip(np.abs(drift) / np.hypot(1, drift), 0.15, 1)).astype(np.float32)
    direct = main_light(scene.light, x, y, 0.0) * lit * facing
    sky = slot_sky(met.astype(np.float32), gap.astype(np.float32))
    glow = (np.float32(crack.glow) * sky)[:, None] * wall  # light that bounces between the walls
    light = wall * shade(scene.light, direct, sky) + glow
    through = met >= 0.999 * thickness
    if through.any():  # little light reaches the bench beneath the slab
        run = scene.thickness_mm * slope[through]
        seen = bench.seen_at(
            x[through] + run[:, 0].astype(np.float32), y[through] + run[:, 1].astype(np.float32)
        )
        light[through] = seen * (0.9 * sky[through])[:, None] + light[through] * np.float32(0.3)
    return np.asarray(light, np.float32)


def _rim(void: VoidShape, dx: Float32, dy: Float32, scale: Float32 | float = 1.0) -> Float32:
    """How far outside a void's rim points lie, in the unstretched frame; negative inside. [mm]"""
    u = dx * np.float32(1 / void.stretch)
    angle = np.arctan2(dy, u) * np.float32(len(void.radii) / (2 * np.pi))
    closed = np.r_[void.radii, void.radii[:1]].astype(np.float32).reshape(1, -1)
    column = np.where(angle < 0, angle + len(void.radii), angle).astype(np.float32)
    return np.asarray(
        np.hypot(u, dy) - scale * sample(closed, column, np.zeros_like(column), wrap=False), np.float32
    )


def paint_void(
    scene: SlabScene,
    void: VoidShape,
    rays: Rays,
    grid: Grid,
    picture: Float32,
    cover: Float32,
    bench: LitBench,
) -> None:
    """Lay one void over the picture, in place (arguments as for `paint_crack`). The picture has shape (H, W, 3)."""
    reach = float(void.radii.max()) * max(void.stretch, 1.0) + 6.0
    window = grid.window(float(void.centre[0]), float(void.centre[1]), reach)
    if window is None:
        return
    near = grid.part(window)
    cx, cy = np.float32(void.centre[0]), np.float32(void.centre[1])
    outside = _rim(void, near.x - cx, near.y - cy)
    stretch = np.float32(0.5 * (1 + void.stretch))
    part = picture[window]
    collar = np.exp(-np.maximum(outside, 0) / np.float32(1.6 if void.kind == "knot_hole" else 0.8))
    part *= (1 - 0.5 * collar)[..., None]
    share = np.clip(0.5 - outside * stretch / np.float32(grid.footprint), 0, 1)
    rows, columns = np.nonzero(share > 0)
    if len(rows):
        light = _pit_light(scene, void, rays, window, rows, columns, bench)
        s = share[rows, columns][:, None]
        part[rows, columns] = part[rows, columns] * (1 - s) + light * s
    picture[window] = part
    cover[window] = np.maximum(cover[window], share)


def _pit_light(
    scene: SlabScene,
    void: VoidShape,
    rays: Rays,
    window: tuple[slice, slice],
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
    bench: LitBench,
) -> Float32:
    """Linear light that comes out of a void: rough dark walls, a floor or the bench."""
    x, y = rays.x[window][rows, columns], rays.y[window][rows, columns]
    sx, sy = rays.slope_x[window][rows, columns], rays.slope_y[window][rows, columns]
    cx, cy = np.float32(void.centre[0]), np.float32(void.centre[1])
    bottom = scene.thickness_mm if void.through else void.depth
    met = np.full(x.shape, bottom, np.float32)
    open_ = np.ones(x.shape, bool)
    rough = sample(fractal(0), x * np.float32(1.4), y * np.float32(1.4))
    for step in range(1, _STEPS + 1):
        z = np.float32(bottom * (step / _STEPS) ** 1.3)
        narrow = 1 - np.float32(void.taper) * z / np.float32(bottom)
        lumps = 0.05 * sample(fractal(1), x * np.float32(0.8) + z, y * np.float32(0.8) + z)
        hit = open_ & (_rim(void, x + z * sx - cx, y + z * sy - cy, narrow * (1 + lumps) - 0.02) >= 0)
        met[hit] = z
        open_ &= ~hit
    radius = np.full_like(met, void.radii.mean())
    look = scene.wood
    base = linear(look.bark if void.kind == "bark_inclusion" else look.knot)
    wall = base * np.float32(0.75) * np.exp(0.35 * rough)[:, None]
    dx, dy = drift_per_depth(scene.light)
    off = _rim(void, x + met * (sx - np.float32(dx)) - cx, y + met * (sy - np.float32(dy)) - cy)
    soft = np.float32(scene.light.softness) * met + 0.4
    lit = np.clip(0.5 - off / (2 * soft), 0, 1)
    direct = np.asarray(main_light(scene.light, x, y, 0.0) * lit * 0.7, np.float32)
    sky = np.asarray(pit_sky(met, radius) * np.where(open_, 1.0, 0.6), np.float32)
    light = wall * shade(scene.light, direct, sky)
    if void.through and open_.any():  # the bench beneath, lit through the hole
        t = np.float32(scene.thickness_mm)
        seen = bench.seen_at(x[open_] + t * sx[open_], y[open_] + t * sy[open_])
        light[open_] = seen * (0.35 * smoothstep(0, 1, sky[open_]) + 0.4)[:, None]
    return np.asarray(light, np.float32)
