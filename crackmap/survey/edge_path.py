"""The cheapest closed path round a band: one offset a station, by dynamic programming."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_OVERLAP = 60  # stations run twice, so that where the ring is cut does not show
# A long ring is run in pieces side by side, each begun and ended so many stations
# outside itself: what lies farther off does not reach in, and a row of all pieces
# costs little more than a row of one.
_PIECE, _LEAD = 240, 120


def closed_path(cost: NDArray[np.floating], steepest: int, stiffness: float) -> NDArray[np.int64]:
    """Index into the columns of `cost` for each row, so that the sum is least.

    Costs have no unit. [-]

    Parameters
    ----------
    cost : ndarray, shape (N, M)
        Of passing each station at each offset.
    steepest : int
        Most columns from one row to the next.
    stiffness : float
        Cost of one column's step; grows with the square at first, then evenly,
        so that a real corner is not forbidden.

    Returns
    -------
    ndarray of int, shape (N,)
    """
    count = len(cost)
    pieces = -(-count // _PIECE)
    lead = _LEAD if pieces > 1 else min(count // 2, _OVERLAP)
    length = -(-count // pieces)
    rows = (np.arange(pieces) * length)[None] + np.arange(-lead, length + lead)[:, None]
    paths = _open_paths(cost[rows % count], steepest, stiffness)
    return paths[lead : lead + length].T.ravel()[:count]


def _open_paths(cost: NDArray[np.floating], steepest: int, stiffness: float) -> NDArray[np.int64]:
    """Least paths down each piece: `cost` (N, pieces, M), paths (N, pieces)."""
    rows, pieces, columns = cost.shape
    moves = np.arange(-steepest, steepest + 1)
    price = (stiffness * np.minimum(moves**2, 3.0 * np.abs(moves))).astype(cost.dtype)
    total = np.full((rows, pieces, columns + 2 * steepest), np.inf, cost.dtype)
    least, tried = np.empty((2, pieces, columns), cost.dtype)
    total[0, :, steepest : steepest + columns] = cost[0]
    for row in range(1, rows):
        before = total[row - 1]
        least[:] = before[:, steepest : steepest + columns]
        for far in range(1, steepest + 1):
            low, high = steepest - far, steepest + far
            np.minimum(before[:, low : low + columns], before[:, high : high + columns], out=tried)
            np.add(tried, price[high], out=tried)
            np.minimum(least, tried, out=least)
        np.add(least, cost[row], out=total[row, :, steepest : steepest + columns])
    path = np.empty((rows, pieces), np.int64)
    path[-1] = total[-1].argmin(axis=1) - steepest
    every = np.arange(pieces)[:, None]
    for row in range(rows - 1, 0, -1):
        came = (total[row - 1][every, path[row, :, None] + moves + steepest] + price).argmin(axis=1)
        path[row - 1] = path[row] + came - steepest
    return path
