"""The slab's sides: bark and wane seen beyond the show face, found by following sight lines down."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.demo.edges import outside_live
from crackmap.demo.lens import Rays
from crackmap.demo.lighting import main_light, shade, towards_light
from crackmap.demo.looks import linear
from crackmap.demo.noise import Float32, fibre, fractal, sample, soft
from crackmap.demo.scene import SlabScene

_STEPS = 14


def reach_outside(scene: SlabScene, rays: Rays) -> Float32:
    """How far outside the show face each sight line may start and still meet a side, generously. [mm]

    A side that leans out by b mm for each mm of depth is met only by sight lines that
    run outwards more slowly than that.
    """
    e = scene.edges
    lean = np.where(rays.y > 0, e.bevel_bottom.max(), e.bevel_top.max()).astype(np.float32)
    outwards = np.maximum(
        lean - np.sign(rays.y) * rays.slope_y, -np.sign(rays.x - np.float32(scene.length / 2)) * rays.slope_x
    )
    return np.asarray(
        scene.thickness_mm * np.maximum(outwards + 0.03, 0) + 3.2 * max(e.bark_top, e.bark_bottom) + 3,
        np.float32,
    )


def paint_sides(scene: SlabScene, rays: Rays, band: NDArray[np.bool_], picture: Float32) -> Float32:
    """Lay the sides over the bench in `picture`, in place.

    The picture has shape (H, W, 3), the others (H, W).

    Parameters
    ----------
    band : ndarray of bool
        Samples outside the show face near enough to meet a side.

    Returns
    -------
    body : ndarray of float32
        Share of each sample that meets a side; 0 outside `band`.
    """
    body = np.zeros(band.shape, np.float32)
    rows, columns = np.nonzero(band)
    if not len(rows):
        return body
    x, y = rays.x[rows, columns], rays.y[rows, columns]
    sx, sy = rays.slope_x[rows, columns], rays.slope_y[rows, columns]
    met, bark, found = _first_meeting(scene, x, y, sx, sy)
    rows, columns, met, bark = rows[found], columns[found], met[found], bark[found]
    x, y = x[found] + met * sx[found], y[found] + met * sy[found]
    picture[rows, columns] = _side_light(scene, x, y, met, bark)
    body[rows, columns] = 1.0
    return body


def _first_meeting(
    scene: SlabScene, x: Float32, y: Float32, sx: Float32, sy: Float32
) -> tuple[Float32, Float32, NDArray[np.bool_]]:
    """Depth where each sight line first meets the slab, and how far outside the wood that is. [mm]"""
    met, bark = np.zeros_like(x), np.zeros_like(x)
    found = np.zeros(x.shape, bool)
    left = np.arange(len(x))  # the sight lines still on their way
    before = np.zeros_like(x)
    last = np.float32(0)
    for step in range(_STEPS + 1):
        level = np.float32(scene.thickness_mm * (step / _STEPS) ** 1.2)
        z = np.full(len(left), level, np.float32)
        outside, wood = outside_live(scene.edges, x[left] + z * sx[left], y[left] + z * sy[left], z)
        hit = outside <= 0
        share = np.clip(before[hit] / np.maximum(before[hit] - outside[hit], 1e-6), 0, 1)  # one secant step
        met[left[hit]] = last + (level - last) * share
        bark[left[hit]] = wood[hit]
        found[left[hit]] = True
        left, before, last = left[~hit], outside[~hit], level
        if not len(left):
            break
    return met, bark, found


def _side_light(scene: SlabScene, x: Float32, y: Float32, z: Float32, bark: Float32) -> Float32:
    look, e, light = scene.wood, scene.edges, scene.light
    top = y < np.interp(x, e.x, (e.top + e.bottom) / 2)
    has_bark = np.where(top, e.bark_top, e.bark_bottom) > 0
    is_bark = has_bark & (bark > 0.8)
    lumps = sample(fractal(1), x * np.float32(1 / 1.1), (z + 2 * y) * np.float32(1 / 1.3))
    furrow = sample(fractal(2), x * np.float32(1 / 2.4), (z + y) * np.float32(1 / 0.8))
    grit = sample(soft(0), x * np.float32(1 / 0.6), y * np.float32(1 / 0.6))
    bark_colour = (
        linear(look.bark) * np.exp(0.35 * lumps + 0.3 * np.minimum(furrow, 0.4) + 0.12 * grit)[:, None]
    )
    streak = sample(fibre(0), x * np.float32(1 / 1.2), (z + 0.5 * y) * np.float32(1 / 0.4))
    wane = (0.75 * linear(look.sap) + 0.1 * linear(look.knot)) * np.exp(0.1 * streak + 0.12 * lumps)[:, None]
    end = (x < np.interp(y, e.y, e.left) + 0.5) | (x > np.interp(y, e.y, e.right) - 0.5)
    wood = np.where(end[:, None], linear(look.early) * 0.8, wane)
    if scene.finish.end_seal is not None:
        wood = np.where(end[:, None], linear(scene.finish.end_seal), wood)
    colour = np.where(is_bark[:, None], bark_colour, wood)
    lx, ly, lz = towards_light(light)
    lean = np.interp(x, e.x, e.bevel_top), np.interp(x, e.x, e.bevel_bottom)
    bevel = np.where(top, lean[0], lean[1]).astype(np.float32)
    ny = np.where(top, -1.0, 1.0)
    norm = np.hypot(1, bevel)
    facing = (ny * ly - bevel * lz) / norm if not np.all(end) else np.full_like(x, abs(lx))
    facing = np.where(z < 0.4, -lz, facing) * (1 + 0.35 * np.clip(lumps, -1.5, 1.5) * is_bark)
    direct = main_light(light, x, y, 0.0) * np.clip(facing / -lz, 0, 1.3).astype(np.float32)
    sky = np.where(z < 0.4, 1.0, 0.35 + 0.4 * np.clip(bevel / norm, 0, 1)) * (
        1 - 0.45 * z / scene.thickness_mm
    )
    return np.asarray(colour * shade(light, direct.astype(np.float32), sky.astype(np.float32)), np.float32)
