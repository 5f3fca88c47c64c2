"""Small masks: discs, rings of wood round a blob, blobs made solid."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

BoolMask = NDArray[np.bool_]
Mask = NDArray[np.uint8]

THINNEST_MM = 3.0  # narrower is a crack's business
LARGEST_ENCLOSED_MM2 = 8000.0  # bench seen through a hole; more is wood ringed by something odd
_RING_MM = (2.0, 8.0)


def disc(radius: float) -> Mask:
    """Disc for morphology, at least 3 x 3. [px]"""
    r = max(1, round(radius))
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1)))


def wood_round(inside: Mask, allowed: Mask, mm: float) -> BoolMask:
    """Wood round a blob, clear of its halo; `mm` of a pixel. Masks have shape (H, W)."""
    near, far = (cv2.dilate(inside, disc(reach / mm)) > 0 for reach in _RING_MM)
    return np.asarray(far & ~near & (allowed > 0))


def made_solid(cut: Mask, mm: float) -> Mask:
    """Small gaps closed, what is enclosed taken in, thin tails (cracks that run in) taken off.

    The mask has shape (H, W).
    """
    closed = cv2.morphologyEx(cut, cv2.MORPH_CLOSE, disc(1.0 / mm))
    filled = holes_filled(closed, LARGEST_ENCLOSED_MM2 / mm**2)
    return np.asarray(cv2.morphologyEx(filled, cv2.MORPH_OPEN, disc(THINNEST_MM / 2 / mm)), np.uint8)


def holes_filled(mask: Mask, largest: float) -> Mask:
    """What a blob encloses, up to `largest` pixels, belongs to it: the bench seen through a hole.

    The mask has shape (H, W).
    """
    outlines, kin = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    out = mask.copy()
    for index, outline in enumerate(outlines):
        if kin[0][index][3] >= 0 and cv2.contourArea(outline) <= largest:
            cv2.drawContours(out, outlines, index, 1, cv2.FILLED)
    return out


def widest(inside: Mask) -> float:
    """Width of the largest disc that a blob holds. [px] The mask has shape (H, W)."""
    return 2 * float(cv2.distanceTransform(np.pad(inside, 1), cv2.DIST_L2, 5).max())


def longest(inside: Mask) -> float:
    """Longer side of a blob's smallest rectangle. [px] The mask has shape (H, W)."""
    at = cv2.findNonZero(inside)
    return 0.0 if at is None else float(max(cv2.minAreaRect(at)[1])) + 1.0
