"""The cheapest closed path round a band: one offset a station, by dynamic programming."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_OVERLAP = 60  # stations run twice, so that where the ring is cut does not show


def closed_path(cost: NDArray[np.floating], steepest: int, stiffness: float) -> NDArray[np.int64]:
    """Index into the columns of `cost` for each row, so that the sum is least.

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
    overlap = min(len(cost) // 2, _OVERLAP)
    wrapped = np.concatenate([cost[-overlap:], cost, cost[:overlap]])
    moves = np.arange(-steepest, steepest + 1)
    price = stiffness * np.minimum(moves**2, 3.0 * np.abs(moves))
    rows, columns = wrapped.shape
    best = wrapped[0].copy()
    came = np.empty((rows, columns), np.int16)
    padded = np.full(columns + 2 * steepest, np.inf)
    windows = sliding_window_view(padded, 2 * steepest + 1)
    for row in range(1, rows):
        padded[steepest : steepest + columns] = best
        options = windows + price
        choice = options.argmin(axis=1)
        came[row] = choice - steepest
        best = options[np.arange(columns), choice] + wrapped[row]
    path = np.empty(rows, np.int64)
    path[-1] = int(best.argmin())
    for row in range(rows - 1, 0, -1):
        path[row - 1] = path[row] + came[row, path[row]]
    return path[overlap : overlap + len(cost)]
