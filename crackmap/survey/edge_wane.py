"""The barkless flank of a live edge: wood all the same, but not of the show face.

Where the bark has gone, the flank slopes away in view, of nearly the wood's
own colour. It turns away from the light that the face has, so it shows as a
strip along the live edge that is darker throughout than the face beside it.
Sapwood on the face is paler than what lies inside it, so the two are not mixed
up; growth rings are dark lines with pale wood beyond them.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_band import band_along, ring_mean
from crackmap.survey.edge_colour import colour_of
from crackmap.survey.edge_path import closed_path
from crackmap.survey.edge_view import View
from crackmap.survey.light import FloatImage

BoolMask = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

_ALONG_MM, _ACROSS_MM = 3.0, 1.0
_DEPTH_MM = 60.0  # looked at inside the edge
_WIDEST_MM = 45.0
_NARROWEST_MM = 6.0  # less is within the reach of the last pass, and may be a dirty rim
_BESIDE_MM = 11.0  # of the face beside the strip that it is compared with
_SOFT_MM = 1.5  # to both sides of the step, left out of the comparison
_SHORTEST_MM = 80.0  # along the edge; a shorter dark strip is a stain
_SMOOTH_MM = 10.0  # along the edge, to both sides
_LEAST_STEP = 0.25  # log light
_STREAKS = 3.0  # spreads of the wood's own streaks that the step must exceed
_LIVE = 0.7  # cosine between normal and grain: sawn ends have no flank in view
_PRICE = 0.3  # of a strip, in steps: a doubtful one is none
_STEEPEST, _STIFFNESS = 1, 0.6


def without_flank(ring: FloatArray, view: View, usable: BoolMask, grain: FloatArray) -> FloatArray:
    """The closed outline (N, 2) moved inward over a barkless flank, where there is one. [px of the view]

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
        Where wood ends. [px of the view]
    view : View
    usable : ndarray of bool, shape (h, w)
        Where slab or bench is in plain view.
    grain : ndarray, shape (2,)
        Unit vector along the grain.
    """
    offsets = np.arange(-_DEPTH_MM, _ACROSS_MM / 2, _ACROSS_MM)
    band = band_along(ring, view.mm_per_px, _ALONG_MM, offsets, 1.25 * _ALONG_MM, 6 * _ALONG_MM)
    shade = colour_of(band.unroll(view.pixels))[..., 0]
    steps = _steps(shade)
    plain = band.unroll(usable.view(np.uint8) * np.uint8(255)).min(axis=1) > 200
    live = np.abs(band.normals @ grain) < _LIVE
    steps[~(plain & live)] = 0.0
    strip = (offsets < -_NARROWEST_MM) & (offsets >= -_WIDEST_MM)
    cost = np.where(strip[None], _PRICE - steps, 0.0)
    cost[:, offsets < -_WIDEST_MM] = 9.0
    path = closed_path(cost, _STEEPEST, _STIFFNESS)
    moved = _lasting(offsets[path] < -_NARROWEST_MM, round(_SHORTEST_MM / _ALONG_MM))
    return band.at(np.where(moved, offsets[path], 0.0)) if moved.any() else ring


def _lasting(moved: BoolMask, least: int) -> BoolMask:
    """Without runs of fewer than `least` stations, round the ring."""
    if moved.all() or not moved.any():
        return moved
    first = int(np.flatnonzero(~moved)[0])
    rolled = np.roll(moved, -first)
    bounds = np.flatnonzero(np.diff(np.concatenate([[False], rolled, [False]]).astype(np.int8))).reshape(-1, 2)
    for begin, end in bounds[np.diff(bounds, axis=1)[:, 0] < least]:
        rolled[begin:end] = False
    return np.roll(rolled, first)


def _steps(shade: FloatImage) -> FloatArray:
    """For each station and offset, how surely a darker strip begins there and lasts to the edge, -1 to 1."""
    smooth = cv2.blur(ring_mean(shade, round(_SMOOTH_MM / _ALONG_MM)), (3, 1), borderType=cv2.BORDER_REPLICATE)
    soft, beside = round(_SOFT_MM / _ACROSS_MM), round(_BESIDE_MM / _ACROSS_MM)
    outermost = round(2.0 / _ACROSS_MM)  # the edge itself is a mixture
    palest = np.maximum.accumulate(smooth[:, : -outermost][:, ::-1], axis=1)[:, ::-1]
    columns = np.arange(smooth.shape[1])
    strip = palest[:, np.minimum(columns + soft, palest.shape[1] - 1)]
    sums = np.pad(np.cumsum(smooth, axis=1, dtype=float), ((0, 0), (1, 0)))
    last = np.maximum(columns - soft, 1)
    first = np.maximum(last - beside, 0)
    face = (sums[:, last] - sums[:, first]) / (last - first)
    streaks = smooth[:, : smooth.shape[1] // 2].std(axis=1)
    least = np.maximum(_LEAST_STEP, _STREAKS * ring_mean(streaks.astype(float), 10))[:, None]
    return np.asarray(np.clip((face - strip - least) / least, -1.0, 1.0))
