"""What the crack finder hands to the survey: cracks in pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class FoundCrack:
    """One unbranched crack in picture pixels; branches share an exact end point.

    Parameters
    ----------
    centreline : ndarray, shape (N, 2)
        Points (x, y), pixel centres at whole numbers, about one a pixel. [px]
    width : ndarray, shape (N,)
        Gap between the crack's lips, square to the centreline. [px]
    width_sigma : ndarray, shape (N,)
        One sigma of each width. [px]
    confidence : float
        Share of such segments that are cracks, 0 to 1. [-]
    """

    centreline: FloatArray
    width: FloatArray
    width_sigma: FloatArray
    confidence: float

    def __post_init__(self) -> None:
        for name, columns in (("centreline", 2), ("width", 0), ("width_sigma", 0)):
            array = np.array(getattr(self, name), dtype=float)
            if columns:
                array = array.reshape(-1, columns)
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def length(self) -> float:
        """Length along the centreline. [px]"""
        return float(np.hypot(*np.diff(self.centreline, axis=0).T).sum())
