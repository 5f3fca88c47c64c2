"""The photo resampled to square millimetres."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.records import Photo, RectifiedPhoto, Survey, freeze
from crackmap.scale.mapping import Mapping
from crackmap.scale.target import FloatArray

_CELL = 32  # the mapping is worked out every so many pixels and bent straight between: error below 0.02 px
_STRIP = 256  # rows resampled at a time, so that the coordinate maps stay small
_COARSEST = 4.0  # parts seen coarser than this many times the median are left out: towards the horizon
_MOST_SEEN = 1.15  # seen pixels of the raster over those of the photo
_MOST_TOTAL = 2.3  # all pixels of the raster over those of the photo: a view turned by 45 degrees needs 2


@dataclass(frozen=True, slots=True, eq=False)
class Raster:
    """A rectified raster's grid: x right, y up, square pixels."""

    x_least: float  # of the left pixel column's centres [mm]
    y_most: float  # of the top pixel row's centres [mm]
    mm_per_px: float
    width: int
    height: int
    border: FloatArray  # (N, 2) edge of what the photo shows [mm]

    @property
    def mapping(self) -> Mapping:
        """Slab millimetres to the raster's pixels: a similarity with y turned over."""
        s = 1 / self.mm_per_px
        return Mapping(np.array([[s, 0, -self.x_least * s], [0, -s, self.y_most * s], [0, 0, 1.0]]))


def lay_out_raster(mapping: Mapping, width: int, height: int) -> Raster:
    """Grid that covers what the photo shows of the show face's plane.

    Its pixel is the photo's own median over the view, coarser only where the
    raster would otherwise have far more pixels than the photo.
    """
    grid = _photo_grid(width, height, 33, 25)
    on_slab = mapping.to_slab(grid)
    fineness = mapping.mm_per_px_at(on_slab)
    in_front = _in_front(mapping, on_slab)
    middle = float(np.median(fineness[in_front]))
    usable = in_front & (fineness < _COARSEST * middle)
    border = cv2.convexHull(on_slab[usable].astype(np.float32)).reshape(-1, 2).astype(float)
    low, high = border.min(axis=0), border.max(axis=0)
    seen = float(cv2.contourArea(border.astype(np.float32)))
    total = float(np.prod(high - low))
    photo_px = width * height
    mm_per_px = max(middle, np.sqrt(seen / (_MOST_SEEN * photo_px)), np.sqrt(total / (_MOST_TOTAL * photo_px)))
    columns, rows = (int(n) for n in np.ceil((high - low) / mm_per_px) + 1)
    return Raster(float(low[0]), float(high[1]), float(mm_per_px), columns, rows, border)


def _photo_grid(width: int, height: int, columns: int, rows: int) -> FloatArray:
    x, y = np.meshgrid(np.linspace(0, width - 1, columns), np.linspace(0, height - 1, rows))
    return np.stack([x.ravel(), y.ravel()], axis=1)


def _in_front(mapping: Mapping, points: FloatArray) -> NDArray[np.bool_]:
    """True for plane points in front of the camera: the same side as the plane point in the picture's middle."""
    depth = points @ mapping.slab_to_photo[2, :2] + mapping.slab_to_photo[2, 2]
    return np.asarray(np.sign(depth) == np.sign(depth[len(depth) // 2]))


def resample(photo: Photo, mapping: Mapping, raster: Raster) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Colours on the raster by cubic interpolation, and where the photo covers it.

    Cubic, because a linear one blurs narrow cracks by up to half a pixel.
    """
    pixels = np.zeros((raster.height, raster.width, 3), np.uint8)
    for top in range(0, raster.height, _STRIP):
        rows = min(_STRIP, raster.height - top)
        left, photo_xy = _strip_map(mapping, raster, top, rows, (photo.facts.width_px, photo.facts.height_px))
        if photo_xy.shape[1] > 0:
            pixels[top:top + rows, left:left + photo_xy.shape[1]] = cv2.remap(
                photo.pixels, photo_xy, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT, borderValue=(0, 0, 0))
    seen = np.zeros((raster.height, raster.width), np.uint8)
    outline = raster.mapping.to_pixels(_seen_border(photo, mapping, raster))
    cv2.fillPoly(seen, [np.round(outline * 16).astype(np.int32)], 1, shift=4)
    return pixels, seen.view(np.bool_)


def _seen_border(photo: Photo, mapping: Mapping, raster: Raster) -> FloatArray:
    """Edge of the photo on the slab, shape (N, 2); of the usable part where the view reaches the horizon. [mm]"""
    height, width = photo.pixels.shape[:2]
    t = np.linspace(0, 1, 65)[:-1]
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], float)
    edge = np.concatenate([a + t[:, None] * (b - a) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])
    on_slab = mapping.to_slab(edge)
    low, high = raster.border.min(axis=0) - 1, raster.border.max(axis=0) + 1
    return on_slab if ((on_slab > low) & (on_slab < high)).all() else raster.border


def _strip_map(mapping: Mapping, raster: Raster, top: int, rows: int, photo_size: tuple[int, int]
               ) -> tuple[int, NDArray[np.float32]]:
    """Photo pixel of each raster pixel of a strip, worked out on a coarse grid and interpolated.

    Returns
    -------
    left : int
        First column from which the strip shows the photo.
    photo_xy : ndarray of float32, shape (rows, columns, 2)
        From that column to the last that does. [px]
    """
    columns_coarse, rows_coarse = -(-raster.width // _CELL) + 2, -(-rows // _CELL) + 2
    centre = (np.arange(max(columns_coarse, rows_coarse)) - 1 + 0.5) * _CELL - 0.5
    x = raster.x_least + centre[:columns_coarse] * raster.mm_per_px
    y = raster.y_most - (top + centre[:rows_coarse]) * raster.mm_per_px
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    coarse = mapping.to_pixels(grid).astype(np.float32).reshape(rows_coarse, columns_coarse, 2)
    margin = 2 * _CELL  # a coarse cell beyond the photo's border may still touch it
    near = ((coarse > -margin) & (coarse < np.array(photo_size) + margin)).all(axis=(2,)).any(axis=0)
    seen = np.flatnonzero(near)
    if len(seen) == 0:
        return 0, np.zeros((rows, 0, 2), np.float32)
    first, last = max(int(seen[0]) - 1, 0), min(int(seen[-1]) + 2, columns_coarse)
    fine = cv2.resize(np.ascontiguousarray(coarse[:, first:last]), ((last - first) * _CELL, rows_coarse * _CELL),
                      interpolation=cv2.INTER_LINEAR)
    # The outermost coarse columns have no neighbour to interpolate from; column 0 lies outside the raster.
    left, right = max((first - 1) * _CELL, 0), min((last - 1) * _CELL, raster.width)
    start = left - (first - 1) * _CELL
    return left, np.asarray(fine[_CELL:_CELL + rows, start:start + right - left])


def resample_by_survey(photo: Photo, survey: Survey) -> RectifiedPhoto:
    """The rectified photo of a survey, made again from its own mapping.

    Parameters
    ----------
    photo : Photo
        The photograph that was surveyed.
    survey : Survey
        Holds the mapping between slab and photo.
    """
    height, width = photo.pixels.shape[:2]
    raster = lay_out_raster(survey.mapping, width, height)
    pixels, seen = resample(photo, survey.mapping, raster)
    return RectifiedPhoto(freeze(pixels), freeze(seen), raster.mapping, survey.mapping, survey.photo, survey.datum,
                          survey.references, survey.scale)
