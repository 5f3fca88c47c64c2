"""What hands and saws leave on a face: saw marks, stains, pencil lines, dust, weathering, end wax."""

from __future__ import annotations

import numpy as np

from crackmap.demo.looks import linear
from crackmap.demo.noise import Float32, fibre, fractal, look_up, sample, smoothstep, soft
from crackmap.demo.patch_grid import Grid
from crackmap.demo.scene import Mark, SlabScene


def add_finish(colour: Float32, scene: SlabScene, grid: Grid) -> Float32:
    """Change the face's reflectance for how it was left, in place; returns the slope of the saw's ripples.

    `colour` has shape (H, W, 3).
    """
    finish = scene.finish
    if finish.weathering > 0:
        patch = sample(fractal(1), grid.x * np.float32(1 / 4.0), grid.y * np.float32(1 / 1.5))
        share = np.clip(finish.weathering * (1 + 0.35 * patch), 0, 0.92)
        grey = colour.mean(-1, keepdims=True) * np.array([1.0, 0.97, 0.92], np.float32)
        colour += (grey - colour) * share[..., None]
    relief = _saw_relief(scene, grid)
    if finish.saw_marks > 0:  # grime lies in the grooves
        colour *= (1 - np.float32(0.05 * finish.saw_marks) * np.maximum(relief, 0))[..., None]
    for mark in scene.marks:
        _add_mark(colour, mark, grid)
    if finish.dust > 0:
        speck = sample(soft(1), grid.x * np.float32(1 / 0.5), grid.y * np.float32(1 / 0.5))
        drift = sample(fractal(0), grid.x * np.float32(1 / 2.0), grid.y * np.float32(1 / 2.0))
        specks = smoothstep(finish.speck_level, finish.speck_level + 0.9, speck)
        share = np.clip(finish.dust * (0.14 * np.clip(drift, 0, 3) + 0.5 * specks), 0, 0.8)
        colour += (linear((212, 190, 158)) - colour) * share[..., None]
    if finish.end_seal is not None:
        _add_end_seal(colour, scene, grid)
    return relief


def _saw_relief(scene: SlabScene, grid: Grid) -> Float32:
    """Slope of the saw's ripples along x, about -2 to 2."""
    finish = scene.finish
    x = grid.x
    if finish.saw_radius > 0:
        y = np.clip(grid.y / np.float32(finish.saw_radius), -0.95, 0.95)
        x = x - np.float32(finish.saw_radius) * (1 - np.sqrt(1 - y * y))
    else:
        x = x + np.float32(0.03) * grid.y
    wobble = sample(fractal(3), grid.x * np.float32(1 / 3.0), grid.y * np.float32(1 / 9.0))
    phase = x * np.float32(6.283 / finish.saw_pitch) + 0.9 * wobble
    # Ripples closer than three samples would alias; they fade out instead.
    seen = float(np.clip(finish.saw_pitch / (3 * grid.footprint) - 1, 0, 1))
    scar = sample(fibre(1), grid.y * np.float32(1 / 3.0), x * np.float32(1 / 0.5))
    fine = seen * np.sin(phase) * (1 + 0.5 * wobble) + 0.5 * scar
    return np.asarray(fine, np.float32)


def _add_mark(colour: Float32, mark: Mark, grid: Grid) -> None:
    if mark.kind == "shadow_stripe":
        _add_stripe(colour, mark, grid)
        return
    window = grid.window(mark.x, mark.y, 1.4 * mark.size + 6)
    if window is None:
        return
    near = grid.part(window)
    c, s = np.float32(np.cos(np.radians(mark.angle_deg))), np.float32(np.sin(np.radians(mark.angle_deg)))
    dx, dy = near.x - np.float32(mark.x), near.y - np.float32(mark.y)
    u, v = dx * c + dy * s, dy * c - dx * s
    f, size = np.float32(near.footprint), np.float32(mark.size)
    patch = sample(fractal(2), near.x * np.float32(1 / 1.3), near.y * np.float32(1 / 1.3))
    tint = np.array([0.45, 0.55, 0.65], np.float32)
    if mark.kind == "stain":
        inside = np.hypot(u, v * 1.4) + 0.18 * size * patch
        share = smoothstep(float(size), 0.9 * float(size), inside) * (
            0.6 + 0.5 * smoothstep(0.75 * float(size), 0.97 * float(size), inside)
        )
    elif mark.kind == "cup_ring":
        share = np.exp(-(((np.hypot(u, v) - size) / 1.4) ** 2)) * np.clip(0.7 + 0.4 * patch, 0, 1)
    elif mark.kind == "pencil":
        bow = v - 0.004 * size * np.sin(u * np.float32(3.1) / size)
        on = smoothstep(float(size) / 2 + 1, float(size) / 2 - 1, np.abs(u))
        share = (
            np.clip((0.6 + f - np.abs(bow)) / f, 0, 1)
            * min(1.0, 0.6 / float(f))
            * on
            * np.clip(0.8 + 0.3 * patch, 0, 1)
        )
        tint = np.array([0.7, 0.7, 0.68], np.float32)
    else:  # a saw's scar: a straight, shallow dark stroke
        on = smoothstep(float(size) / 2, 0.3 * float(size), np.abs(u))
        share = np.exp(-((v / np.float32(max(0.7, 0.8 * float(f)))) ** 2)) * on
    part = colour[window]
    part *= 1 - np.float32(mark.strength) * share[..., None] * tint
    colour[window] = part


def _add_stripe(colour: Float32, mark: Mark, grid: Grid) -> None:
    """A pale or dark band across the grain where a sticker lay while the slab dried."""
    wobble = sample(fractal(0), grid.x * np.float32(1 / 2.0), grid.y * np.float32(1 / 3.0))
    away = np.abs(grid.x - np.float32(mark.x) + np.float32(0.04) * grid.y) + 1.2 * wobble
    share = smoothstep(mark.size / 2 + 2, mark.size / 2 - 3, away) * np.float32(mark.strength)
    colour *= 1 - share[..., None] * np.array([0.3, 0.32, 0.34], np.float32)


def _add_end_seal(colour: Float32, scene: SlabScene, grid: Grid) -> None:
    e = scene.edges
    assert scene.finish.end_seal is not None
    ends = look_up(np.c_[e.left, e.right], e.y[0], float(e.y[1] - e.y[0]), grid.y)
    from_end = np.minimum(grid.x - ends[..., 0], ends[..., 1] - grid.x)
    drip = 4.5 + 3.0 * sample(fractal(3), grid.y * np.float32(1 / 6.0), np.zeros_like(grid.y))
    drip += 0.7 * sample(fractal(1), grid.x * np.float32(1 / 1.5), grid.y * np.float32(1 / 1.5))
    share = smoothstep(0.6, -0.6, from_end - drip) * np.float32(0.9)
    colour += (linear(scene.finish.end_seal) - colour) * share[..., None]
