"""Smooth random lines and sheets of unit spread."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

FloatArray = NDArray[np.float64]
Rng = np.random.Generator


def _weights(count: int, size: float, rng: Rng) -> FloatArray:
    """Gaussian weights (count, nodes) of nodes `size` apart."""
    size = max(size, 0.75)
    nodes = np.arange(-2, count / size + 3) * size + rng.uniform(0, size)
    weights = np.exp(-0.5 * ((np.arange(count)[:, None] - nodes) / (0.6 * size)) ** 2)
    return np.asarray(weights / np.sqrt((weights**2).sum(1, keepdims=True)))


def smooth_line(rng: Rng, count: int, size: float) -> FloatArray:
    """`count` values that change over `size` samples."""
    if count > 600:  # a dense table of weights would be slower
        sigma = 0.6 * max(size, 0.75)
        return np.asarray(gaussian_filter1d(rng.standard_normal(count), sigma) * np.sqrt(2 * sigma * np.sqrt(np.pi)))
    weights = _weights(count, size, rng)
    return np.asarray(weights @ rng.standard_normal(weights.shape[1]))


def smooth_sheet(rng: Rng, shape: tuple[int, ...], sizes: tuple[float, float]) -> FloatArray:
    """Values (shape) that change over `sizes` samples along each axis."""
    first, second = _weights(shape[0], sizes[0], rng), _weights(shape[1], sizes[1], rng)
    return np.asarray(first @ rng.standard_normal((first.shape[1], second.shape[1])) @ second.T)
