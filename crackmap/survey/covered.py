"""What hides the wood: the markers' paper, sheets and cards lying in view."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.records import FloatArray, Reference
from crackmap.scale.mapping import Mapping

BoolMask = NDArray[np.bool_]

# Paper round a marker's black square is looked for out to this many times the
# square's side; a printed quiet zone is seldom wider. [-]
_PAPER_REACH = 2.0
# Paper is at least this share as bright as the marker's own white cells. [-]
_PAPER_BRIGHTNESS = 0.72
# Grown by this much, for the shadow and the soft rim of a sheet. [mm]
_RIM = 2.0


def covered_by_references(
    image: NDArray[np.uint8], mapping: Mapping, references: tuple[Reference, ...], mm_per_px: float
) -> BoolMask:
    """Where a marker with its paper, a sheet or a card hides the slab.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        RGB picture that `mapping` belongs to.
    mapping : Mapping
        Slab mm <-> pixels of `image`.
    references : tuple of Reference
        Things of known size in view, corners on the show face's plane. [mm]
    mm_per_px : float
        [mm]

    Returns
    -------
    ndarray of bool, shape (H, W)
    """
    mask = np.zeros(image.shape[:2], np.uint8)
    rim = max(1, round(_RIM / mm_per_px))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * rim + 1, 2 * rim + 1))
    for reference in references:
        corners = mapping.to_pixels(reference.corners_mm)
        cv2.fillPoly(mask, [np.round(corners).astype(np.int32)], 1)
        if reference.kind == "marker":
            _add_paper(mask, image, corners)
        middle = corners.mean(axis=0)
        window = _window(middle + (corners - middle) * _PAPER_REACH, image.shape, 2 * rim)
        mask[window] = cv2.dilate(mask[window], kernel)
    return mask.view(np.bool_)


def _window(points: FloatArray, shape: tuple[int, ...], margin: int) -> tuple[slice, slice]:
    """Rows and columns of a picture that points lie in, with a margin. [px]"""
    low, high = np.floor(points.min(axis=0)) - margin, np.ceil(points.max(axis=0)) + 1 + margin
    (x0, y0), (x1, y1) = (np.clip(p, 0, [shape[1], shape[0]]).astype(int) for p in (low, high))
    return slice(y0, y1), slice(x0, x1)


def _add_paper(mask: NDArray[np.uint8], image: NDArray[np.uint8], corners: FloatArray) -> None:
    """Mark the bright paper that touches a marker's black square."""
    middle = corners.mean(axis=0)
    reach = middle + (corners - middle) * _PAPER_REACH
    height, width = image.shape[:2]
    x0, y0 = np.clip(np.floor(reach.min(axis=0)).astype(int), 0, [width, height])
    x1, y1 = np.clip(np.ceil(reach.max(axis=0)).astype(int) + 1, 0, [width, height])
    if x1 - x0 < 4 or y1 - y0 < 4:
        return
    window = image[y0:y1, x0:x1]
    red, green, blue = cv2.split(window)
    darkest = cv2.min(cv2.min(red, green), blue)
    square = np.zeros(darkest.shape, np.uint8)
    cv2.fillPoly(square, [np.round(corners - [x0, y0]).astype(np.int32)], 1)
    if not square.any():
        return
    white = float(np.percentile(darkest[square > 0], 97))
    pale = (darkest > _PAPER_BRIGHTNESS * white).astype(np.uint8) | square
    _, labels = cv2.connectedComponents(cv2.morphologyEx(pale, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)))
    touching = np.unique(labels[(cv2.dilate(square, np.ones((5, 5), np.uint8)) > 0) & (labels > 0)])
    paper = np.isin(labels, touching[touching > 0]).astype(np.uint8)
    allowed = np.zeros_like(square)
    cv2.fillPoly(allowed, [np.round(reach - [x0, y0]).astype(np.int32)], 1)
    if paper[allowed == 0].any() or paper.sum() > 0.9 * allowed.sum():  # ran out into pale wood: take the usual margin
        cv2.fillPoly(
            paper := square.copy(),
            [np.round(middle + (corners - middle) * 1.4 - [x0, y0]).astype(np.int32)],
            1,
        )
    mask[y0:y1, x0:x1] |= paper
