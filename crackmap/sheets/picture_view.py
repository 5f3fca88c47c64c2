"""The part of the rectified photo that a picture shows, and drawing on it in slab millimetres."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from crackmap.records import FloatArray, ImageArray, RectifiedPhoto, Survey
from crackmap.scale.mapping import Mapping
from crackmap.sheets.palette import Colour, casing_of

SUBPIXEL_BITS = 4  # cv2 draws in sixteenths of a pixel
_UNSEEN: Colour = (226, 226, 222)  # where the photo does not reach
_LEAST_SIDE = 1800  # a small photo is enlarged to this, so that texts are crisp [px]


@dataclass(frozen=True, slots=True)
class View:
    """A picture being made: its pixels may be drawn on, its mapping takes slab mm to them."""

    pixels: ImageArray  # (H, W, 3) RGB, writable
    mapping: Mapping

    @property
    def size(self) -> tuple[int, int]:
        """Width and height. [px]"""
        return self.pixels.shape[1], self.pixels.shape[0]

    def px_per_mm(self) -> float:
        """Pixels a millimetre; the view is a similarity, so it is the same everywhere. [px/mm]"""
        return 1.0 / float(self.mapping.mm_per_px_at([[0.0, 0.0]])[0])


def crop_to_slab(
    rectified: RectifiedPhoto,
    survey: Survey,
    longest: int,
    margin_share: float = 0.035,
    with_marks: bool = True,
) -> View:
    """The slab with its marks and a margin, brought to a long side of at most `longest` pixels.

    Parameters
    ----------
    margin_share : float
        Margin as a share of the slab's longer side in the picture. [-]
    with_marks : bool
        Keep datum marks and references that lie beside the slab in the picture.
    """
    inside = [survey.outline]
    if with_marks:
        inside += [np.array([survey.datum.a, survey.datum.b]), *(r.corners_mm for r in survey.references)]
    points = rectified.mapping.to_pixels(np.concatenate(inside))
    low, high = points.min(axis=0), points.max(axis=0)
    margin = margin_share * float((high - low).max())
    height, width = rectified.pixels.shape[:2]
    x0, y0 = (int(v) for v in np.clip(np.floor(low - margin), 0, [width - 2, height - 2]))
    x1, y1 = (int(v) for v in np.clip(np.ceil(high + margin), [x0 + 2, y0 + 2], [width, height]))
    part = np.where(
        rectified.seen[y0:y1, x0:x1, None], rectified.pixels[y0:y1, x0:x1], np.array(_UNSEEN, np.uint8)
    )
    side = max(part.shape[:2])
    factor = min(longest, max(side, _LEAST_SIDE)) / side
    size = max(2, round(part.shape[1] * factor)), max(2, round(part.shape[0] * factor))
    scaled = cv2.resize(part, size, interpolation=cv2.INTER_AREA if factor < 1.0 else cv2.INTER_CUBIC)
    # Pixel centres are at whole numbers, so scaling is about the corner at (-1/2, -1/2).
    sx, sy = size[0] / part.shape[1], size[1] / part.shape[0]
    to_view = np.array([[sx, 0.0, sx * (0.5 - x0) - 0.5], [0.0, sy, sy * (0.5 - y0) - 0.5], [0.0, 0.0, 1.0]])
    return _x_to_the_right(View(np.ascontiguousarray(scaled), Mapping(to_view @ rectified.mapping.slab_to_photo)))


def _x_to_the_right(view: View) -> View:
    """The view turned by half where the slab's x runs to the left in it.

    With the marker beside the slab the photo was brought to scale in the
    marker's frame, which may lie the other way round than the slab's.
    """
    start, end = view.mapping.to_pixels([[0.0, 0.0], [100.0, 0.0]])
    if end[0] >= start[0]:
        return view
    width, height = view.size
    turn = np.array([[-1.0, 0.0, width - 1.0], [0.0, -1.0, height - 1.0], [0.0, 0.0, 1.0]])
    return View(np.ascontiguousarray(view.pixels[::-1, ::-1]), Mapping(turn @ view.mapping.slab_to_photo))


def stroke(
    image: ImageArray,
    points_px: ArrayLike,
    colour: Colour,
    width: int,
    *,
    closed: bool = False,
    dash: float | None = None,
) -> None:
    """A line with its casing; see `strokes`. `points_px` has shape (N, 2), the image (H, W, 3). [px]"""
    strokes(image, [np.asarray(points_px, float).reshape(-1, 2)], colour, width, closed=closed, dash=dash)


def strokes(
    image: ImageArray,
    lines: list[FloatArray],
    colour: Colour,
    width: int,
    *,
    closed: bool = False,
    dash: float | None = None,
) -> None:
    """Lines with a casing of half their width on either side, which never hides a neighbour in the same call.

    Parameters
    ----------
    lines : list of ndarray, shape (N, 2) [px]
    dash : float, optional
        Length of dashes and gaps. [px]
    """
    if closed:
        lines = [np.concatenate([line, line[:1]]) for line in lines]
    if dash is not None:
        lines = [piece for line in lines for piece in dashes(line, dash)]
    fixed = [fixed_point(line) for line in lines]
    edge = max(1, round(width * 0.5))
    for tint, thick in ((casing_of(colour), width + 2 * edge), (colour, width)):
        cv2.polylines(image, fixed, False, tint, thick, cv2.LINE_AA, SUBPIXEL_BITS)


def fill(image: ImageArray, polygon_px: ArrayLike, colour: Colour, opacity: float = 1.0) -> None:
    """Fill a polygon, letting the picture shine through. The polygon has shape (N, 2), the image (H, W, 3). [px]"""
    points = np.asarray(polygon_px, float).reshape(-1, 2)
    x0, y0 = np.clip(np.floor(points.min(axis=0)).astype(int) - 1, 0, None)
    x1, y1 = np.ceil(points.max(axis=0)).astype(int) + 2
    part = image[y0:y1, x0:x1]
    if part.size == 0:
        return
    mask = coverage(part.shape[:2], points - [x0, y0])
    weight = (mask * (opacity / 255.0)).astype(np.float32)[..., None]
    part[:] = np.round(part * (1.0 - weight) + np.array(colour, np.float32) * weight).astype(np.uint8)


def coverage(shape: tuple[int, ...], polygon_px: ArrayLike) -> NDArray[np.uint8]:
    """How much of each pixel a polygon covers, 0 to 255, shape (H, W)."""
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(
        mask, [fixed_point(np.asarray(polygon_px, float).reshape(-1, 2))], 255, cv2.LINE_AA, SUBPIXEL_BITS
    )
    return mask


def dashes(points: FloatArray, length: float) -> list[FloatArray]:
    """Pieces of a line, `length` long, with gaps of the same length between them. `points` has shape (N, 2). [px]"""
    run = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    pieces = []
    for start in np.arange(0.0, run[-1], 2.0 * length):
        end = min(start + length, run[-1])
        at = np.r_[start, run[(run > start) & (run < end)], end]
        pieces.append(np.column_stack([np.interp(at, run, points[:, 0]), np.interp(at, run, points[:, 1])]))
    return pieces


def lips(centreline: FloatArray, width: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The two lips of a crack, left and right of its centreline, each (N, 2). [mm]"""
    run = np.gradient(centreline, axis=0)
    length = np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-12)[:, None]
    half = np.column_stack([-run[:, 1], run[:, 0]]) / length * width[:, None] / 2.0
    return centreline + half, centreline - half


def fixed_point(points: FloatArray) -> NDArray[np.int32]:
    """Pixels in the fixed-point form that cv2 draws from. `points` has shape (N, 2)."""
    return np.round(points * (1 << SUBPIXEL_BITS)).astype(np.int32)
