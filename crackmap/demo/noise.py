"""Repeating noise tiles and fast look-ups in them: the raw stuff of every texture.

Tiles are made once a process from fixed seeds, so a picture depends only on its
scene's seed. Features smaller than a texel do not exist, so a caller that
samples no coarser than a texel gets no aliasing.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft
from scipy.spatial import cKDTree

Float32 = NDArray[np.float32]

_ROW = 8192  # a list of points is looked up as rows of this length: cv2.remap refuses longer ones


def sample(tile: Float32, column: Float32, row: Float32, wrap: bool = True) -> Float32:
    """Bilinear look-up of `tile` at (column, row), wrapping round or clamped at its border.

    Parameters
    ----------
    tile : ndarray of float32, shape (h, w) or (h, w, channels)
    column, row : ndarray of float32, one shape
        Positions in texels, below 32,000 in size.
    """
    border = cv2.BORDER_WRAP if wrap else cv2.BORDER_REPLICATE
    if column.ndim == 2 and max(column.shape) < 32000:
        return np.asarray(cv2.remap(tile, column, row, cv2.INTER_LINEAR, borderMode=border), np.float32)
    count = column.size
    rows = -(-count // _ROW) or 1
    padded = np.zeros((2, rows * _ROW), np.float32)
    padded[0, :count], padded[1, :count] = column.ravel(), row.ravel()
    c, r = padded.reshape(2, rows, _ROW)
    values = cv2.remap(tile, c, r, cv2.INTER_LINEAR, borderMode=border)
    flat = values.reshape(rows * _ROW, -1)[:count]
    shape = column.shape + ((tile.shape[2],) if tile.ndim == 3 else ())
    return np.asarray(flat.reshape(shape), np.float32)


def look_up(table: ArrayLike, start: float, pitch: float, at: Float32) -> Float32:
    """Linear look-up in a table sampled every `pitch` from `start`, clamped at its ends.

    `table` is (N,) or (N, channels); N stays below 32,000.

    `start`, `pitch` and `at` are in one unit.
    """
    values = np.ascontiguousarray(table, np.float32)
    values = values.reshape(1, len(values), *values.shape[1:])
    column = (at - np.float32(start)) * np.float32(1.0 / pitch)
    return sample(values, column, np.zeros_like(column), wrap=False)


def wrapped(values: Float32, period: float) -> Float32:
    """`values` modulo `period`, 0 to period (much quicker than np.mod). Any shape; `period` in the values' unit."""
    return np.asarray(values - np.floor(values * np.float32(1 / period)) * np.float32(period), np.float32)


def smoothstep(low: float, high: float, values: Float32) -> Float32:
    """0 below `low`, 1 above `high`, a smooth cubic between (`low` may exceed `high`).

    Any shape; `low` and `high` in the values' unit.
    """
    t = np.clip((values - np.float32(low)) * np.float32(1.0 / (high - low)), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def _normalised(tile: NDArray[np.floating]) -> Float32:
    return np.asarray(((tile - tile.mean()) / tile.std()).astype(np.float32), np.float32)


def _spectral(seed: int, shape: tuple[int, int], gain: NDArray[np.float64]) -> Float32:
    """White noise shaped by `gain` over the frequencies of np.fft.rfft2; repeats seamlessly."""
    white = np.random.default_rng(seed).standard_normal(shape, dtype=np.float32)
    return _normalised(fft.irfft2(fft.rfft2(white) * gain.astype(np.float32), shape))


def _frequencies(shape: tuple[int, int]) -> tuple[NDArray[Any], NDArray[Any]]:
    return np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[1])[None, :]


@cache
def soft(index: int = 0) -> Float32:
    """Blobs about five texels across, unit variance, 1024 x 1024."""
    fy, fx = _frequencies((1024, 1024))
    gain = np.exp(-2 * (np.pi * 2.0) ** 2 * (fx**2 + fy**2))
    gain[0, 0] = 0
    return _spectral(100 + index, (1024, 1024), gain)


@cache
def fractal(index: int = 0) -> Float32:
    """Cloudy noise, amplitude 1/frequency, unit variance, 1024 x 1024."""
    fy, fx = _frequencies((1024, 1024))
    radius = np.hypot(fx, fy)
    radius[0, 0] = 1
    gain = radius**-1.25 * np.exp(-((radius / 0.4) ** 4))
    gain[0, 0] = 0
    return _spectral(200 + index, (1024, 1024), gain)


@cache
def fibre(index: int = 0) -> Float32:
    """Fine streaks along x, of mixed lengths (texels 1 : 4 when used at 1.2 x 0.3 mm), 2048 x 2048."""
    shape = (2048, 2048)
    fy, fx = _frequencies(shape)
    parts = []
    for length, girth, weight in ((2.0, 0.7, 0.7), (9.0, 0.9, 0.8), (40.0, 1.6, 0.6), (150.0, 4.0, 0.5)):
        g = np.exp(-2 * np.pi**2 * (fx * length) ** 2) * np.exp(-2 * np.pi**2 * (fy * girth) ** 2)
        parts.append(weight * g / np.sqrt((g**2).mean()))
    gain = np.sqrt(sum(p**2 for p in parts))
    gain[0, 0] = 0
    return _spectral(300 + index, shape, gain)


@cache
def dashes(index: int = 0) -> Float32:
    """Sparse dark strokes along x (pores), 0 to 1, 2048 x 2048; used at about 0.5 x 0.15 mm a texel."""
    rng = np.random.default_rng(400 + index)
    tile = np.zeros((2048, 2048), np.float32)
    for length, count in ((3, 60000), (6, 70000), (11, 40000)):
        one = np.zeros_like(tile)
        one[rng.integers(0, 2048, count), rng.integers(0, 2048, count)] = rng.uniform(0.4, 1.0, count)
        window = np.hanning(length + 2)[1:-1].astype(np.float32)[None, :]
        padded = np.concatenate([one, one[:, :length]], axis=1)  # so that strokes wrap round
        stroke = cv2.filter2D(padded, -1, window)[:, : tile.shape[1]]
        tile = np.maximum(tile, stroke)
    return np.asarray(np.clip(1.6 * cv2.GaussianBlur(tile, (0, 0), sigmaX=0.3, sigmaY=0.7), 0, 1), np.float32)


@cache
def cells(index: int = 0, count: int = 3000) -> Float32:
    """Random cells, 1024 x 1024 x 2: distance to the border [texels] and the cell's own number 0 to 1."""
    rng = np.random.default_rng(500 + index)
    points = rng.uniform(0, 1024, (count, 2))
    rows, columns = np.mgrid[0:1024, 0:1024]
    tree = cKDTree(points, boxsize=1024)
    near, which = tree.query(np.c_[columns.ravel(), rows.ravel()], k=2)
    border = (near[:, 1] - near[:, 0]) / 2
    number = rng.uniform(0, 1, count)[which[:, 0]]
    return np.stack([border, number], -1).reshape(1024, 1024, 2).astype(np.float32)
