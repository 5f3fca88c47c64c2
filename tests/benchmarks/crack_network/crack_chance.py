"""The chance that a pixel shows a crack, by a small convolutional network.

The network was fitted on the generator's pictures (tests/benchmarks/crack_network) and is
read from crack_network.onnx. It knows no sizes: it looks at pixels, and was
fitted on pictures of 0.25 to 1.1 mm a pixel.

References
----------
.. [1] O. Ronneberger, P. Fischer, T. Brox, "U-Net: Convolutional networks for
   biomedical image segmentation," MICCAI 2015, LNCS 9351, pp. 234-241: the form
   of the network, and overlapping tiles for pictures larger than memory allows.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

NETWORK_FILE = Path(__file__).with_name("crack_network.onnx")
STEP_PX = 16  # the network halves the picture four times
TILE_PX = 704  # a forward needs about 0.25 kB of memory a pixel
OVERLAP_PX = 64  # on each side of a tile: what the network sees round a pixel that matters to it
LEAST_LOG_ODDS = -8.0
_one_at_a_time = threading.Lock()


def crack_chance(
    image: NDArray[np.uint8], wood: NDArray[np.bool_] | None = None, tile_px: int = TILE_PX
) -> NDArray[np.float32]:
    """Chance of each pixel being crack.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        sRGB.
    wood : ndarray of bool, shape (H, W), optional
        Where to look; everywhere if not given. The network sees what lies round it.
    tile_px : int
        Side of the pieces that are looked at one by one, a multiple of 16. [px]

    Returns
    -------
    ndarray of float32, shape (H, W)
        0 to 1; 0 off the wood. [-]
    """
    rows, columns = image.shape[:2]
    chance = np.zeros((rows, columns), np.float32)
    tile = (_tile_side(rows, tile_px), _tile_side(columns, tile_px))
    for row, column in _corners(rows, columns, tile):
        inner = (slice(row, row + tile[0] - 2 * OVERLAP_PX), slice(column, column + tile[1] - 2 * OVERLAP_PX))
        if wood is not None and not wood[inner].any():
            continue
        odds = _log_odds(_piece(image, row - OVERLAP_PX, column - OVERLAP_PX, tile))
        kept = odds[OVERLAP_PX:-OVERLAP_PX, OVERLAP_PX:-OVERLAP_PX]
        own = chance[inner]
        own[:] = 1 / (1 + np.exp(-kept[: own.shape[0], : own.shape[1]]))
    if wood is not None:
        chance[~wood] = 0
    return chance


def _tile_side(size: int, most: int) -> int:
    """Side of a tile with its overlap: no more than the picture needs. [px]"""
    return min(most, -(-(size + 2 * OVERLAP_PX) // STEP_PX) * STEP_PX)


def _corners(rows: int, columns: int, tile: tuple[int, int]) -> Iterator[tuple[int, int]]:
    """First (row, column) of each tile's inner part, on the grid of the network's steps."""
    for row in range(0, rows, tile[0] - 2 * OVERLAP_PX):
        for column in range(0, columns, tile[1] - 2 * OVERLAP_PX):
            yield row, column


def _piece(image: NDArray[np.uint8], row: int, column: int, tile: tuple[int, int]) -> NDArray[np.uint8]:
    """The tile at (row, column); what lies off the picture mirrors it."""
    low = np.array([row, column])
    size = np.array(image.shape[:2])
    first, last = np.maximum(low, 0), np.minimum(low + tile, size)
    part = image[first[0] : last[0], first[1] : last[1]]
    before, after = first - low, low + tile - last
    return np.asarray(
        cv2.copyMakeBorder(part, before[0], after[0], before[1], after[1], cv2.BORDER_REFLECT_101), np.uint8
    )


def _log_odds(piece: NDArray[np.uint8]) -> NDArray[np.float32]:
    with _one_at_a_time:
        network = _network()
        network.setInput(cv2.dnn.blobFromImage(piece, 1 / 255))
        odds = network.forward()[0, 0]
    return np.asarray(np.maximum(odds, LEAST_LOG_ODDS), np.float32)


@lru_cache(maxsize=1)
def _network() -> cv2.dnn.Net:
    return cv2.dnn.readNetFromONNX(str(NETWORK_FILE))
