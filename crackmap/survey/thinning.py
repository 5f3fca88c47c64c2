"""A mask thinned to lines one pixel wide, without a raster pass for each layer.

References
----------
.. [1] Z. Guo, R. W. Hall, "Parallel thinning with two-subiteration algorithms,"
   Communications of the ACM 32(3), 1989, 359-373: algorithm A1, which pixels may
   go. Unlike older rules it leaves slanting lines two pixels wide whole.

Notes
-----
Only pixels beside one that has just gone can become ripe to go; so after the
first look along all rims each look is at those alone, and the work grows with the
length of the rims, not with the picture.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# Neighbours clockwise from above, as (row, column). [px]
_AROUND = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))


def _ripe() -> NDArray[np.bool_]:
    """Whether a pixel may go in the first and the second half of a round, shape (2, 256), by its neighbours' bits."""
    ripe = np.zeros((2, 256), bool)
    for code in range(256):
        p = [bool(code >> k & 1) for k in range(8)]
        parts = sum(not p[k] and (p[k + 1] or p[(k + 2) % 8]) for k in (0, 2, 4, 6))  # lines that meet here
        pairs = [sum(p[(k + first) % 8] or p[(k + first + 1) % 8] for k in (0, 2, 4, 6)) for first in (-1, 0)]
        if parts == 1 and 2 <= min(pairs) <= 3:  # one alone is an end
            ripe[0, code] = not (p[6] and (p[4] or p[5] or not p[7]))
            ripe[1, code] = not (p[2] and (p[0] or p[1] or not p[3]))
    return ripe


_RIPE = _ripe()


def thinned(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The skeleton of `mask` (0 or 1), shape (H, W) as well; lines stay whole and keep their ends."""
    padded = np.pad(mask, 1)
    flat = padded.reshape(-1)
    offsets = np.array([row * padded.shape[1] + column for row, column in _AROUND])
    inner = np.flatnonzero(flat)
    codes = _codes(flat, inner, offsets)
    rim = inner[codes != 255]
    fresh = [rim, rim]  # whose surroundings have changed since each half last looked at them
    half = 0
    while len(fresh[0]) or len(fresh[1]):
        looked = fresh[half]
        gone = looked[_RIPE[half][_codes(flat, looked, offsets)]]
        flat[gone] = 0
        beside = (gone[:, None] + offsets).reshape(-1)
        beside = beside[flat[beside] > 0]
        rest = fresh[1 - half]
        fresh[half] = np.unique(beside)
        fresh[1 - half] = np.unique(np.concatenate([rest[flat[rest] > 0], beside]))
        half = 1 - half
    return np.ascontiguousarray(padded[1:-1, 1:-1])


def _codes(flat: NDArray[np.uint8], pixels: NDArray[np.int64], offsets: NDArray[np.int64]) -> NDArray[np.uint8]:
    """Bits of the neighbours of each pixel, shape (N,)."""
    code = np.zeros(len(pixels), np.uint8)
    for bit, offset in enumerate(offsets):
        code |= flat[pixels + offset] << np.uint8(bit)
    return code
