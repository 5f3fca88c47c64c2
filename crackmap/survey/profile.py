"""Paths through the picture and brightness profiles square to them."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.tone import sample

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """Points one pixel apart along a smooth line, with the line's normals.

    Parameters
    ----------
    points, normals : ndarray, shape (N, 2)
        (x, y); the normal is the direction turned a quarter. [px], [-]
    """

    points: FloatArray
    normals: FloatArray

    def __len__(self) -> int:
        return len(self.points)


def smoothed_path(points: FloatArray, sigma: float, step: float = 1.0) -> Path:
    """`points` smoothed by a Gaussian of `sigma` along the line and spaced evenly by about `step`.

    The ends stay where they are: near them the line is continued by its mirror
    image through the end point.

    `points` has shape (N, 2). [px]
    """
    even = resampled(points, 1.0)
    reach = min(int(np.ceil(3 * sigma)), len(even) - 1)
    if reach > 0 and sigma > 0.1:
        head = 2 * even[0] - even[reach:0:-1]
        tail = 2 * even[-1] - even[-2 : -reach - 2 : -1]
        x = np.arange(-reach, reach + 1)
        weight = np.exp(-(x**2) / (2 * sigma**2))
        weight /= weight.sum()
        long = np.vstack([head, even, tail])
        even = np.stack([np.convolve(long[:, k], weight, mode="valid") for k in (0, 1)], 1)
    even = resampled(even, step)
    return Path(even, normals_of(even))


def resampled(points: FloatArray, step: float) -> FloatArray:
    """A polyline's points spaced evenly, about `step` apart, ends kept. [px] `points` has shape (N, 2)."""
    lengths = np.hypot(*np.diff(points, axis=0).T)
    points = points[np.r_[True, lengths > 1e-9]]
    if len(points) < 2:
        return np.repeat(points[:1], 2, axis=0).astype(float)
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    count = max(round(along[-1] / step), 1) + 1
    at = np.linspace(0.0, along[-1], count)
    return np.stack([np.interp(at, along, points[:, k]) for k in (0, 1)], 1)


def normals_of(points: FloatArray, reach: int = 2) -> FloatArray:
    """Unit normals of a polyline, from chords over `reach` points either way. `points` has shape (N, 2)."""
    index = np.arange(len(points))
    chord = points[np.minimum(index + reach, len(points) - 1)] - points[np.maximum(index - reach, 0)]
    length = np.hypot(*chord.T)[:, None]
    chord = np.where(length > 1e-9, chord / np.maximum(length, 1e-9), [1.0, 0.0])
    return np.stack([-chord[:, 1], chord[:, 0]], 1)


def profiles(picture: NDArray, path: Path, offsets: FloatArray) -> NDArray[np.float32]:  # type: ignore[type-arg]
    """Values of `picture` at `offsets`, (M,) or (N, M), along each normal: shape (N, M) or (N, M, channels)."""
    at = path.points[:, None, :] + path.normals[:, None, :] * np.atleast_2d(offsets)[:, :, None]
    return np.asarray(sample(picture, at[..., 0], at[..., 1]), np.float32)


def smooth_along(values: FloatArray, sigma: float) -> FloatArray:
    """Gaussian smoothing down the first axis, ends continued by reflection. Shape (N, ...); `sigma` in rows. [-]"""
    if sigma <= 0 or len(values) < 2:
        return values
    flat = np.ascontiguousarray(values.reshape(len(values), -1), np.float64)
    smooth = cv2.GaussianBlur(
        flat, (1, 2 * int(np.ceil(3 * sigma)) + 1), sigmaX=0.01, sigmaY=sigma, borderType=cv2.BORDER_REFLECT
    )
    return np.asarray(smooth.reshape(values.shape))
