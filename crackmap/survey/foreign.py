"""Things left lying on the slab: a rule, a pencil, a square.

They are told by a tint that the wood hasn't, and by straight, parallel sides
that no stain or knot has; and followed over the slab's edge.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_mixture import Mixture
from crackmap.survey.light import FloatImage

BoolMask = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

_UNLIKE = 3.5  # spreads of tint away from every kind of wood seen
_FAR_UNLIKE = 6.0  # the median of the whole thing: mineral streaks come nearer
_LEAST_WEIGHT = 0.06  # of the wood: what is rarer may be the thing itself
_DARKEST = -6.0  # yardsticks of shade below the wood: darker is a hole or a crack
_VIVID = 12.0  # spreads of tint; a gap's darkness has less colour than this
_DIMMEST = -12.0  # yardsticks of shade below the wood, of a vivid thing: darker has no colour to go by
_MOST_WANDER = 0.2  # of the width: how far sides may leave two straight parallel lines, at the median
_LEAST_AREA_MM2 = 250.0
_LEAST_SLENDERNESS = 3.0  # length to width; sheets and cards are the scale stage's to find
_LEAST_WIDTH_MM = 3.0
_MARGIN_MM = 15.0  # inside the rough slab: end paint and bark are straight strips too
_LEAST_DEPTH_MM = 30.0  # a strip that stays nearer to the edge belongs to it
# cos 15 degrees: a split that shows the bench is a straight bar too, but always
# along the grain. A rule laid along the grain is left to the crack finder.
_ALONG_GRAIN = 0.966
_GAP_MM = 8.0  # ticks and lettering parted by less are one thing
_RIM_MM = 3.0  # a thing's own shadow and soft edge


def things_on_slab(
    features: FloatImage,
    slab: BoolMask,
    hidden: BoolMask,
    wood: Mixture,
    grain: FloatArray,
    mm_per_cell: float,
) -> BoolMask:
    """Where slender, straight-sided things lie on the slab, and on beyond its edge.

    Parameters
    ----------
    features : ndarray of float32, shape (h, w, >=3)
        Shade and tints of each cell, in yardsticks.
    slab, hidden : ndarray of bool, shape (h, w)
        The slab as roughly found; what is known to lie on it.
    wood : Mixture
    grain : ndarray, shape (2,)
        Unit vector along the grain, (x, y).
    mm_per_cell : float
        [mm]
    """
    shade = float(np.average(wood.means[:, 0], weights=wood.weights))
    depth = cv2.distanceTransform(np.pad(slab.astype(np.uint8), 1), cv2.DIST_L2, 3)[1:-1, 1:-1] * mm_per_cell
    inner = (depth > _MARGIN_MM) & ~hidden
    distance = np.zeros(slab.shape, np.float32)
    distance[inner] = _tint_distance(features[inner], wood)
    light = features[..., 0]
    odd = (distance > _UNLIKE) & inner & ((light > shade + _DARKEST) | (distance > _VIVID) & (light > shade + _DIMMEST))
    gap = max(1, round(_GAP_MM / mm_per_cell / 2))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * gap + 1, 2 * gap + 1))
    joined = cv2.morphologyEx(odd.astype(np.uint8), cv2.MORPH_CLOSE, disc)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined)
    mask = np.zeros(slab.shape, np.uint8)
    for k in range(1, count):
        x, y, width, height, area = stats[k]
        if area * mm_per_cell**2 >= _LEAST_AREA_MM2:
            rows, columns = np.nonzero(labels[y : y + height, x : x + width] == k)
            at = (rows + y, columns + x)
            if np.median(distance[at]) < _FAR_UNLIKE or depth[at].max() < _LEAST_DEPTH_MM:
                continue
            bar = _as_bar(np.stack([columns + x, rows + y], axis=1).astype(float), mm_per_cell)
            if bar is not None and abs(bar[1] @ grain) < _ALONG_GRAIN:
                _paint_bar(mask, features, *bar)
    rim = max(1, round(_RIM_MM / mm_per_cell))
    return np.asarray(cv2.dilate(mask, np.ones((2 * rim + 1, 2 * rim + 1), np.uint8)), bool)


def _as_bar(cells: FloatArray, mm_per_cell: float) -> tuple[FloatArray, FloatArray, float, float] | None:
    """Middle, direction, half length and half width of a bar [cells], or None for another shape."""
    middle = cells.mean(axis=0)
    _, _, directions = np.linalg.svd(cells - middle, full_matrices=False)
    along, across = (cells - middle) @ directions[0], (cells - middle) @ directions[1]
    begin, end = np.percentile(along, [1, 99])
    station = np.floor(along - begin).astype(int)
    count = int(end - begin)
    if count < 8:
        return None
    inside = (station >= 0) & (station < count)
    station, across = station[inside], across[inside]
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, station, across)
    np.maximum.at(high, station, across)
    trim = slice(count // 10, count - count // 10)
    low, high = low[trim], high[trim]
    if not np.isfinite(low).all():
        return None
    width = float(np.median(high - low)) + 1
    sides = (float(np.median(np.abs(side - np.median(side)))) for side in (low, high))
    slender = count >= _LEAST_SLENDERNESS * width and width * mm_per_cell >= _LEAST_WIDTH_MM
    if not slender or max(sides) > _MOST_WANDER * width / 2 + 0.5:
        return None
    centre = middle + directions[0] * (begin + end) / 2 + directions[1] * float(np.median(low + high)) / 2
    return centre, directions[0], (end - begin) / 2, width / 2


def _paint_bar(
    mask: NDArray[np.uint8],
    features: FloatImage,
    middle: FloatArray,
    axis: FloatArray,
    half_length: float,
    half_width: float,
) -> None:
    """Mark a bar, followed to both sides for as long as its own colours go on."""
    side = np.array([-axis[1], axis[0]])
    across = np.arange(-half_width + 1, half_width - 0.5) if half_width > 1.5 else np.zeros(1)
    limit = int(np.hypot(*mask.shape))
    run = np.arange(-limit, limit + 1)
    place = middle + run[:, None, None] * axis + across[None, :, None] * side
    colours = cv2.remap(
        features[..., :3],
        place[..., 0].astype(np.float32),
        place[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(99, 99, 99),
    )
    own = colours[np.abs(run) <= half_length * 0.9].reshape(-1, 3)
    centre = np.median(own, axis=0)
    spread = 1.5 * np.median(np.abs(own - centre), axis=0) + 0.5
    alike = (np.abs(colours - centre) < 2.5 * spread).all(axis=-1).mean(axis=1) > 0.5
    steady = cv2.blur(alike.astype(np.float32).reshape(-1, 1), (1, 5)).ravel() > 0.5
    ends = []
    for sign in (-1, 1):
        end = limit + sign * int(half_length)
        while 0 < end < len(steady) - 1 and steady[end + sign]:
            end += sign
        ends.append(run[end])
    corners = [
        middle + e * axis + w * side
        for e, w in (
            (ends[0], -half_width),
            (ends[1], -half_width),
            (ends[1], half_width),
            (ends[0], half_width),
        )
    ]
    cv2.fillPoly(mask, [np.round(corners).astype(np.int32)], 1)


def _tint_distance(features: FloatImage, mixture: Mixture) -> FloatImage:
    """Spreads between the tints of cells (N, >=3) and the nearest common component's, shape (N,)."""
    tints = features[:, 1:3]
    nearest = np.full(len(tints), np.inf, np.float32)
    for weight, mean, covariance in zip(mixture.weights, mixture.means, mixture.covariances, strict=True):
        if weight < min(_LEAST_WEIGHT, mixture.weights.max()):
            continue
        whiten = np.linalg.inv(np.linalg.cholesky(covariance[1:3, 1:3])).astype(np.float32)
        white = (tints - mean[1:3].astype(np.float32)) @ whiten.T
        np.minimum(nearest, (white * white).sum(axis=1), out=nearest)
    return np.sqrt(nearest)
