"""What makes a blob an opening: deep or broken; not a crack's wide stretch, a card, a sound knot or a stain."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_band import FloatArray
from crackmap.survey.edge_colour import colour_of
from crackmap.survey.void_shapes import THINNEST_MM, Mask, disc, longest, widest, wood_round

_SLENDER = 2.6  # length to width above which a blob that tails off or meets the edge is a crack
_LINE = 9.0  # and above this it is one in any case: no pocket is so long for its width
_TAIL_MM = 4.0
_TAIL_SHARE = 0.5  # a pocket's hairline is thinner than this share of the pocket; a crack narrows slowly
_RECTANGLE = 0.85  # share of its smallest rectangle that a card or block fills; an ellipse fills 0.785
_RUNS_IN_MM = 16.0  # widest crack that may run in under such a thing
_POCKET_SHADE = 0.9  # log light below the wood: paler is a stain or a streak
_POCKET_WIDTH_MM = 6.5  # narrower is rather a stretch of crack
_FINE_MM = (0.6, 2.0)  # brokenness is looked for between these; finer is the camera's noise
_OFF = np.array([0.2, 0.12, 0.15], np.float32)  # shade and tints off the wood round it: less is wood
_LEAST_OFF = 0.7  # share of an opening that is so far off


def is_crack(inside: Mask, odd: Mask, allowed: Mask, mm: float) -> bool:
    """A very slender blob, or a slender one that tails off into a line or meets the edge: the wide part of a crack.

    Masks have shape (H, W).
    """
    length, width = longest(inside), widest(inside)
    if length < _SLENDER * width:
        return False
    if length > _LINE * width:
        return True
    beyond = cv2.dilate(inside, disc(_TAIL_MM / mm)) == 0
    if not allowed[~beyond].all():
        return True
    _, labels = cv2.connectedComponents(odd)
    own = np.isin(labels, np.unique(labels[(inside > 0) & (labels > 0)])) & (labels > 0)
    thickness = cv2.distanceTransform(np.pad(own.astype(np.uint8), 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    tail = thickness[beyond & own]
    return len(tail) > 0 and float(tail.max()) > _TAIL_SHARE * float(thickness[inside > 0].max())


def is_rectangle(inside: Mask, mm: float) -> bool:
    """A card, box or block that lies on the slab: nothing grown has four straight sides.

    A crack that runs in under it is taken off first.

    The mask has shape (H, W).
    """
    solid = cv2.morphologyEx(inside, cv2.MORPH_OPEN, disc(_RUNS_IN_MM / 2 / mm))
    outlines, _ = cv2.findContours(solid, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        return False
    largest = max(outlines, key=cv2.contourArea)
    width, height = cv2.minAreaRect(largest)[1]
    return bool(cv2.contourArea(largest) > _RECTANGLE * width * height)


def is_thin_or_pale(image: NDArray[np.uint8], outline: FloatArray, mm_per_px: float) -> bool:
    """Whether an outline on its lip holds little but wood, or a line: a crack, or a stain's rim.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
    outline : ndarray, shape (N, 2)
        [px]
    mm_per_px : float
        [mm]
    """
    margin = round(9.0 / mm_per_px)
    low = np.maximum(np.floor(outline.min(axis=0)).astype(int) - margin, 0)
    high = np.ceil(outline.max(axis=0)).astype(int) + margin
    crop = image[low[1] : high[1], low[0] : high[0]]
    inside = np.zeros(crop.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.round((outline - low) * 16).astype(np.int32)], 1, shift=4)
    if widest(inside) * mm_per_px < THINNEST_MM:
        return True
    colour = cv2.GaussianBlur(colour_of(crop), (0, 0), _FINE_MM[0] / mm_per_px)
    ring = wood_round(inside, np.ones_like(inside), mm_per_px)
    if not ring.any():
        return False
    off = np.abs(colour[inside > 0] - np.median(colour[ring], axis=0)) / _OFF
    return bool((off.max(axis=1) > 1).mean() < _LEAST_OFF)


def holeness(crop: NDArray[np.uint8], inside: Mask, allowed: Mask, mm: float) -> float:
    """How like a hole, above 0 for one: depth and brokenness against evenness and colour. [-]

    `crop` has shape (H, W, 3), masks (H, W).
    """
    colour = colour_of(crop)
    ring = wood_round(inside, allowed, mm)
    core = cv2.erode(inside, disc(0.5 / mm)) > 0
    if ring.sum() < 20 or core.sum() < 20:
        return -1.0
    rest = colour[core] - np.median(colour[ring], axis=0)
    deepest, low, high = np.percentile(rest[:, 0], [5, 25, 75])
    near, far = (cv2.GaussianBlur(colour[..., 0], (0, 0), reach / mm) for reach in _FINE_MM)
    fine = near - far
    broken = min(high - low, 2.5 * float(np.sqrt(np.mean(fine[core] ** 2))))
    middle, browner = np.median(rest[:, :2], axis=0)
    # Bark is greyer than wood and lies along the grain; a knot is as brown and nearly round.
    grey, slender = np.clip(-browner, 0, 0.5), np.clip(_slenderness(inside) - 2.0, 0, 2)
    width = mm * widest(inside)
    likely = middle < -_POCKET_SHADE and width > _POCKET_WIDTH_MM
    pocket = 0.8 * grey + 0.25 * slender if likely else 0.0
    depth = 0.8 * (-deepest - 1.2)
    return float(depth + 3.0 * (broken - 0.33) + pocket - max(0.0, browner) - 0.4)


def _slenderness(inside: Mask) -> float:
    """Length to width of a blob, from its second moments. [-]"""
    spread = np.linalg.eigvalsh(np.cov(np.stack(np.nonzero(inside))))
    return float(np.sqrt(spread[1] / max(spread[0], 1e-6)))
