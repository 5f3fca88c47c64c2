"""The chance that a pixel shows a crack, by a small convolutional network.

The network was fitted on the generator's pictures, and on some of real boards,
and is read from crack_network.onnx. It looks at half the resolution first, so
hairlines of a coarse picture need enlarging; a fine one is taken as it is.

References
----------
.. [1] O. Ronneberger, P. Fischer, T. Brox, "U-Net: Convolutional networks for
   biomedical image segmentation," MICCAI 2015, LNCS 9351, pp. 234-241: the form
   of the network, and overlapping tiles for pictures larger than memory allows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

NETWORK_FILE = Path(__file__).with_name("crack_network.onnx")
STEP_PX = 16  # the network halves the picture four times
TILE_PX = 960  # a forward needs about 0.1 kB of memory a pixel
OVERLAP_PX = 80  # on each side of a tile: what the network sees round a pixel that matters to it
# Coarser pictures are enlarged to this, at most so much: of 1, 1.25, 1.4, 1.5, 1.75 and 2, 1.4 found
# the most and drew the least that was wrong on generated photos of 0.55 to 1.4 mm a pixel.
LOOK_MM = 0.36  # [mm/px]
MOST_ENLARGED = 1.4
GRID_PX = 80  # of the tiles: at 1, 1.2 and 1.4 times the size a whole number of the network's steps


def crack_chance(
    image: NDArray[np.uint8], mm_per_px: float, wood: NDArray[np.bool_] | None = None, tile_px: int = TILE_PX
) -> NDArray[np.uint8]:
    """Chance of each pixel being crack.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        sRGB.
    mm_per_px : float
        Size of a pixel. [mm]
    wood : ndarray of bool, shape (H, W), optional
        Where to look; everywhere if not given. The network sees what lies round it.
    tile_px : int
        Side of the pieces that are looked at one by one. [px]

    Returns
    -------
    ndarray of uint8, shape (H, W)
        0 to 255 for a chance of 0 to 1; 0 off the wood. [1/255]
    """
    rows, columns = image.shape[:2]
    chance = np.zeros((rows, columns), np.uint8)
    scale = _enlargement(mm_per_px)
    network = _network()  # one for each picture: what it works in is larger than that, and goes with it
    overlap = math.ceil(OVERLAP_PX / scale)
    most = max(int(tile_px / scale - 2 * overlap) // GRID_PX, 1) * GRID_PX
    tile = (min(most, rows) + 2 * overlap, min(most, columns) + 2 * overlap)
    for row, column in _corners(rows, columns, tile, overlap):
        inner = (slice(row, row + tile[0] - 2 * overlap), slice(column, column + tile[1] - 2 * overlap))
        if wood is not None and not wood[inner].any():
            continue
        seen = _seen(network, _piece(image, row - overlap, column - overlap, tile), scale)
        kept = seen[overlap:-overlap, overlap:-overlap]
        own = chance[inner]
        own[:] = kept[: own.shape[0], : own.shape[1]]
    if wood is not None:
        chance[~wood] = 0
    return chance


def _enlargement(mm_per_px: float) -> float:
    """How much a picture is enlarged, in steps of a fifth. [-]"""
    return min(max(round(5 * mm_per_px / LOOK_MM) / 5, 1.0), MOST_ENLARGED)


def _corners(rows: int, columns: int, tile: tuple[int, int], overlap: int) -> Iterator[tuple[int, int]]:
    """First (row, column) of each tile's inner part."""
    for row in range(0, rows, tile[0] - 2 * overlap):
        for column in range(0, columns, tile[1] - 2 * overlap):
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


def _seen(network: cv2.dnn.Net, piece: NDArray[np.uint8], scale: float) -> NDArray[np.uint8]:
    """The network's chance for a piece, which it looks at enlarged by `scale`. [1/255]"""
    rows, columns = piece.shape[:2]
    if scale != 1:  # sizes are rounded, the scale is kept: all tiles look alike
        piece = np.asarray(cv2.resize(piece, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC), np.uint8)
    high, wide = piece.shape[:2]
    more = (-high % STEP_PX, -wide % STEP_PX)
    piece = np.asarray(cv2.copyMakeBorder(piece, 0, more[0], 0, more[1], cv2.BORDER_REFLECT_101), np.uint8)
    network.setInput(cv2.dnn.blobFromImage(piece, 1 / 255))
    chances = network.forward()[0]
    whole = np.empty(piece.shape[:2], np.uint8)
    side = piece.shape[0] // chances.shape[1]
    for k, part in enumerate(chances):  # of the pixels under each small one, row by row
        whole[k // side :: side, k % side :: side] = cv2.convertScaleAbs(part, alpha=255)
    if scale == 1:
        return whole[:rows, :columns]
    back = np.array([[1 / scale, 0, (1 / scale - 1) / 2], [0, 1 / scale, (1 / scale - 1) / 2]])  # pixel centres
    return np.asarray(cv2.warpAffine(whole, back, (columns, rows), flags=cv2.INTER_LINEAR), np.uint8)


def network_warnings() -> tuple[str, ...]:
    """A sentence where the network cannot be read, so that the cracks are found by lines alone; or none."""
    try:
        _network()
    except cv2.error:
        return (
            f"The crack network {NETWORK_FILE.name} cannot be read, so cracks were found by dark lines alone: more is"
            " missed and more is false; install crackmap again.",
        )
    return ()


def _network() -> cv2.dnn.Net:
    return cv2.dnn.readNetFromONNX(str(NETWORK_FILE))
