"""Colour in the wood or on it that is no opening: zones of rot and stain with their border lines, drawn lines."""

from __future__ import annotations

import cv2
import numpy as np

from crackmap.demo.looks import linear
from crackmap.demo.noise import Float32, fractal, sample, smoothstep, soft
from crackmap.demo.openings import crack_samples, find_nearest, gap_coverage
from crackmap.demo.patch_grid import Grid
from crackmap.demo.scene import CrackShape, PaintedLine, SlabScene, Zone

_SLOPE_STEP = 0.25  # over which a field's slope is taken [mm]
_USUAL_SLOPE = 0.35  # of the noise, whose blobs are Gaussian with a sigma of two texels: 1 / (2 sqrt 2) [1/texel]
_LEAST_SLOPE = 0.25  # of the usual slope: where a field is level, its border line does not spread without end


def add_painted(colour: Float32, scene: SlabScene, grid: Grid) -> None:
    """Change the face's reflectance by the scene's zones and painted lines, in place. `colour` has shape (H, W, 3)."""
    for zone in scene.zones:
        _add_zone(colour, zone, grid)
    for line in scene.lines:
        _add_line(colour, line, grid)


def _field(zone: Zone, x: Float32, y: Float32) -> Float32:
    """The zone's smooth field; its mean is 0 and its spread about 1."""
    ox, oy, px, py = np.random.default_rng([zone.seed, 41]).uniform(0, 1000, 4).astype(np.float32)
    along, across = np.float32(1 / zone.along), np.float32(1 / zone.across)
    level = _smooth(soft(zone.seed % 3), x * along + ox, y * across + oy)
    if zone.wobble > 0:
        fine = _smooth(soft(1 - zone.seed % 2), x * along * np.float32(4.6) + px, y * across * np.float32(3.7) + py)
        level = level + np.float32(zone.wobble) * fine
    return level


def _smooth(tile: Float32, column: Float32, row: Float32) -> Float32:
    """As `sample`, by cubics: level lines of a bilinear look-up have corners."""
    return np.asarray(cv2.remap(tile, column, row, cv2.INTER_CUBIC, borderMode=cv2.BORDER_WRAP), np.float32)


def _add_zone(colour: Float32, zone: Zone, grid: Grid) -> None:
    level = _field(zone, grid.x, grid.y)
    h = np.float32(_SLOPE_STEP)
    slope = np.hypot(_field(zone, grid.x + h, grid.y) - level, _field(zone, grid.x, grid.y + h) - level) / h
    slope = np.maximum(slope, np.float32(_LEAST_SLOPE * _USUAL_SLOPE / max(zone.along, zone.across)))
    edge = np.float32(max(zone.softness, grid.footprint))
    wide = np.float32(zone.line_mm)
    if zone.uneven > 0:
        swell = sample(soft(2), grid.x * np.float32(1 / 5.0) + 7, grid.y * np.float32(1 / 4.0) + 91)
        wide = wide * np.exp(np.float32(zone.uneven) * swell)
    share = np.zeros_like(level)
    line = np.zeros_like(level)
    for border in zone.levels:
        beyond = (level - np.float32(border)) / slope  # [mm]
        share += np.clip(0.5 + beyond / (4 * edge), 0, 1)
        if zone.line_mm > 0:
            cover = (wide + edge) / (2 * edge) - np.abs(beyond) / edge
            line = np.maximum(line, np.clip(cover, 0, np.minimum(1, wide / edge)))
    odd = np.abs(share - 2 * np.floor(share / 2 + 0.5))  # zones alternate from line to line
    colour *= 1 - odd[..., None] * np.array(zone.absorbs, np.float32)
    if zone.line_mm > 0:
        if zone.gaps > 0:
            faint = sample(soft(2), grid.x * np.float32(1 / 9.0) + 71, grid.y * np.float32(1 / 7.0) + 13)
            line *= smoothstep(-0.4, 0.5, faint + np.float32(1.6 - 3.2 * zone.gaps))
        colour *= 1 - line[..., None] * np.array(zone.line_absorbs, np.float32)


def _add_line(colour: Float32, line: PaintedLine, grid: Grid) -> None:
    ones = np.ones(len(line.width))
    shape = CrackShape("painted", line.centreline, line.width, ones, 0 * ones)
    reach = float(line.width.max()) / 2 + line.softness + 1.5 * grid.footprint
    index = crack_samples(shape, grid, reach)
    if not len(index):
        return
    x, y = grid.x.ravel()[index], grid.y.ravel()[index]
    near = find_nearest(shape, np.c_[x, y].astype(float))
    cover = gap_coverage(near.across, near.width, max(grid.footprint, line.softness))
    cover[near.beyond] = 0
    share = (cover * line.strength).astype(np.float32)
    if line.broken > 0:
        relief = sample(fractal(2), x * np.float32(1 / 0.8), y * np.float32(1 / 0.5))
        share *= np.clip(1 - np.float32(line.broken) * (0.5 + 0.8 * relief), 0, 1)
    flat = colour.reshape(-1, 3)
    if line.opaque is not None:
        flat[index] += (linear(line.opaque) - flat[index]) * share[:, None]
    else:
        flat[index] *= 1 - share[:, None] * np.array(line.absorbs, np.float32)
