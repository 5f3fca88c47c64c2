"""Openings in the show face: knot holes, bark pockets, rot.

Three steps. What differs from the wood round it stands out (`void_cells`). Each
such blob is cut out exactly (`void_cut`, `void_lip`). Then it is judged
(`void_judge`): a hole is deep (nearly no light comes back from its darkest
part) or broken (shadow beside lit crumbs, or the bench seen through); a sound
knot, a stain or a mineral streak is evenly brown or grey.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_band import FloatArray
from crackmap.survey.edge_colour import colour_of
from crackmap.survey.void_cells import odd_cells
from crackmap.survey.void_cut import LEAST_AREA_MM2, MARGIN_MM, Blob, cut_out
from crackmap.survey.void_shapes import BoolMask, disc, wood_round

_THREADS = 2  # graph cuts at a time: OpenCV runs one on one core
_STRIDE = 4  # every so many pixels the wood is looked for
_CELL_MM = 1.2
_THICK_MM = 4.5  # of the odd cells, which smoothing widens by more than a millimetre
_LONG, _LONG_MM = 8.0, 60.0  # times its half width and at least so much: a blob that may have something joined to it
_NECK = 0.5  # of the half width: narrower is a neck
_EDGE_MM = 2.5  # nearer to the slab's edge the face's own rim is odd
# Log light of a blob's cells against the wood round it: paler and more even ones are never holes.
_LEAST_DARK = -0.7
_LEAST_RANGE = 0.8


def find_voids(image: NDArray[np.uint8], mm_per_px: float, wood: BoolMask) -> list[FloatArray]:
    """Outlines of the openings, in no particular order.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        RGB.
    mm_per_px : float
        [mm]
    wood : ndarray of bool, shape (H, W)
        The show face without what hides it.

    Returns
    -------
    list of ndarray, each (N, 2)
        Closed without repeating the first point. [px]
    """
    return [blob.outline for blob in judged_blobs(image, mm_per_px, wood) if blob.holeness > 0]


def judged_blobs(image: NDArray[np.uint8], mm_per_px: float, wood: BoolMask) -> list[Blob]:
    """Every blob that stands out from the wood and may be a hole, cut out and judged; as `find_voids`.

    `image` has shape (H, W, 3), `wood` (H, W).
    """
    rows, columns = (np.flatnonzero(wood[::_STRIDE, ::_STRIDE].any(axis=k)) * _STRIDE for k in (1, 0))
    if len(rows) == 0:
        return []
    corner = (int(columns[0]), int(rows[0]))
    of_face = (slice(corner[1], int(rows[-1]) + _STRIDE), slice(corner[0], int(columns[-1]) + _STRIDE))
    image, wood = image[of_face], wood[of_face]
    cell = max(1, int(np.ceil(_CELL_MM / mm_per_px)))
    size = (image.shape[1] // cell, image.shape[0] // cell)
    if min(size) < 8:
        return []
    pixels = cv2.resize(image[: size[1] * cell, : size[0] * cell], size, interpolation=cv2.INTER_AREA)
    pixels = np.asarray(pixels, np.uint8)
    whole = wood[cell // 2 :: cell, cell // 2 :: cell][: size[1], : size[0]]
    mm = mm_per_px * cell
    face = cv2.erode(whole.astype(np.uint8), disc(_EDGE_MM / mm + 0.5)) > 0
    if face.sum() < 100:
        return []
    odd = odd_cells(pixels, face, mm)
    likely = [
        (shape, box)
        for shape, box in _blob_boxes(odd, mm)
        if _may_be_hole(pixels, face, shape, box, mm)
    ]
    with ThreadPoolExecutor(_THREADS) as pool:
        blobs = list(pool.map(lambda place: cut_out(image, wood, odd, place, cell, mm_per_px), likely))
    return [Blob(blob.outline + corner, blob.holeness) for blob in blobs if blob is not None]


def _may_be_hole(
    pixels: NDArray[np.uint8], face: BoolMask, shape: BoolMask, box: tuple[int, int, int, int], mm: float
) -> bool:
    """Whether a blob of cells is dark or broken enough to be worth cutting out: a hole always is."""
    x, y, width, height = box
    reach = round(MARGIN_MM / mm)
    part = (slice(max(0, y - reach), y + height + reach), slice(max(0, x - reach), x + width + reach))
    shade = colour_of(pixels[part])[..., 0]
    blob = np.zeros(shade.shape, np.uint8)
    blob[y - part[0].start :, x - part[1].start :][:height, :width] = shape
    ring = wood_round(blob, face[part].view(np.uint8), mm)
    if ring.sum() < 10:
        return True
    rest = shade[blob > 0] - np.median(shade[ring])
    low, high = np.percentile(rest, [3, 97])
    return bool(low < _LEAST_DARK and high - low > _LEAST_RANGE)


def _blob_boxes(odd: BoolMask, mm_per_cell: float) -> list[tuple[BoolMask, tuple[int, int, int, int]]]:
    """Blobs thick and large enough, each with its box (x, y, width, height). [cells]"""
    thick = cv2.morphologyEx(odd.astype(np.uint8), cv2.MORPH_OPEN, disc(_THICK_MM / 2 / mm_per_cell))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(thick)
    found = []
    for k in range(1, count):
        x, y, width, height, area = (int(s) for s in stats[k])
        if area * mm_per_cell**2 >= 0.6 * LEAST_AREA_MM2:
            found.append(_body(labels[y : y + height, x : x + width] == k, (x, y), mm_per_cell))
    return found


def _body(shape: BoolMask, corner: tuple[int, int], mm_per_cell: float) -> tuple[BoolMask, tuple[int, int, int, int]]:
    """A blob, and its box, without what is joined to it by a neck: a shadow's border, a long crack."""
    padded = np.pad(shape.view(np.uint8), 1)
    deepest = float(cv2.distanceTransform(padded, cv2.DIST_L2, 5).max())
    if max(shape.shape) > _LONG * deepest and max(shape.shape) * mm_per_cell > _LONG_MM:
        opened = cv2.morphologyEx(padded, cv2.MORPH_OPEN, disc(_NECK * deepest))[1:-1, 1:-1]
        _, labels, stats, _ = cv2.connectedComponentsWithStats(opened)
        largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax()) if len(stats) > 1 else 0
        if largest:
            x, y, width, height = (int(v) for v in stats[largest, :4])
            body = np.ascontiguousarray(labels[y : y + height, x : x + width] == largest)
            return body, (corner[0] + x, corner[1] + y, width, height)
    return shape, (*corner, shape.shape[1], shape.shape[0])
