"""Where straight edges lie, to a few hundredths of a pixel, in linear light.

A lens blurs light, not the picture's gamma-coded values: an edge sought in
those values makes white bloom into black. So the pixels around each short
piece of edge are taken to linear light and the blurred step

    I(d, t) = (b0 + b1 t) (1 - P((d - e)/s)) + (w0 + w1 t) P((d - e)/s)

is fitted to them by least squares: d the pixel centre's distance across the
expected edge, t its place along it, e the offset sought, s the blur, P the
normal distribution function; levels may slope along the piece (shading). The
raw pixels are used, with no interpolation between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.scale.target import FloatArray

ImageArray = NDArray[np.uint8]

_ROUNDS = 6  # Gauss-Newton rounds; the start lies within a pixel
_BLUR_LEAST, _BLUR_MOST = 0.28, 6.0  # [px]; 0.29 is the pixel's own width


def _linear_light_table() -> NDArray[np.float32]:
    """Linear light of each 8-bit sRGB value (IEC 61966-2-1, from memory)."""
    coded = np.arange(256) / 255.0
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4).astype(np.float32)


LINEAR_LIGHT = _linear_light_table()

# Normal distribution function at every 1/1024 of a standard deviation out to 8: straight lines
# between are right to 3e-8. A table, because loading a library of special functions for this
# one takes longer than finding all markers.
_TABLE_STEPS, _TABLE_END = 1024, 8
_NORMAL = np.array([0.5 * (1 + math.erf(k / _TABLE_STEPS / math.sqrt(2)))
                    for k in range(-_TABLE_END * _TABLE_STEPS, _TABLE_END * _TABLE_STEPS + 2)])


def normal_share(z: FloatArray) -> FloatArray:
    """Share of a normal distribution below `z` standard deviations. [-] Any shape."""
    place = (np.clip(z, -_TABLE_END, _TABLE_END) + _TABLE_END) * _TABLE_STEPS
    low = place.astype(np.intp)
    below = _NORMAL[low]
    return np.asarray(below + (place - low) * (_NORMAL[low + 1] - below))


@dataclass(frozen=True, slots=True, eq=False)
class EdgeOffsets:
    """What was measured at each of S pieces of edge."""

    offset: FloatArray  # (S,) of the edge from where it was expected, along the normal [px]
    sigma: FloatArray  # (S,) of the offset, from the scatter of the pixels about the step [px]
    blur: FloatArray  # (S,) standard deviation of the blur [px]
    before: FloatArray  # (S,) linear light on the side that the normal comes from
    beyond: FloatArray  # (S,) linear light on the side that it points to
    ok: NDArray[np.bool_]  # (S,) False where no step was found


def measure_edges(
    grey: ImageArray, starts: FloatArray, ends: FloatArray, normals: FloatArray, reach: float
) -> EdgeOffsets:
    """Fit a blurred step across each piece of edge.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
        The photo's luma, gamma-coded.
    starts, ends : ndarray, shape (S, 2)
        Ends of the pieces as expected. [px]
    normals : ndarray, shape (S, 2)
        Unit vectors across them.
    reach : float
        How far to both sides the pixels are used. [px]
    """
    light, across, along, inside = _pixels_around(grey, starts, ends, normals, reach)
    enough = inside.sum(axis=1) >= 12
    offset = _steepest(light, across, inside, reach)
    levels = _levels_beside(light, across - offset[:, None], inside)
    contrast = levels[:, 1] - levels[:, 0]
    unknowns = np.c_[levels[:, 0], np.zeros(len(levels)), levels[:, 1], np.zeros(len(levels)), offset,
                     np.full(len(levels), 0.8)]
    weight = inside.astype(float)
    ridge = 1e-9 * np.eye(6)
    for _ in range(_ROUNDS):
        model, slopes = _blurred_step(unknowns, across, along)
        misfit = (light - model) * weight
        weighted = slopes * weight[..., None]
        normal_matrix = weighted.transpose(0, 2, 1) @ slopes + ridge
        gradient = slopes.transpose(0, 2, 1) @ misfit[..., None]
        step = np.linalg.solve(normal_matrix, gradient)[..., 0]
        step[:, 4] = np.clip(step[:, 4], -1.0, 1.0)
        step[:, 5] = np.clip(step[:, 5], -0.4, 0.4)
        unknowns = unknowns + step
        unknowns[:, 4] = np.clip(unknowns[:, 4], -reach, reach)
        unknowns[:, 5] = np.clip(unknowns[:, 5], _BLUR_LEAST, _BLUR_MOST)
    model, slopes = _blurred_step(unknowns, across, along)
    freedom = np.maximum(weight.sum(axis=1) - 6, 1)
    variance = (((light - model) * weight) ** 2).sum(axis=1) / freedom
    covariance = np.linalg.inv((slopes * weight[..., None]).transpose(0, 2, 1) @ slopes + ridge)
    sigma = np.sqrt(np.maximum(variance * covariance[:, 4, 4], 1e-12))
    height = (unknowns[:, 2] - unknowns[:, 0]) * np.sign(contrast)
    ok = (enough & (height > 4 * np.sqrt(variance)) & (height > 0.5 * np.abs(contrast))
          & (np.abs(unknowns[:, 4]) < 0.85 * reach) & (sigma < 0.5))
    return EdgeOffsets(unknowns[:, 4], sigma, unknowns[:, 5], unknowns[:, 0], unknowns[:, 2], ok)


def _pixels_around(
    grey: ImageArray, starts: FloatArray, ends: FloatArray, normals: FloatArray, reach: float
) -> tuple[FloatArray, FloatArray, FloatArray, NDArray[np.bool_]]:
    """Pixels near each piece: linear light, distance across, place along (-1 to 1), inside or not; each (S, n).

    Whole columns (or rows, for steep pieces) of pixels centred on the edge, so
    that no pixel is counted twice and none between two pieces is shared.
    """
    span = ends - starts
    steep = np.abs(span[:, 1]) > np.abs(span[:, 0])
    main = np.where(steep, 1, 0)
    rows = np.arange(len(starts))
    low = np.minimum(starts[rows, main], ends[rows, main])
    high = np.maximum(starts[rows, main], ends[rows, main])
    first = np.ceil(low)
    count = int(max(1, np.floor(high - first).max() + 1)) if len(starts) else 1
    half = int(np.ceil(reach * np.sqrt(2))) + 1
    line = first[:, None] + np.arange(count)  # (S, C) along the main axis
    slope = span[rows, 1 - main] / np.where(span[rows, main] == 0, 1.0, span[rows, main])
    middle = np.round(starts[rows, 1 - main][:, None] + (line - starts[rows, main][:, None]) * slope[:, None])
    other = middle[..., None] + np.arange(-half, half + 1)  # (S, C, K)
    line3 = np.broadcast_to(line[..., None], other.shape)
    x = np.where(steep[:, None, None], other, line3).reshape(len(starts), -1)
    y = np.where(steep[:, None, None], line3, other).reshape(len(starts), -1)
    centre = (starts + ends) / 2
    length = np.maximum(np.hypot(*span.T), 1e-9)
    dx, dy = x - centre[:, :1], y - centre[:, 1:]
    across = dx * normals[:, :1] + dy * normals[:, 1:]
    along = (dx * span[:, :1] + dy * span[:, 1:]) / (length**2 / 2)[:, None]
    height, width = grey.shape
    inside = ((np.abs(across) <= reach) & (np.abs(along) <= 1.0)
              & (x >= 0) & (y >= 0) & (x <= width - 1) & (y <= height - 1))
    light = LINEAR_LIGHT[grey[np.clip(y, 0, height - 1).astype(np.intp), np.clip(x, 0, width - 1).astype(np.intp)]]
    return light.astype(float), across, along, inside


def _steepest(light: FloatArray, across: FloatArray, inside: NDArray[np.bool_], reach: float) -> FloatArray:
    """Where the light changes most from one side to the other, to the pixel, shape (S,). [px]"""
    offsets = np.arange(-int(reach - 1.5), int(reach - 1.5) + 1, dtype=float)
    change = np.stack([np.abs(np.subtract(*_levels_beside(light, across - o, inside, 2.5).T)) for o in offsets], 1)
    change *= 1 - 0.02 * np.abs(offsets)  # of equals, the nearest
    return np.asarray(offsets[np.argmax(change, axis=1)])


def _levels_beside(light: FloatArray, across: FloatArray, inside: NDArray[np.bool_], wide: float = np.inf
                   ) -> FloatArray:
    """Mean light before and beyond an edge at zero, up to `wide` pixels from it, shape (S, 2)."""
    before = inside & (across < -0.5) & (across > -wide)
    beyond = inside & (across > 0.5) & (across < wide)
    return np.stack([(light * before).sum(1) / np.maximum(before.sum(1), 1),
                 (light * beyond).sum(1) / np.maximum(beyond.sum(1), 1)], axis=1)


def _blurred_step(unknowns: FloatArray, across: FloatArray, along: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The model and its derivatives, shapes (S, n) and (S, n, 6)."""
    b0, b1, w0, w1, offset, blur = (unknowns[:, i, None] for i in range(6))
    z = (across - offset) / blur
    share = normal_share(z)
    density = np.exp(-0.5 * z**2) / (np.sqrt(2 * np.pi) * blur)
    rise = (w0 - b0) + (w1 - b1) * along
    model = b0 + b1 * along + rise * share
    slopes = np.stack([1 - share, along * (1 - share), share, along * share, -rise * density, -rise * density * z], -1)
    return model, slopes
