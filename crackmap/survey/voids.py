"""Openings in the show face: knot holes, bark pockets, rot.

Three steps. What differs from the wood round it stands out by its distance
from the local mean in the wood's own spread (the anomaly detector of Reed & Yu,
IEEE Trans. ASSP 38, 1990). Each such blob is cut out exactly by graph cut
(Rother, Kolmogorov & Blake, ACM Trans. Graph. 23, 2004). Then it is judged: a
hole is deep (nearly no light comes back from its darkest part) or broken
(shadow beside lit crumbs, or the bench seen through); a sound knot, a stain or
a mineral streak is evenly brown or grey.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.light import FloatImage, linear_light, shade_and_tints

BoolMask = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

_THREADS = 2  # graph cuts at a time: OpenCV runs one on one core
_STRIDE = 4  # every so many pixels the wood is looked for
_CELL_MM = 1.2
_NEIGHBOURHOOD_MM = 60.0  # over which the wood's local mean is taken
_SMOOTH_MM = 1.5
_ROUGH_MM = 2.0
_LEAST_ROUGH = 0.02  # log light
_LEAST_SPREAD = np.array([0.05, 0.02, 0.03, 0.10])  # shade, tints, log roughness: never taken as exact
_PLAIN = 3.5  # spreads: nearer to the local mean is plain wood
_ODD = 3.7  # spreads: farther may be a hole
_BRIGHTER = 0.2  # log light: sapwood and paper are odd but no holes
_THINNEST_MM = 3.0  # narrower is a crack's business
_THICK_MM = 4.5  # of the odd cells, which smoothing widens by more than a millimetre
_LEAST_AREA_MM2 = 70.0
_MARGIN_MM = 10.0  # of wood kept round a blob that is cut out
_MOST_CROP_PX = 170  # a larger crop is cut out on a reduced copy
_EDGE_MM = 2.5  # nearer to the slab's edge the face's own rim is odd
_LARGEST_ENCLOSED_MM2 = 8000.0  # bench seen through a hole; more is wood ringed by something odd
# Log light of a blob's cells against the wood round it: paler and more even ones are never holes.
_LEAST_DARK = -0.7
_LEAST_RANGE = 0.8
_SLENDER = 2.6  # length to width above which a blob that tails off or meets the edge is a crack
_LINE = 9.0  # and above this it is one in any case: no pocket is so long for its width
_RECTANGLE = 0.85  # share of its smallest rectangle that a card or block fills; an ellipse fills 0.785
_RUNS_IN_MM = 16.0  # widest crack that may run in under such a thing
_TAIL_MM = 4.0
_POCKET_SHADE = 0.9  # log light below the wood: paler is a stain or a streak
_POCKET_WIDTH_MM = 6.5  # narrower is rather a stretch of crack
_TAIL_SHARE = 0.5  # a pocket's hairline is thinner than this share of the pocket; a crack narrows slowly
_DUSTY_MM = 2.5  # half width that a pocket with no dark in it must have to be more than a streak
_LEAST_DUSTY_MM2 = 200.0
_DUSTY_SHADE = 0.25  # log light below the wood, at the median
_HALO_MM = 1.2  # stained wood round an opening, taken off a deep blob
_RIM_SHARE = 0.5  # of the way down to the dark, in the logarithm: the rim of such a blob
_DEEP = 1.5  # log light below the wood: the rim of such a blob is half way down, in the logarithm


@dataclass(frozen=True, slots=True, eq=False)
class Blob:
    """A blob cut out: its outline (N, 2) [px] and how like a hole it is, above 0 for a hole. [-]"""

    outline: FloatArray
    holeness: float


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
    """Every blob that stands out from the wood and may be a hole, cut out and judged; as `find_voids`."""
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
    colour = shade_and_tints(linear_light(np.asarray(pixels, np.uint8)))
    whole = wood[cell // 2 :: cell, cell // 2 :: cell][: size[1], : size[0]]
    mm = mm_per_px * cell
    face = cv2.erode(whole.astype(np.uint8), _disc(_EDGE_MM / mm + 0.5)) > 0
    if face.sum() < 100:
        return []
    odd = _odd_cells(colour, face, mm)
    likely = [
        (shape, box)
        for shape, box in _blob_boxes(odd, mm)
        if _may_be_hole(colour[..., 0], face, shape, box, mm)
    ]
    with ThreadPoolExecutor(_THREADS) as pool:
        blobs = list(pool.map(lambda place: _cut_out(image, wood, odd, place, cell, mm_per_px), likely))
    return [Blob(blob.outline + corner, blob.holeness) for blob in blobs if blob is not None]


def _may_be_hole(
    shade: FloatImage, face: BoolMask, shape: BoolMask, box: tuple[int, int, int, int], mm: float
) -> bool:
    """Whether a blob of cells is dark or broken enough to be worth cutting out: a hole always is."""
    x, y, width, height = box
    reach = round(_MARGIN_MM / mm)
    part = (slice(max(0, y - reach), y + height + reach), slice(max(0, x - reach), x + width + reach))
    blob = np.zeros(shade.shape, np.uint8)[part]
    blob[y - part[0].start :, x - part[1].start :][:height, :width] = shape
    ring = _ring(blob, face[part].view(np.uint8), mm)
    if ring.sum() < 10:
        return True
    rest = shade[part][blob > 0] - np.median(shade[part][ring])
    low, high = np.percentile(rest, [3, 97])
    return bool(low < _LEAST_DARK and high - low > _LEAST_RANGE)


def _odd_cells(colour: FloatImage, face: BoolMask, mm_per_cell: float) -> BoolMask:
    """Cells unlike the wood round them and no brighter, with what they enclose."""
    planes = [cv2.GaussianBlur(plane, (0, 0), _SMOOTH_MM / mm_per_cell) for plane in cv2.split(colour)]
    fine = cv2.absdiff(np.ascontiguousarray(colour[..., 0]), planes[0])
    rough = cv2.GaussianBlur(fine, (0, 0), _ROUGH_MM / mm_per_cell)
    planes.append(cv2.log(rough + np.float32(_LEAST_ROUGH)))
    plain = face.astype(np.float32)
    for _ in range(3):
        rest = [plane - _local_mean(plane, plain, mm_per_cell) for plane in planes]
        known = plain[::3, ::3] > 0
        spread = np.cov([plane[::3, ::3][known] for plane in rest]) + np.diag(_LEAST_SPREAD**2)
        whiten = np.linalg.inv(np.linalg.cholesky(spread)).astype(np.float32)
        square = np.zeros_like(plain)
        for row in whiten:
            white = rest[0] * row[0]
            for plane, weight in zip(rest[1:], row[1:], strict=True):
                white = cv2.scaleAdd(plane, float(weight), white)
            square = cv2.accumulateSquare(white, square)
        distance = cv2.GaussianBlur(cv2.sqrt(square), (0, 0), 1.0 / mm_per_cell)
        plain = (face & (distance < _PLAIN)).astype(np.float32)
    odd = (face & (distance > _ODD) & (rest[0] < _BRIGHTER)).astype(np.uint8)
    join = _disc(_THINNEST_MM / 2 / mm_per_cell)
    joined = cv2.morphologyEx(odd, cv2.MORPH_CLOSE, join)
    return _holes_filled(joined, _LARGEST_ENCLOSED_MM2 / mm_per_cell**2) > 0


def _local_mean(plane: FloatImage, plain: FloatImage, mm_per_cell: float) -> FloatImage:
    """Mean of the plain cells over the neighbourhood, worked out on every fourth cell: it changes slowly."""
    small = (-(-plane.shape[1] // 4), -(-plane.shape[0] // 4))
    window = round(_NEIGHBOURHOOD_MM / mm_per_cell / 4) | 1
    total, share = (
        cv2.blur(cv2.resize(values, small, interpolation=cv2.INTER_AREA), (window, window))
        for values in (plane * plain, plain)
    )
    mean = total / cv2.max(share, 1e-4)
    return np.asarray(cv2.resize(mean, plane.shape[::-1], interpolation=cv2.INTER_LINEAR), np.float32)


def _blob_boxes(odd: BoolMask, mm_per_cell: float) -> list[tuple[BoolMask, tuple[int, int, int, int]]]:
    """Blobs thick and large enough, each with its box (x, y, width, height). [cells]"""
    thick = cv2.morphologyEx(odd.astype(np.uint8), cv2.MORPH_OPEN, _disc(_THICK_MM / 2 / mm_per_cell))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(thick)
    found = []
    for k in range(1, count):
        x, y, width, height, area = (int(s) for s in stats[k])
        if area * mm_per_cell**2 >= 0.6 * _LEAST_AREA_MM2:
            found.append((labels[y : y + height, x : x + width] == k, (x, y, width, height)))
    return found


def _cut_out(
    image: NDArray[np.uint8],
    wood: BoolMask,
    odd: BoolMask,
    box: tuple[BoolMask, tuple[int, int, int, int]],
    cell: int,
    mm_per_px: float,
) -> Blob | None:
    """One blob cut out of the picture at full resolution and judged; None where nothing is left of it."""
    shape, (x, y, width, height) = box
    margin = round(_MARGIN_MM / mm_per_px)
    x0, y0 = max(0, x * cell - margin), max(0, y * cell - margin)
    x1, y1 = (
        min(image.shape[1], (x + width) * cell + margin),
        min(image.shape[0], (y + height) * cell + margin),
    )
    reduce = max(1.0, max(x1 - x0, y1 - y0) / _MOST_CROP_PX)
    size = (round((x1 - x0) / reduce), round((y1 - y0) / reduce))
    crop = cv2.resize(image[y0:y1, x0:x1], size, interpolation=cv2.INTER_AREA)
    allowed = cv2.resize(wood[y0:y1, x0:x1].astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    rough = np.zeros(((y1 - y0), (x1 - x0)), np.uint8)
    big = cv2.resize(shape.astype(np.uint8), (width * cell, height * cell), interpolation=cv2.INTER_NEAREST)
    rough[y * cell - y0 :, x * cell - x0 :][: big.shape[0], : big.shape[1]] = big[: rough.shape[0], : rough.shape[1]]
    rough = cv2.resize(rough, size, interpolation=cv2.INTER_NEAREST)
    mm = mm_per_px * reduce
    cells = odd[y0 // cell : -(-y1 // cell), x0 // cell : -(-x1 // cell)].astype(np.uint8)
    rough_all = cv2.resize(cells, size, interpolation=cv2.INTER_NEAREST)
    cut = _graph_cut(crop, rough, allowed, mm)
    outlines, _ = cv2.findContours(cut, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        return None
    outline = max(outlines, key=cv2.contourArea)
    if cv2.contourArea(outline) * mm**2 < _LEAST_AREA_MM2:
        return None
    inside = np.zeros_like(cut)
    cv2.drawContours(inside, [outline], -1, 1, cv2.FILLED)
    points = (_rim_of(inside) + 0.5) * reduce - 0.5 + [x0, y0]
    if _is_crack(outline[:, 0], inside, rough_all, allowed, mm) or _is_rectangle(inside, mm):
        return None
    return Blob(points, _holeness(crop, inside, allowed, mm))


def _rim_of(inside: NDArray[np.uint8]) -> FloatArray:
    """Outline between the pixels inside and outside, not through the middles of the last ones inside."""
    fine = 4
    big = cv2.resize(np.pad(inside, 1).astype(np.float32), None, fx=fine, fy=fine, interpolation=cv2.INTER_LINEAR)
    outlines, _ = cv2.findContours((big > 0.5).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(outlines, key=cv2.contourArea)[:, 0].astype(float)
    return np.asarray((longest + 0.5) / fine - 0.5 - 1)


def _is_crack(
    outline: NDArray[np.int32],
    inside: NDArray[np.uint8],
    odd: NDArray[np.uint8],
    allowed: NDArray[np.uint8],
    mm: float,
) -> bool:
    """A very slender blob, or a slender one that tails off into a line or meets the edge: the wide part of a crack."""
    length = max(cv2.minAreaRect(outline)[1])
    width = 2 * float(cv2.distanceTransform(np.pad(inside, 1), cv2.DIST_L2, 5).max())
    if length < _SLENDER * width:
        return False
    if length > _LINE * width:
        return True
    beyond = cv2.dilate(inside, _disc(_TAIL_MM / mm)) == 0
    if not allowed[~beyond].all():
        return True
    _, labels = cv2.connectedComponents(odd)
    own = np.isin(labels, np.unique(labels[(inside > 0) & (labels > 0)])) & (labels > 0)
    thickness = cv2.distanceTransform(np.pad(own.astype(np.uint8), 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    tail = thickness[beyond & own]
    return len(tail) > 0 and float(tail.max()) > _TAIL_SHARE * float(thickness[inside > 0].max())


def _is_rectangle(inside: NDArray[np.uint8], mm: float) -> bool:
    """A card, box or block that lies on the slab: nothing grown has four straight sides.

    A crack that runs in under it is taken off first.
    """
    solid = cv2.morphologyEx(inside, cv2.MORPH_OPEN, _disc(_RUNS_IN_MM / 2 / mm))
    outlines, _ = cv2.findContours(solid, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        return False
    largest = max(outlines, key=cv2.contourArea)
    width, height = cv2.minAreaRect(largest)[1]
    return bool(cv2.contourArea(largest) > _RECTANGLE * width * height)


def _graph_cut(
    crop: NDArray[np.uint8], rough: NDArray[np.uint8], allowed: NDArray[np.uint8], mm: float
) -> NDArray[np.uint8]:
    """The blob's own pixels, thin tails (cracks that run into it) taken off."""
    near = cv2.dilate(rough, _disc(3.0 / mm))
    labels = np.full(rough.shape, cv2.GC_BGD, np.uint8)
    labels[near > 0] = cv2.GC_PR_BGD
    labels[rough > 0] = cv2.GC_PR_FGD
    labels[allowed == 0] = cv2.GC_BGD
    if not (labels == cv2.GC_PR_FGD).any() or (labels == cv2.GC_PR_FGD).all():
        return np.zeros_like(rough)
    cv2.setRNGSeed(1)
    cv2.grabCut(crop, labels, None, np.zeros((1, 65)), np.zeros((1, 65)), 3, cv2.GC_INIT_WITH_MASK)
    cut = ((labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD)).astype(np.uint8)
    shade = shade_and_tints(linear_light(crop))[..., 0]
    allowed = (allowed > 0).astype(np.uint8)
    for attempt in (_without_halo(shade, cut, allowed, mm), _dark_part(shade, rough & allowed, allowed, mm)):
        solid = _solid(attempt, mm)
        if solid.sum() * mm**2 >= _LEAST_AREA_MM2:
            return solid
    return _dusty(shade, rough & allowed, mm)


def _solid(cut: NDArray[np.uint8], mm: float) -> NDArray[np.uint8]:
    """Small gaps closed, what is enclosed taken in, thin tails (cracks that run in) taken off."""
    closed = cv2.morphologyEx(cut, cv2.MORPH_CLOSE, _disc(1.0 / mm))
    filled = _holes_filled(closed, _LARGEST_ENCLOSED_MM2 / mm**2)
    return np.asarray(cv2.morphologyEx(filled, cv2.MORPH_OPEN, _disc(_THINNEST_MM / 2 / mm)), np.uint8)


def _dark_part(shade: FloatImage, rough: NDArray[np.uint8], allowed: NDArray[np.uint8], mm: float) -> NDArray[np.uint8]:
    """Where a deep blob is darker than half way down, in the logarithm."""
    ring = _ring(rough, allowed, mm)
    if not ring.any() or not rough.any():
        return np.zeros_like(rough)
    wood, dark = float(np.median(shade[ring])), float(np.percentile(shade[rough > 0], 10))
    return rough & (shade < (wood + dark) / 2) if dark < wood - _DEEP else np.zeros_like(rough)


def _dusty(shade: FloatImage, rough: NDArray[np.uint8], mm: float) -> NDArray[np.uint8]:
    """A pocket full of dust has the wood's own colours: then the blob itself is its outline, if it is
    a thick one and darker throughout, not a thin line in sound wood."""
    nothing = np.zeros_like(rough)
    thick = cv2.morphologyEx(rough, cv2.MORPH_OPEN, _disc(_DUSTY_MM / mm))
    ring = _ring(rough, np.ones_like(rough), mm)
    if not ring.any() or thick.sum() < 0.6 * rough.sum() or thick.sum() * mm**2 < _LEAST_DUSTY_MM2:
        return nothing
    deepest, middle = np.percentile(shade[thick > 0], [10, 50]) - np.median(shade[ring])
    return thick if deepest > -_DEEP and middle < -_DUSTY_SHADE else nothing


def _ring(inside: NDArray[np.uint8], allowed: NDArray[np.uint8], mm: float) -> BoolMask:
    """Wood round a blob, clear of its halo."""
    far, near = (cv2.dilate(inside, _disc(reach / mm)) > 0 for reach in (8.0, 2.0))
    return np.asarray(far & ~near & (allowed > 0))


def _without_halo(
    shade: FloatImage, cut: NDArray[np.uint8], allowed: NDArray[np.uint8], mm: float
) -> NDArray[np.uint8]:
    """A deep blob without the stained wood at its rim; a shallow one as it is."""
    ring = _ring(cut, allowed, mm)
    if ring.sum() < 20 or not cut.any():
        return cut
    wood, dark = float(np.median(shade[ring])), float(np.percentile(shade[cut > 0], 25))
    if dark > wood - _DEEP:
        return cut
    rim = cv2.dilate(1 - cut, _disc(_HALO_MM / mm)) > 0
    return np.asarray(cut & ~(rim & (shade > wood + _RIM_SHARE * (dark - wood))), np.uint8)


def _holeness(crop: NDArray[np.uint8], inside: NDArray[np.uint8], allowed: NDArray[np.uint8], mm: float) -> float:
    """How like a hole, above 0 for one: depth and brokenness against evenness and colour. [-]"""
    colour = shade_and_tints(linear_light(crop))
    ring = _ring(inside, allowed, mm)
    core = cv2.erode(inside, _disc(0.5 / mm)) > 0
    if ring.sum() < 20 or core.sum() < 20:
        return -1.0
    rest = colour[core] - np.median(colour[ring], axis=0)
    deepest, low, high = np.percentile(rest[:, 0], [5, 25, 75])
    fine = colour[..., 0] - cv2.GaussianBlur(colour[..., 0], (0, 0), 2.0 / mm)
    broken = min(high - low, 2.5 * float(np.sqrt(np.mean(fine[core] ** 2))))
    middle, browner = np.median(rest[:, :2], axis=0)
    # Bark is greyer than wood and lies along the grain; a knot is as brown and nearly round.
    grey, slender = np.clip(-browner, 0, 0.5), np.clip(_slenderness(inside) - 2.0, 0, 2)
    width = 2 * mm * float(cv2.distanceTransform(np.pad(inside, 1), cv2.DIST_L2, 5).max())
    likely = middle < -_POCKET_SHADE and width > _POCKET_WIDTH_MM
    pocket = 0.8 * grey + 0.25 * slender if likely else 0.0
    depth = 0.8 * (-deepest - 1.2)
    return float(depth + 3.0 * (broken - 0.33) + pocket - max(0.0, browner) - 0.4)


def _slenderness(inside: NDArray[np.uint8]) -> float:
    """Length to width of a blob, from its second moments. [-]"""
    spread = np.linalg.eigvalsh(np.cov(np.stack(np.nonzero(inside))))
    return float(np.sqrt(spread[1] / max(spread[0], 1e-6)))


def _holes_filled(mask: NDArray[np.uint8], largest: float) -> NDArray[np.uint8]:
    """What a blob encloses, up to `largest` pixels, belongs to it: the bench seen through a hole."""
    outlines, kin = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    out = mask.copy()
    for index, outline in enumerate(outlines):
        if kin[0][index][3] >= 0 and cv2.contourArea(outline) <= largest:
            cv2.drawContours(out, outlines, index, 1, cv2.FILLED)
    return out


def _disc(radius: float) -> NDArray[np.uint8]:
    r = max(1, round(radius))
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1)))
