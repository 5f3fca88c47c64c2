"""Which points lie near which: the few questions that linking and tidying lines ask."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.survey.profile import FloatArray


class Neighbourhood:
    """Points (N, 2) that can be asked for those near others; one or more. [px]"""

    def __init__(self, points: FloatArray) -> None:
        self._points = shapely.points(points)
        self._tree = shapely.STRtree(self._points)

    def nearest(self, points: FloatArray) -> tuple[FloatArray, NDArray[np.intp]]:
        """Distance to the nearest and its number, shape (M,) each, for points (M, 2). [px]"""
        asked = shapely.points(points)
        (_, number), distance = self._tree.query_nearest(asked, return_distance=True, all_matches=False)
        return np.asarray(distance), np.asarray(number)

    def within(self, point: FloatArray, reach: float) -> NDArray[np.intp]:
        """Numbers of the points no farther than `reach` from one point (2,), in order. [px]"""
        return np.sort(self._tree.query(shapely.Point(point), predicate="dwithin", distance=reach))

    def pairs(self, reach: float) -> NDArray[np.intp]:
        """Numbers (K, 2) of all pairs no farther apart than `reach`, the smaller first, in order. [px]"""
        one, other = self._tree.query(self._points, predicate="dwithin", distance=reach)
        found = np.stack([one, other], 1)[one < other]
        return np.asarray(found[np.lexsort(found.T[::-1])])
