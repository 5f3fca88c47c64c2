"""Openings in the show face: knot holes, bark pockets, rot."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.light import linear_light

BoolMask = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

_LEAST_AREA_MM2 = 60.0
_DEEP = 0.16  # of the wood's light round about, in the brightest channel: no sound wood is as dark
_LEAST_HALF_WIDTH_MM = 2.0  # narrower is a crack's business


def find_voids(image: NDArray[np.uint8], mm_per_px: float, wood: BoolMask) -> list[FloatArray]:
    """Outlines of the openings, largest first.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
    mm_per_px : float
        [mm]
    wood : ndarray of bool, shape (H, W)
        The show face without what hides it.

    Returns
    -------
    list of ndarray, each (N, 2)
        Closed without repeating the first point. [px]
    """
    brightest = linear_light(image.max(axis=2))
    tone = _tone(brightest, wood, max(4, round(6.0 / mm_per_px)))
    deep = ((brightest < _DEEP * tone) & wood).astype(np.uint8)
    radius = max(1, round(_LEAST_HALF_WIDTH_MM / mm_per_px))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    whole = cv2.morphologyEx(deep, cv2.MORPH_CLOSE, disc)
    whole = cv2.morphologyEx(whole, cv2.MORPH_OPEN, disc)
    outlines, _ = cv2.findContours(whole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    kept = [o for o in outlines if cv2.contourArea(o) * mm_per_px**2 >= _LEAST_AREA_MM2]
    kept.sort(key=cv2.contourArea, reverse=True)
    return [o[:, 0].astype(float) for o in kept]


def _tone(light: NDArray[np.float32], wood: BoolMask, cell: int) -> NDArray[np.float32]:
    """Median light of sound wood round each pixel, from a coarse grid."""
    size = (max(1, light.shape[1] // cell), max(1, light.shape[0] // cell))
    share = cv2.resize(wood.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    mean = cv2.resize(light * wood, size, interpolation=cv2.INTER_AREA) / np.maximum(share, 1e-3)
    overall = float(np.median(mean[share > 0.5])) if (share > 0.5).any() else 1.0
    filled = np.where(share > 0.5, mean, overall)
    codes = np.clip(np.sqrt(filled) * 255, 0, 255).astype(np.uint8)
    smooth = (cv2.medianBlur(codes, 9).astype(np.float32) / 255) ** 2
    return cv2.resize(smooth, light.shape[::-1], interpolation=cv2.INTER_LINEAR)
