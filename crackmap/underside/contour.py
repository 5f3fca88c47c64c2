"""An outline as points with outward normals, told apart into sawn ends and sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from crackmap.records import FloatArray

STEP = 4.0  # between points [mm]
_SMOOTH = 7  # points over which a normal is taken: bark leaves the outline ragged
_FACING = 0.85  # cosine to the slab's long axis above which a stretch near its end is a sawn end [-]
_END_PART = 0.12  # of the slab's length, at either end, where sawn ends lie [-]


_SAWN = 1.2  # rms of a side from a straight line, below which it was sawn and has no bevel [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Contour:
    """Points of an outline, anticlockwise, one every STEP."""

    points: FloatArray  # (N, 2) [mm]
    normals: FloatArray  # (N, 2), unit, outward
    along: FloatArray  # (N,) place along the slab's long axis, -1 to 1 from end to end [-]
    side: NDArray[np.int8]  # (N,) 0 sawn end, +1 and -1 the two long sides


def contour_of(outline: ArrayLike) -> Contour:
    """The contour of a slab's outline, shape (N, 2). [mm]"""
    points = _evenly(np.asarray(outline, float))
    ahead, behind = np.roll(points, -_SMOOTH, axis=0), np.roll(points, _SMOOTH, axis=0)
    tangent = ahead - behind
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    normals = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    axis = long_axis(points)
    along = points @ axis
    low, high = along.min(), along.max()
    share = 2.0 * (along - low) / max(high - low, 1e-9) - 1.0
    ends = (np.abs(normals @ axis) > _FACING) & (np.abs(share) > 1.0 - 2.0 * _END_PART)
    across = normals @ np.array([-axis[1], axis[0]])
    return Contour(points, normals, share, np.where(ends, 0, np.where(across >= 0.0, 1, -1)).astype(np.int8))


def is_sawn(contour: Contour, side: int) -> bool:
    """True where a long side (+1 or -1) is as straight as a saw leaves it."""
    points = contour.points[(contour.side == side) & (np.abs(contour.along) < 1.0 - _END_PART)]
    if len(points) < 8:
        return False
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(spread[1] / np.sqrt(len(points)) < _SAWN)


def long_axis(points: FloatArray) -> FloatArray:
    """Direction of the longer side of the smallest rectangle round the points, unit, x not negative.

    `points` has shape (N, 2).
    """
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.multipoints(points)))
    sides = np.diff(corners[:3], axis=0)
    longer = sides[int(np.argmax(np.hypot(*sides.T)))]
    longer = longer / np.hypot(*longer)
    return np.asarray(longer if longer[0] >= 0.0 else -longer)


def _evenly(outline: FloatArray) -> FloatArray:
    ring = shapely.orient_polygons(shapely.Polygon(outline)).exterior
    count = max(24, round(ring.length / STEP))
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(
        ring, np.arange(count) / count, normalized=True)))
