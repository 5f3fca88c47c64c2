"""Volumes of simple solids, used for cracks, voids and as checks of each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from crackmap.records import FloatArray

ML_PER_MM3 = 1e-3


def prismoid_volume(top_area: ArrayLike, middle_area: ArrayLike, bottom_area: ArrayLike,
                    height: ArrayLike) -> FloatArray:
    """Volume between two parallel faces by the prismoid rule, h (A1 + 4 Am + A2) / 6. [mm3]

    Exact for every solid whose cross-section is a quadratic in the height:
    prisms, wedges, pyramids, cones, spheres.

    Parameters
    ----------
    top_area, middle_area, bottom_area : array_like
        Cross-sections. [mm2]
    height : array_like
        Between the faces. [mm]
    """
    top, middle, bottom = (np.asarray(area, float) for area in (top_area, middle_area, bottom_area))
    return np.asarray(np.asarray(height, float) * (top + 4.0 * middle + bottom) / 6.0)


def tapered_volume(area: FloatArray, depth: FloatArray, wall_share: FloatArray) -> FloatArray:
    """Volume under each piece of opening whose walls close evenly downward. [mm3]

    `wall_share` is volume over area times depth: 1 for straight walls, 0.5 for
    a wedge that closes to a line. It is the prismoid rule with a bottom area of
    2 `wall_share` - 1 times the top's.

    Arrays have shape (N,).
    """
    return area * depth * wall_share


def tapered_volume_above(area: FloatArray, depth: FloatArray, wall_share: FloatArray,
                         cut: ArrayLike) -> FloatArray:
    """The part of `tapered_volume` that lies above a depth of `cut`. [mm3]

    The width falls in a straight line from the top's to 2 `wall_share` - 1 of
    it, so the part down to z is area (z - (1 - share) z^2 / depth).

    Arrays have shape (N,).
    """
    z = np.minimum(cut, depth)
    return np.asarray(area * (z - (1.0 - wall_share) * z**2 / np.maximum(depth, 1e-9)))
