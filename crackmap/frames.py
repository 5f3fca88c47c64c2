"""Turning points and finding how a slab lies: used wherever a slab is laid out anew."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import ArrayLike

from crackmap.records import FloatArray


def turned(points: ArrayLike, angle_deg: float) -> FloatArray:
    """Points (N, 2) turned about the origin, anticlockwise."""
    a = np.radians(angle_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return np.asarray(np.asarray(points, float).reshape(-1, 2) @ turn)


def long_axis_of(outline: ArrayLike) -> float:
    """Direction of the longer side of the smallest rectangle round an outline (N, 2), (-90, 90] from x. [deg]"""
    box = shapely.get_coordinates(shapely.oriented_envelope(shapely.Polygon(np.asarray(outline, float))))
    sides = np.diff(box[:3], axis=0)
    x, y = sides[int(np.argmax(np.hypot(sides[:, 0], sides[:, 1])))]
    angle = float(np.degrees(np.arctan2(y, x)))
    return angle - 180.0 if angle > 90.0 else angle + 180.0 if angle <= -90.0 else angle
