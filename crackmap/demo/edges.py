"""The slab's edges as functions: how far inside the show face a point lies, and where the sides are."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.demo.noise import Float32, fractal, look_up, sample
from crackmap.demo.scene import EdgeLine
from crackmap.records import FloatArray, frozen_array


def _slope_cosine(table: FloatArray, pitch: float) -> NDArray[np.float64]:
    return 1 / np.hypot(1, np.gradient(table, pitch))


def inside_distance(edges: EdgeLine, x: Float32, y: Float32) -> Float32:
    """How far inside the show face's outline points lie, negative outside; exact near the edge. [mm] Any shape."""
    px, py = float(edges.x[1] - edges.x[0]), float(edges.y[1] - edges.y[0])
    along = np.c_[edges.top, _slope_cosine(edges.top, px), edges.bottom, _slope_cosine(edges.bottom, px)]
    across = np.c_[edges.left, _slope_cosine(edges.left, py), edges.right, _slope_cosine(edges.right, py)]
    a = look_up(along, edges.x[0], px, x)
    inside = np.minimum((y - a[..., 0]) * a[..., 1], (a[..., 2] - y) * a[..., 3])
    c = look_up(across, edges.y[0], py, y)
    ends = np.minimum((x - c[..., 0]) * c[..., 1], (c[..., 2] - x) * c[..., 3])
    return np.asarray(np.minimum(inside, ends), np.float32)


def _crossing(edges: EdgeLine, side: FloatArray, end: FloatArray, start: float) -> tuple[float, float]:
    """Where a long edge meets an end, by fixed-point iteration (the end is nearly square to it)."""
    x = start
    for _ in range(40):
        y = float(np.interp(x, edges.x, side))
        x = float(np.interp(y, edges.y, end))
    return x, y


def outline(edges: EdgeLine) -> FloatArray:
    """The show face's outline, (N, 2), clockwise as seen in the picture (y down), not closed. [mm]"""
    corners = {
        (s, e): _crossing(edges, side, end, float(end.mean()))
        for s, side in (("top", edges.top), ("bottom", edges.bottom))
        for e, end in (("left", edges.left), ("right", edges.right))
    }

    def long_side(name: str, side: FloatArray) -> NDArray[np.float64]:
        low, high = corners[name, "left"], corners[name, "right"]
        keep = (edges.x > low[0]) & (edges.x < high[0])
        return np.vstack([low, np.c_[edges.x[keep], side[keep]], high])

    def end_side(name: str, end: FloatArray) -> NDArray[np.float64]:
        low, high = corners["top", name], corners["bottom", name]
        keep = (edges.y > low[1]) & (edges.y < high[1])
        return np.vstack([low, np.c_[end[keep], edges.y[keep]], high])

    top, right = long_side("top", edges.top), end_side("right", edges.right)
    bottom, left = long_side("bottom", edges.bottom), end_side("left", edges.left)
    return frozen_array(np.vstack([top[:-1], right[:-1], bottom[:0:-1], left[:0:-1]]))


def bark_depth(edges: EdgeLine, x: Float32, z: Float32, side: str) -> Float32:
    """Thickness of the bark outside a live side at depth z: lumpy, thinner towards the show face. [mm] Any shape."""
    mean = edges.bark_top if side == "top" else edges.bark_bottom
    shift = np.float32(0 if side == "top" else 417)
    lumps = sample(fractal(1), x * np.float32(1 / 1.1) + shift, z * np.float32(1 / 1.6) + shift)
    slow = sample(fractal(2), x * np.float32(1 / 6.0) + shift, z * np.float32(1 / 9.0))
    thickness = mean * (0.65 + 0.3 * lumps + 0.35 * slow)
    return np.maximum(thickness, np.float32(0.05 * mean))


def outside_live(edges: EdgeLine, x: Float32, y: Float32, z: Float32) -> tuple[Float32, Float32]:
    """How far a point at depth z lies outside the slab's body, and how much of that is bark.

    All arrays have the shape of `x`.

    Returns
    -------
    outside : ndarray
        Negative inside the wood or its bark. [mm]
    in_bark : ndarray
        Distance outside the wood itself. [mm]
    """
    px, py = float(edges.x[1] - edges.x[0]), float(edges.y[1] - edges.y[0])
    a = look_up(np.c_[edges.top, edges.bottom, edges.bevel_top, edges.bevel_bottom], edges.x[0], px, x)
    rough = sample(fractal(3), x * np.float32(1 / 1.5), z * np.float32(1 / 2.0)) * np.float32(0.35)
    over_top = a[..., 0] - a[..., 2] * z - y - (rough if edges.live_top else 0)
    over_bottom = y - a[..., 1] - a[..., 3] * z - (rough if edges.live_bottom else 0)
    c = look_up(np.c_[edges.left, edges.right], edges.y[0], py, y)
    ends = np.maximum(c[..., 0] - x, x - c[..., 1])
    wood = np.maximum(over_top, over_bottom)
    bark = wood
    if edges.bark_top or edges.bark_bottom:
        bark = np.maximum(
            over_top - bark_depth(edges, x, z, "top") if edges.bark_top else over_top,
            over_bottom - bark_depth(edges, x, z, "bottom") if edges.bark_bottom else over_bottom,
        )
    return np.maximum(bark, ends), wood
