"""The lip of an opening: where the show face ends and the hole begins, to a fraction of a pixel.

Round an opening the wood is often stained or lies in the hole's own shade: a
collar some millimetres wide, darker than wood and paler than the floor, of one
width all round. So three outlines are drawn along normals. The outer one, where
the wood's own light ends, is plain. From it inward the light, at the median of
all stations, falls to the floor's; a pixel outside the foot of that fall lies
the lip. There the step in each station's own light places it exactly: where the
light is half way between what lies close to both sides, since blur mixes light.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, make_valid

from crackmap.survey.edge_band import Band, FloatArray, band_along, ring_mean, signed_area, smoothed
from crackmap.survey.edge_path import closed_path
from crackmap.survey.light import FloatImage, linear_light

BoolMask = NDArray[np.bool_]

_ALONG_MM = 0.5
_ACROSS_PX = 0.5
_INWARD_MM, _OUTWARD_MM = 6.0, 6.0  # looked at to both sides of the rough outline
_REACH_MM = 3.0  # outward, to which the outer outline may lie from it
_SMOOTH_MM, _NORMAL_MM = 0.6, 2.5
_WOOD_MM = 3.5  # beyond it the wood's own light is read
_DARK_FLOOR = 0.03  # of the wood's light: a hole's own depths are not told apart
_OUTER = 0.6  # of the wood's light: less is collar or hole
_PALE_INSIDE = 0.4  # as bad as dark outside: there are lit crumbs in holes, but no dark in plain wood
_LIKELY_MM = 3.0
_DEEPEST_MM = 4.0  # inside the outer outline: collars are narrower
_FOOT = 0.15  # of the way up from the floor, in the logarithm
_BLUR_PX = 0.5  # from the foot of a blurred step to its middle
_SMOOTH_FLOOR, _ROUGH_FLOOR = 0.5, 0.8  # unevenness of the floor against the lip's
_PEAK = 0.85  # of the greatest unevenness: the outermost peak as high as this is the lip's
_NEAR_MM = 0.6  # by which the lip commonly strays from one width of collar
_STEP_GAIN = 2.5
_FULL_STEP = 1.2
_STEEPEST, _STIFFNESS = 2, 0.15
_SIDES_PX = (1.0, 2.0)  # where the light to both sides of the lip is read
_DUSTY = 0.45  # of the wood's light: a filling as light as this has no lip to be seen by its light
_FLOOR_MM = 1.2  # inside the rough outline: there the filling's light is read
_BEYOND_MM = 0.5  # by which the lip may lie outside the rough outline more than it does at the median


@dataclass(frozen=True, slots=True, eq=False)
class Lip:
    """Outline (N, 2) [px] of an opening, and how sharp it is: log light gained over two pixels, at the median. [-]"""

    outline: FloatArray
    sharpness: float


def exact_lip(ring: FloatArray, image: NDArray[np.uint8], mm_per_px: float, wood: BoolMask) -> Lip:
    """The closed outline (N, 2) [px] of an opening moved on to its lip.

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
        Rough outline, within 3 mm. [px]
    image : ndarray of uint8, shape (H, W, 3)
    mm_per_px : float
        [mm]
    wood : ndarray of bool, shape (H, W)
        The show face; elsewhere the outline runs on as it was.
    """
    spacing = _ACROSS_PX * mm_per_px
    offsets = np.arange(-_INWARD_MM, _OUTWARD_MM, spacing)
    band = band_along(ring, mm_per_px, max(_ALONG_MM, spacing), offsets, _SMOOTH_MM, _NORMAL_MM)
    plain = band.unroll(wood.view(np.uint8) * np.uint8(255)) > 200
    light = _relative_light(band, image, plain)
    if np.median(light[:, offsets < -_FLOOR_MM]) > _DUSTY:
        return Lip(ring, 0.0)
    outer = closed_path(_outer_cost(light, plain, offsets), _STEEPEST, _STIFFNESS)
    change = _change(cv2.log(light + np.float32(_DARK_FLOOR)), plain)
    lip = outer - round(_collar_px(light, outer, band, _radius(ring)) / _ACROSS_PX)
    stray = (np.arange(len(offsets))[None] - lip[:, None]) * np.float32(spacing / _NEAR_MM)
    cost = stray**2 - np.float32(_STEP_GAIN) * np.clip(change, 0.0, _FULL_STEP)
    path = closed_path(cost, _STEEPEST, _STIFFNESS)
    rows = np.arange(len(path))
    seen = plain[rows, path]
    sharpness = float(np.median(change[rows, path][seen])) if seen.any() else 0.0
    exact = smoothed(_half_way(light, offsets, path), 1.5)
    return Lip(_within(band.at(exact), ring, max(float(np.median(exact)), 0.0) + _BEYOND_MM, mm_per_px), sharpness)


def _within(lip: FloatArray, ring: FloatArray, beyond: float, mm_per_px: float) -> FloatArray:
    """The lip kept out of notches of the rough outline that normals are too far apart to follow. [px]"""
    rough = Polygon(ring).buffer(beyond / mm_per_px)
    inside = make_valid(Polygon(lip)).intersection(rough if rough.is_valid else rough.buffer(0))
    pieces = [p for p in getattr(inside, "geoms", [inside]) if isinstance(p, Polygon)]
    return np.array(max(pieces, key=lambda p: p.area).exterior.coords)[:-1] if pieces else lip


def _radius(ring: FloatArray) -> float:
    """Of a long opening about half its width. [px]"""
    ahead = np.roll(ring, -1, axis=0)
    return 2 * abs(signed_area(ring)) / float(np.hypot(*(ahead - ring).T).sum())


def _relative_light(band: Band, image: NDArray[np.uint8], plain: BoolMask) -> FloatImage:
    """Light along the normals as a share of that of the wood round the opening, (N, M)."""
    light = cv2.transform(linear_light(band.unroll(image)), np.array([[0.25, 0.6, 0.15]], np.float32))
    outside = (band.offsets > _WOOD_MM)[None] & plain
    whole = float(np.median(light[outside])) if outside.any() else float(np.percentile(light, 90))
    weight = outside.sum(axis=1, dtype=np.float32)
    reach = max(1, round(5.0 / band.step_mm))
    level = (ring_mean((light * outside).sum(axis=1), reach) + whole) / (ring_mean(weight, reach) + 1.0)
    return np.asarray(light / np.maximum(level, 0.004)[:, None], np.float32)


def _change(logs: FloatImage, plain: BoolMask) -> FloatImage:
    """Log light gained from a pixel inside each sample to a pixel outside it."""
    across = round(1.0 / _ACROSS_PX)
    change = np.zeros_like(logs)
    inner = slice(across, -across)
    change[:, inner] = (logs[:, 2 * across :] - logs[:, : -2 * across]) * (plain[:, 2 * across :] & plain[:, inner])
    return ring_mean(change, 1)


def _outer_cost(light: FloatImage, plain: BoolMask, offsets: FloatArray) -> FloatImage:
    """Cost of the wood's own light ending at each sample: what is dark outside it, and light inside."""
    spacing = np.float32(offsets[1] - offsets[0])
    dark = (light < _OUTER) & plain & (offsets < _REACH_MM)[None]
    outside = dark[:, ::-1].cumsum(axis=1, dtype=np.float32)[:, ::-1]
    inside = ((light >= _OUTER) & plain).cumsum(axis=1, dtype=np.float32)
    cost = (outside + np.float32(_PALE_INSIDE) * inside) * spacing
    cost += (0.25 * (offsets / _LIKELY_MM) ** 2).astype(np.float32)
    cost[:, offsets > _REACH_MM] = 50.0
    return np.asarray(cost, np.float32)


def _collar_px(light: FloatImage, outer: NDArray[np.int64], band: Band, radius: float) -> float:
    """How far inside the outer outline the lip lies all round. [px]

    Not beyond the foot of the light's fall to the floor, nor beyond where the
    light is most unlike a millimetre along: a collar is even, a jagged lip is not.
    """
    deepest = min(_DEEPEST_MM / band.mm_per_px, max(radius, 2.0))
    inward = np.arange(round(deepest / _ACROSS_PX) + 1)
    below = light[np.arange(len(outer))[:, None], np.maximum(outer[:, None] - inward, 0)]
    profile = np.median(below, axis=0)
    logs = _soft(np.log(profile + 2 * _DARK_FLOOR))
    darkest = int(logs.argmin())
    foot = int(np.flatnonzero(logs[: darkest + 1] <= (1.0 - _FOOT) * logs[darkest])[0])
    each = cv2.log(below + np.float32(_DARK_FLOOR))
    away = max(1, round(1.0 / band.step_mm))
    uneven = _soft(np.median(np.abs(each - (np.roll(each, away, 0) + np.roll(each, -away, 0)) / 2), axis=0))
    peaks = np.flatnonzero((uneven >= _PEAK * uneven.max()) & (uneven >= np.append(uneven[1:], 0.0)))
    nearer = min(foot, int(peaks[0]))
    # A floor as uneven as the lip tells nothing of where the lip is.
    rough = np.median(uneven[-(len(uneven) // 3) :]) / uneven.max()
    at = nearer + (foot - nearer) * np.clip((rough - _SMOOTH_FLOOR) / (_ROUGH_FLOOR - _SMOOTH_FLOOR), 0.0, 1.0)
    return max(float(at) * _ACROSS_PX - _BLUR_PX, 0.0)


def _soft(values: NDArray[np.floating]) -> FloatArray:
    """Mean with both neighbours."""
    return np.asarray(cv2.blur(values.reshape(1, -1), (3, 1), borderType=cv2.BORDER_REPLICATE).ravel(), float)


def _half_way(light: FloatImage, offsets: FloatArray, path: NDArray[np.int64]) -> FloatArray:
    """Offset of half light between the two sides of the step, within a pixel of the path. [mm]"""
    near, far = (round(side / _ACROSS_PX) for side in _SIDES_PX)
    rows, most = np.arange(len(path)), len(offsets) - 1
    inner = np.mean([light[rows, np.clip(path - k, 0, most)] for k in range(near, far + 1)], axis=0)
    outer = np.mean([light[rows, np.clip(path + k, 0, most)] for k in range(near, far + 1)], axis=0)
    inner, outer = ring_mean(inner, 2), ring_mean(outer, 2)
    rise = np.where(outer - inner > 0.02, outer - inner, np.inf)
    reach = np.arange(-far, far + 1)
    around = light[rows[:, None], np.clip(path[:, None] + reach, 0, most)]
    share = np.clip((around - inner[:, None]) / rise[:, None], 0.0, 1.0)
    shift = np.where(np.isfinite(rise), (0.5 - share).sum(axis=1), 0.0)
    return np.asarray(offsets[path] + np.clip(shift, -near, near) * (offsets[1] - offsets[0]))
