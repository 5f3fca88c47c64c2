"""A block of sample points on one level, and quick ways to the part near something."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float32 = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Slab positions of a block of samples.

    Attributes
    ----------
    x, y : ndarray of float32, shape (H, W)
        [mm]
    footprint : float
        Distance between neighbouring samples. [mm]
    """

    x: Float32
    y: Float32
    footprint: float

    def window(self, x: float, y: float, reach: float) -> tuple[slice, slice] | None:
        """Rows and columns of the samples within `reach` of a point; None if there are none. [mm]"""
        step = 8
        pad = reach + 1.5 * step * self.footprint
        near = (np.abs(self.x[::step, ::step] - np.float32(x)) < pad) & (
            np.abs(self.y[::step, ::step] - np.float32(y)) < pad
        )
        rows, columns = np.flatnonzero(near.any(1)), np.flatnonzero(near.any(0))
        if not len(rows):
            return None
        h, w = self.x.shape
        return (
            slice(max(int(rows[0] - 1) * step, 0), min(int(rows[-1] + 2) * step, h)),
            slice(max(int(columns[0] - 1) * step, 0), min(int(columns[-1] + 2) * step, w)),
        )

    def part(self, window: tuple[slice, slice]) -> Grid:
        """The samples of `window`."""
        return Grid(self.x[window], self.y[window], self.footprint)
