"""Cells of the face that are unlike the wood round them: by their distance from the local mean, in its spread.

The anomaly detector of Reed & Yu, IEEE Trans. ASSP 38, 1990, on shade, tints and
roughness. Planes as large as the face are kept few: all else is done in strips.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_colour import colour_of
from crackmap.survey.light import FloatImage
from crackmap.survey.void_shapes import LARGEST_ENCLOSED_MM2, THINNEST_MM, BoolMask, disc, holes_filled

_NEIGHBOURHOOD_MM = 60.0  # over which the wood's local mean is taken
_SMOOTH_MM = 1.5
_ROUGH_MM = 2.0
_LEAST_ROUGH = 0.02  # log light
_LEAST_SPREAD = np.array([0.05, 0.02, 0.03, 0.10])  # shade, tints, log roughness: never taken as exact
_ROUNDS = 3  # in which what is plain is learnt
_PLAIN = 3.5  # spreads: nearer to the local mean is plain wood
_ODD = 3.7  # spreads: farther may be a hole
_BRIGHTER = 0.2  # log light: sapwood and paper are odd but no holes
_STRIP = 128  # rows of cells worked on at a time


def odd_cells(pixels: NDArray[np.uint8], face: BoolMask, mm_per_cell: float) -> BoolMask:
    """Cells unlike the wood round them and no brighter, with what they enclose.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (h, w, 3)
        RGB of the cells.
    face : ndarray of bool, shape (h, w)
        Cells of the show face in plain view.
    mm_per_cell : float
        [mm]

    Returns
    -------
    ndarray of bool, shape (h, w)
    """
    planes = _planes(pixels, mm_per_cell)
    # What plain wood looks like is learnt on every other cell, in rounds that leave out what is odd.
    small = [np.ascontiguousarray(plane[::2, ::2]) for plane in planes]
    face_small = np.ascontiguousarray(face[::2, ::2])
    plain = face_small.astype(np.float32)
    for last in range(_ROUNDS):
        means = [_local_mean(plane, plain, 2 * mm_per_cell) for plane in small]
        whiten = _whitening(small, means, plain)
        if last < _ROUNDS - 1:
            rest = [plane - cv2.resize(mean, plane.shape[::-1]) for plane, mean in zip(small, means, strict=True)]
            plain = (face_small & (_distance(rest, whiten, 2 * mm_per_cell) < _PLAIN)).astype(np.float32)
    del small
    odd = _far_off(planes, means, whiten, mm_per_cell) & face.view(np.uint8)
    joined = cv2.morphologyEx(odd, cv2.MORPH_CLOSE, disc(THINNEST_MM / 2 / mm_per_cell))
    return holes_filled(joined, LARGEST_ENCLOSED_MM2 / mm_per_cell**2) > 0


def _strips(rows: int, halo: int) -> Iterator[tuple[slice, slice, slice]]:
    """Rows of each strip, the same with a halo, and the strip's own within those."""
    for top in range(0, rows, _STRIP):
        bottom = min(top + _STRIP, rows)
        first = max(top - halo, 0)
        yield slice(top, bottom), slice(first, min(bottom + halo, rows)), slice(top - first, bottom - first)


def _planes(pixels: NDArray[np.uint8], mm_per_cell: float) -> FloatImage:
    """Shade, tints and log roughness of each cell, smoothed, (4, h, w)."""
    planes = np.empty((4, *pixels.shape[:2]), np.float32)
    halo = int(np.ceil(4 * (_SMOOTH_MM + _ROUGH_MM) / mm_per_cell))
    for strip, wide, own in _strips(pixels.shape[0], halo):
        colour = colour_of(pixels[wide])
        smooth = cv2.GaussianBlur(colour, (0, 0), _SMOOTH_MM / mm_per_cell)
        fine = cv2.absdiff(colour[..., 0], smooth[..., 0])
        rough = cv2.GaussianBlur(fine, (0, 0), _ROUGH_MM / mm_per_cell)[own]
        planes[:3, strip] = np.moveaxis(smooth[own], -1, 0)
        planes[3, strip] = cv2.log(rough + np.float32(_LEAST_ROUGH))
    return planes


def _local_mean(plane: FloatImage, plain: FloatImage, mm_per_cell: float) -> FloatImage:
    """Mean of the plain cells over the neighbourhood, on every other cell: it changes slowly."""
    small = (-(-plane.shape[1] // 2), -(-plane.shape[0] // 2))
    window = round(_NEIGHBOURHOOD_MM / mm_per_cell / 2) | 1
    total, share = (
        cv2.blur(cv2.resize(values, small, interpolation=cv2.INTER_AREA), (window, window))
        for values in (cv2.multiply(plane, plain), plain)
    )
    return np.asarray(total / cv2.max(share, 1e-4), np.float32)


def _whitening(planes: list[FloatImage], means: list[FloatImage], plain: FloatImage) -> FloatImage:
    """Takes differences from the local mean to the plain wood's own spreads."""
    known = plain[::2, ::2] > 0
    rest = [plane[::2, ::2][known] - mean[known] for plane, mean in zip(planes, means, strict=True)]
    return np.linalg.inv(np.linalg.cholesky(np.cov(rest) + np.diag(_LEAST_SPREAD**2))).astype(np.float32)


def _far_off(planes: FloatImage, means: list[FloatImage], whiten: FloatImage, mm_per_cell: float) -> NDArray[np.uint8]:
    """1 where a cell is far from the wood round it and not brighter; means on every fourth cell."""
    rows, columns = planes.shape[1:]
    out = np.empty((rows, columns), np.uint8)
    halo = int(np.ceil(4 / mm_per_cell))
    across = ((np.arange(columns, dtype=np.float32) + 0.5) / columns * means[0].shape[1] - 0.5)[None]
    down = ((np.arange(rows, dtype=np.float32) + 0.5) / rows * means[0].shape[0] - 0.5)[:, None]
    for strip, wide, own in _strips(rows, halo):
        size = (wide.stop - wide.start, columns)
        x, y = (np.ascontiguousarray(np.broadcast_to(at, size)) for at in (across, down[wide]))
        rest = [
            plane[wide] - cv2.remap(mean, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            for plane, mean in zip(planes, means, strict=True)
        ]
        out[strip] = ((_distance(rest, whiten, mm_per_cell) > _ODD) & (rest[0] < _BRIGHTER))[own]
    return out


def _distance(rest: list[FloatImage], whiten: FloatImage, mm_per_cell: float) -> FloatImage:
    """Length of the differences from the local mean, in the plain wood's spreads, a little smoothed. [-]"""
    square = np.zeros_like(rest[0])
    for k, row in enumerate(whiten):  # a lower triangle
        white = rest[0] * row[0]
        for plane, weight in zip(rest[1 : k + 1], row[1:], strict=False):
            white = cv2.scaleAdd(plane, float(weight), white)
        square = cv2.accumulateSquare(white, square)
    return np.asarray(cv2.GaussianBlur(cv2.sqrt(square), (0, 0), 1.0 / mm_per_cell), np.float32)
