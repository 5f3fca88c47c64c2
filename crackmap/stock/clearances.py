"""How near two shapes may come, as a function of how far one is shifted along the other.

Keys on a board are never turned, because all grain runs along it. Two shapes
that are only shifted overlap or not by one number: with B shifted by d along A,
B must lie above A by at least

    H(d) = max over x of ( top of A at x  -  foot of B at x - d )

or below it likewise. So the whole of "where may B lie beside A" is one curve a
pair of shapes, and a layout is reckoned exactly, without a raster of the board.
Where a shape is hollow in a way that no line across it shows, its outer edge
counts: that is on the safe side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.lib.stride_tricks import sliding_window_view

from crackmap.records import FloatArray

STEP = 0.25  # of positions along the board [mm]
_FINE = 0.05  # between points along an outline: no edge rises by more between two of them [mm]
_CHORD = 0.02  # of rounded corners where a gap is laid round a shape [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Silhouette:
    """Upper and lower edge of a shape in cells `STEP` wide, the first cell at `first`; each cell's extreme."""

    first: int  # [cells]
    top: FloatArray  # (M,) [mm]
    foot: FloatArray  # (M,) [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Clearance:
    """Shifts of B that would bring it too near to A: from `foot` to `top` above A's place, for each shift along."""

    first: int  # least shift at which they meet [cells]
    foot: FloatArray  # (K,) [mm]
    top: FloatArray  # (K,) [mm]


def silhouette(points: FloatArray, gap: float = 0.0) -> Silhouette:
    """The silhouette of a closed polygon (N, 2), with `gap` laid round it. [mm]"""
    shape = shapely.Polygon(points)
    if gap > 0.0:
        # Facets of the rounded corners lie inside the true ones: the chord is added.
        pieces = max(8, int(np.ceil(np.pi / 4.0 / np.arccos(1.0 - _CHORD / max(gap, 2.0 * _CHORD)))))
        shape = shapely.buffer(shape, gap + _CHORD, quad_segs=pieces)
    edge = shapely.get_coordinates(shapely.segmentize(shape.exterior, _FINE))
    cells = np.floor(edge[:, 0] / STEP).astype(int)
    first, count = int(cells.min()), int(np.ptp(cells)) + 1
    top, foot = np.full(count, -np.inf), np.full(count, np.inf)
    np.maximum.at(top, cells - first, edge[:, 1])
    np.minimum.at(foot, cells - first, edge[:, 1])
    return Silhouette(first, top + _FINE / 2.0, foot - _FINE / 2.0)


def clearance(a: Silhouette, b: Silhouette) -> Clearance:
    """Where B may not lie beside A, for every shift at which they meet."""
    m, n = len(a.top), len(b.top)

    def most(over: FloatArray, under: FloatArray) -> FloatArray:
        """max over x of over(x) - under(x - d), for each d."""
        padded = np.full(m + 2 * (n - 1), -np.inf)
        padded[n - 1 : n - 1 + m] = over
        return np.asarray((sliding_window_view(padded, n) - under).max(axis=1))

    return Clearance(a.first - b.first - (n - 1), -most(-a.foot, -b.top), most(a.top, b.foot))
