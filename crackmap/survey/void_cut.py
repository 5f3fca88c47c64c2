"""One odd blob cut out of the wood round it: by graph cut, then on its lip.

Graph cut: Rother, Kolmogorov & Blake, ACM Trans. Graph. 23, 2004. A crack that
runs past or into an opening is no part of it: it is a thin dark line that goes
on beyond, and is taken off.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from crackmap.survey.edge_band import FloatArray
from crackmap.survey.edge_colour import colour_of
from crackmap.survey.light import FloatImage
from crackmap.survey.void_judge import holeness, is_crack, is_rectangle, is_thin_or_pale
from crackmap.survey.void_lip import exact_lip
from crackmap.survey.void_shapes import BoolMask, Mask, disc, longest, made_solid, widest, wood_round

LEAST_AREA_MM2 = 70.0
MARGIN_MM = 10.0  # of wood kept round a blob that is cut out
_MOST_CROP_PX = 130  # a larger crop is cut out on a reduced copy
_CUT_STEPS = 2
_PROMISING = 0.5  # log light below the wood, over an area as thick as an opening: else no cut is tried
_PROMISING_SHARE = 0.7  # of the least area
_HALO_MM = 1.2  # stained wood round an opening, taken off a deep blob
_RIM_SHARE = 0.5  # of the way down to the dark, in the logarithm: the rim of such a blob
_DEEP = 1.5  # log light below the wood: the rim of such a blob is half way down, in the logarithm
_DUSTY_MM = 2.5  # half width that a pocket with no dark in it must have to be more than a streak
_LEAST_DUSTY_MM2 = 200.0
_DUSTY_SHARE = 0.6  # of the blob that is so thick and no line
_DUSTY_SHADE = 0.25  # log light below the wood, at the median
_ARM = 0.45  # of the half width: what is narrower is an arm
_ARM_REACH_MM = 1.0  # beyond what rounding a corner takes off
_ROUNDISH = 2.0  # length to width of a body that may have arms
_GOES_ON_MM = 3.0  # past the arm's end, where a crack is still dark and a stain is not
_LINE_MM = 2.0  # half width of the widest crack that is taken off a blob that it passes
_LINE_STEP = 0.5  # log light below both sides
_LINE_BEYOND_MM = 8.0  # that it goes on for outside the blob
_LINE_SHARE = 0.5  # of it that lies outside: in a broken floor there are thin shadows too
_LINE_RIM_MM = 0.8
_LEAST_LINE_MM = 0.6  # wide at least


@dataclass(frozen=True, slots=True, eq=False)
class Blob:
    """A blob cut out: its outline (N, 2) [px] and how like a hole it is, above 0 for a hole. [-]"""

    outline: FloatArray
    holeness: float


@dataclass(frozen=True, slots=True, eq=False)
class _Crop:
    """A piece of the picture on a copy reduced so many times, and the blob's odd cells on it."""

    pixels: NDArray[np.uint8]
    allowed: Mask
    rough: Mask  # this blob
    odd: Mask  # all odd cells
    corner: tuple[int, int]  # of the piece in the picture [px]
    reduce: float
    mm: float  # of a pixel of the copy

    def to_picture(self, points: FloatArray) -> FloatArray:
        """Points (N, 2) of the copy on the picture. [px]"""
        return (points + 0.5) * self.reduce - 0.5 + self.corner


def cut_out(
    image: NDArray[np.uint8],
    wood: BoolMask,
    odd: BoolMask,
    place: tuple[BoolMask, tuple[int, int, int, int]],
    cell: int,
    mm_per_px: float,
) -> Blob | None:
    """One blob cut out of the picture and judged; None where nothing is left of it.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
    wood : ndarray of bool, shape (H, W)
    odd : ndarray of bool, shape (h, w)
        All odd cells.
    place : tuple
        The blob's own cells, and their box (x, y, width, height). [cells]
    cell : int
        Side of a cell. [px]
    mm_per_px : float
        [mm]
    """
    crop = _cropped(image, wood, odd, place, cell, mm_per_px)
    shade = colour_of(crop.pixels)[..., 0]
    if not _is_promising(shade, crop):
        return None
    inside = _largest(_cut(crop, shade))
    if inside is None or is_crack(inside, crop.odd, crop.allowed, crop.mm) or is_rectangle(inside, crop.mm):
        return None
    score = holeness(crop.pixels, inside, crop.allowed, crop.mm)
    outline = crop.to_picture(_rim_of(inside))
    if score <= 0:
        return Blob(outline, score)
    lip = exact_lip(outline, image, mm_per_px, wood)
    drawn = Polygon(lip.outline)
    if drawn.area * mm_per_px**2 < LEAST_AREA_MM2 or is_thin_or_pale(image, lip.outline, mm_per_px):
        return None
    return Blob(lip.outline, score)


def _cropped(
    image: NDArray[np.uint8],
    wood: BoolMask,
    odd: BoolMask,
    place: tuple[BoolMask, tuple[int, int, int, int]],
    cell: int,
    mm_per_px: float,
) -> _Crop:
    shape, (x, y, width, height) = place
    margin = round(MARGIN_MM / mm_per_px)
    x0, y0 = max(0, x * cell - margin), max(0, y * cell - margin)
    x1 = min(image.shape[1], (x + width) * cell + margin)
    y1 = min(image.shape[0], (y + height) * cell + margin)
    reduce = max(1.0, max(x1 - x0, y1 - y0) / _MOST_CROP_PX)
    size = (round((x1 - x0) / reduce), round((y1 - y0) / reduce))
    pixels = cv2.resize(image[y0:y1, x0:x1], size, interpolation=cv2.INTER_AREA)
    allowed = cv2.resize(wood[y0:y1, x0:x1].view(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    rough = np.zeros(((y1 - y0), (x1 - x0)), np.uint8)
    big = cv2.resize(shape.view(np.uint8), (width * cell, height * cell), interpolation=cv2.INTER_NEAREST)
    rough[y * cell - y0 :, x * cell - x0 :][: big.shape[0], : big.shape[1]] = big[: rough.shape[0], : rough.shape[1]]
    rough = cv2.resize(rough, size, interpolation=cv2.INTER_NEAREST)
    cells = odd[y0 // cell : -(-y1 // cell), x0 // cell : -(-x1 // cell)].astype(np.uint8)
    all_odd = cv2.resize(cells, size, interpolation=cv2.INTER_NEAREST)
    return _Crop(np.asarray(pixels), allowed, rough, all_odd, (x0, y0), reduce, mm_per_px * reduce)


def _is_promising(shade: FloatImage, crop: _Crop) -> bool:
    """Whether anything as thick as an opening is darker than the wood round it."""
    ring = wood_round(crop.rough, crop.allowed, crop.mm)
    if ring.sum() < 20:
        return True
    near = cv2.dilate(crop.rough, disc(2.0 / crop.mm)) & crop.allowed
    dark = (near > 0) & (shade < float(np.median(shade[ring])) - _PROMISING)
    return bool(made_solid(dark.view(np.uint8), crop.mm).sum() * crop.mm**2 > _PROMISING_SHARE * LEAST_AREA_MM2)


def _largest(cut: tuple[Mask, float]) -> Mask | None:
    """The largest piece of a mask, filled; None where it is too small."""
    mask, mm = cut
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        return None
    outline = max(outlines, key=cv2.contourArea)
    if cv2.contourArea(outline) * mm**2 < LEAST_AREA_MM2:
        return None
    inside = np.zeros_like(mask)
    cv2.drawContours(inside, [outline], -1, 1, cv2.FILLED)
    return inside


def _cut(crop: _Crop, shade: FloatImage) -> tuple[Mask, float]:
    """The blob's own pixels, thin tails (cracks that run into it) taken off, and the mm of one."""
    mm = crop.mm
    rough = crop.rough & (1 - _passing_line(shade, crop.rough, mm))
    near = cv2.dilate(rough, disc(3.0 / mm))
    labels = np.full(rough.shape, cv2.GC_BGD, np.uint8)
    labels[near > 0] = cv2.GC_PR_BGD
    labels[rough > 0] = cv2.GC_PR_FGD
    labels[(crop.allowed == 0) | (crop.rough != rough)] = cv2.GC_BGD
    if not (labels == cv2.GC_PR_FGD).any() or (labels == cv2.GC_PR_FGD).all():
        return np.zeros_like(rough), mm
    cv2.setRNGSeed(1)
    cv2.grabCut(crop.pixels, labels, None, np.zeros((1, 65)), np.zeros((1, 65)), _CUT_STEPS, cv2.GC_INIT_WITH_MASK)
    cut = ((labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD)).astype(np.uint8)
    allowed = (crop.allowed > 0).astype(np.uint8)
    for attempt in (_without_halo(shade, cut, allowed, mm), _dark_part(shade, rough & allowed, allowed, mm)):
        solid = made_solid(attempt, mm)
        if solid.sum() * mm**2 >= LEAST_AREA_MM2:
            return _without_arms(shade, solid, allowed, mm), mm
    return _dusty(shade, rough & allowed, int(crop.rough.sum()), mm), mm


def _passing_line(shade: FloatImage, rough: Mask, mm: float) -> Mask:
    """Thin dark lines that go on beyond the blob, with their soft rims."""
    closed = cv2.morphologyEx(shade, cv2.MORPH_CLOSE, disc(_LINE_MM / mm))
    thin = (closed - shade > _LINE_STEP).astype(np.uint8)
    count, labels = cv2.connectedComponents(thin)
    outside = (thin > 0) & (cv2.dilate(rough, disc(1.0 / mm)) == 0)
    beyond, whole = (np.bincount(labels[mask > 0], minlength=count) for mask in (outside, thin))
    goes_on = ((beyond * mm**2 > _LINE_BEYOND_MM * _LEAST_LINE_MM) & (beyond > _LINE_SHARE * whole)).astype(np.uint8)
    goes_on[0] = 0
    return np.asarray(cv2.dilate(goes_on[labels], disc(_LINE_RIM_MM / mm)), np.uint8)


def _without_arms(shade: FloatImage, solid: Mask, allowed: Mask, mm: float) -> Mask:
    """A round opening without the cracks that run into it: narrow arms that go on as dark lines beyond."""
    ring = wood_round(solid, allowed, mm)
    half = widest(solid) / 2
    body = cv2.morphologyEx(np.pad(solid, 1), cv2.MORPH_OPEN, disc(_ARM * half))[1:-1, 1:-1]
    if not ring.any() or not body.any() or longest(body) > _ROUNDISH * 2 * half:  # a pocket's own ends taper
        return solid
    arms = solid & (1 - body)
    count, labels = cv2.connectedComponents(arms)
    outside = cv2.dilate(solid, disc(_GOES_ON_MM / mm)) == 0
    dark = (outside & (allowed > 0) & (shade < float(np.median(shade[ring])) - _PROMISING)).astype(np.uint8)
    near_dark = cv2.dilate(dark, disc((_GOES_ON_MM + 1.5) / mm)) > 0
    away = cv2.distanceTransform(1 - body, cv2.DIST_L2, 5)
    reach = np.zeros(count)
    np.maximum.at(reach, labels, away)
    goes_on = np.bincount(labels[near_dark], minlength=count) > 0
    cracks = (goes_on & (reach > _ARM * half + _ARM_REACH_MM / mm)).astype(np.uint8)
    cracks[0] = 0
    return np.asarray(solid & (1 - cracks[labels]))


def _dark_part(shade: FloatImage, rough: Mask, allowed: Mask, mm: float) -> Mask:
    """Where a deep blob is darker than half way down, in the logarithm."""
    ring = wood_round(rough, allowed, mm)
    if not ring.any() or not rough.any():
        return np.zeros_like(rough)
    wood, dark = float(np.median(shade[ring])), float(np.percentile(shade[rough > 0], 10))
    return rough & (shade < (wood + dark) / 2) if dark < wood - _DEEP else np.zeros_like(rough)


def _dusty(shade: FloatImage, rough: Mask, whole: int, mm: float) -> Mask:
    """A pocket full of dust has the wood's own colours: then the blob itself is its outline, if it is
    a thick one and darker throughout, not a line in sound wood. `whole` [px] is its area with lines that pass."""
    nothing = np.zeros_like(rough)
    thick = cv2.morphologyEx(rough, cv2.MORPH_OPEN, disc(_DUSTY_MM / mm))
    ring = wood_round(rough, np.ones_like(rough), mm)
    if not ring.any() or thick.sum() < _DUSTY_SHARE * whole or thick.sum() * mm**2 < _LEAST_DUSTY_MM2:
        return nothing
    deepest, middle = np.percentile(shade[thick > 0], [10, 50])
    # Darker than the wood on its darker side, too: between sapwood and heartwood all is darker than the mean.
    usual, darker = np.percentile(shade[ring], [50, 25])
    return thick if deepest > usual - _DEEP and middle < darker - _DUSTY_SHADE else nothing


def _without_halo(
    shade: FloatImage, cut: Mask, allowed: Mask, mm: float
) -> Mask:
    """A deep blob without the stained wood at its rim; a shallow one as it is."""
    ring = wood_round(cut, allowed, mm)
    if ring.sum() < 20 or not cut.any():
        return cut
    wood, dark = float(np.median(shade[ring])), float(np.percentile(shade[cut > 0], 25))
    if dark > wood - _DEEP:
        return cut
    rim = cv2.dilate(1 - cut, disc(_HALO_MM / mm)) > 0
    return np.asarray(cut & ~(rim & (shade > wood + _RIM_SHARE * (dark - wood))), np.uint8)


def _rim_of(inside: Mask) -> FloatArray:
    """Outline between the pixels inside and outside, not through the middles of the last ones inside."""
    fine = 4
    big = cv2.resize(np.pad(inside, 1).astype(np.float32), None, fx=fine, fy=fine, interpolation=cv2.INTER_LINEAR)
    outlines, _ = cv2.findContours((big > 0.5).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(outlines, key=cv2.contourArea)[:, 0].astype(float)
    return np.asarray((longest + 0.5) / fine - 0.5 - 1)
