"""Sheets and cards of standard size: found in the photo and measured like markers."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.published import FLAT_SIZES, FlatSize
from crackmap.scale.edges import EdgeOffsets, measure_edges
from crackmap.scale.flat import fit_homography, line_sigmas, photo_normals, project
from crackmap.scale.quadrilaterals import find_rectangles
from crackmap.scale.target import FloatArray, Target, rectangle_corners

ImageArray = NDArray[np.uint8]

BLOOM_SIGMA = 0.1  # [px]; a sheet has no inner edges to tell bloom by, and its contrast to wood is milder
_PIECE_PX = 14.0  # aimed at length of a piece of edge
_PIECES = (6, 40)  # fewest and most a side
_MOST_TRIED = 8  # candidates measured
_STRETCH = 6  # pieces that share their errors: as many as lie on a marker's side
_LEAST_OK = 0.6  # share of the pieces at which an edge must be found


def find_reference(pixels: ImageArray, kind: str, height: float) -> list[Target]:
    """Everything in the photo that may be the sheet or card, the best first.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        RGB.
    kind : {"a4", "a3", "letter", "card"}
    height : float
        Of its face above the show face. [mm]
    """
    size = FLAT_SIZES[kind]
    candidates = find_rectangles(pixels, size.long_side / size.short_side)[:_MOST_TRIED]
    channels = [np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)), *cv2.split(pixels)]
    measured = [_measured(channels, corners, kind, size, height) for corners in candidates]
    return [m.target for m in sorted((m for m in measured if m is not None), key=lambda m: m.spread_px)]


@dataclass(frozen=True, slots=True, eq=False)
class _Measured:
    target: Target
    spread_px: float  # how far its edges are from straight sides [px]


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    """Pieces of the four sides on the sheet. [mm]"""

    starts: FloatArray
    ends: FloatArray
    outward: FloatArray


def side_pieces(size: FlatSize, mm_per_px: float) -> _Pieces:
    """The straight part of each side, cut into pieces some pixels long."""
    corners = rectangle_corners(size.long_side, size.short_side)
    starts, ends, outward = [], [], []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        length = float(np.hypot(*(b - a)))
        margin = size.corner_radius + 4 * mm_per_px
        count = int(np.clip((length - 2 * margin) / (_PIECE_PX * mm_per_px), *_PIECES))
        at = np.linspace(margin, length - margin, count + 1)[:, None] / length
        points = a + at * (b - a)
        starts.append(points[:-1])
        ends.append(points[1:])
        outward.append(np.tile((a + b) / np.hypot(*(a + b)), (count, 1)))
    return _Pieces(np.concatenate(starts), np.concatenate(ends), np.concatenate(outward))


def _measured(channels: list[ImageArray], corners: FloatArray, kind: str, size: FlatSize, height: float
              ) -> _Measured | None:
    """The candidate's edges in the channel that shows them best, or None if it has no four straight sides."""
    flat = rectangle_corners(size.long_side, size.short_side)
    to_photo = cv2.getPerspectiveTransform(flat.astype(np.float32), corners.astype(np.float32)).astype(float)
    mm_per_px = float(np.sqrt(size.long_side * size.short_side / cv2.contourArea(corners.astype(np.float32))))
    pieces = side_pieces(size, mm_per_px)
    middles, along = (pieces.starts + pieces.ends) / 2, pieces.ends - pieces.starts
    chosen = channels
    for reach in (8.0, 5.0, 4.0):
        normals = photo_normals(to_photo, middles, pieces.outward, along)
        starts, ends = project(to_photo, pieces.starts), project(to_photo, pieces.ends)
        chosen, found = _clearest(chosen, starts, ends, normals, reach)
        if not _enough(found.ok, pieces.outward):
            return None
        normals = normals * np.sign(found.beyond - found.before)[:, None]
        seen_at = project(to_photo, middles) + normals * (found.offset * np.sign(found.beyond - found.before))[:, None]
        ok = found.ok
        to_photo, misfit = fit_homography(to_photo, middles[ok], seen_at[ok], normals[ok], with_bloom=False)
    return _as_target(to_photo, middles, seen_at, normals, found, misfit, kind, size, height, pieces.outward)


def _as_target(to_photo: FloatArray, middles: FloatArray, seen_at: FloatArray, normals: FloatArray,
               found: EdgeOffsets, misfit: FloatArray, kind: str, size: FlatSize, height: float, outward: FloatArray
               ) -> _Measured | None:
    spread = 1.4826 * float(np.median(np.abs(misfit)))
    kept = np.flatnonzero(found.ok)[np.abs(misfit) < 3.5 * max(spread, 0.03)]
    if not _enough(np.isin(np.arange(len(middles)), kept), outward):
        return None
    light = float(np.median(np.maximum(found.before, found.beyond)[kept]))
    stretch = side_stretches(outward)[kept]
    sigmas = line_sigmas(found.sigma[kept], misfit[np.isin(np.flatnonzero(found.ok), kept)], stretch)
    corners = project(to_photo, rectangle_corners(size.long_side, size.short_side))
    target = Target(kind, None, (size.long_side, size.short_side), height, middles[kept], seen_at[kept], normals[kept],
                    sigmas, found.sigma[kept], stretch, BLOOM_SIGMA, corners, float(np.median(found.blur[kept])), light)
    return _Measured(target, spread)


def side_stretches(outward: FloatArray) -> NDArray[np.intp]:
    """Number of the stretch of a side, a few pieces long, that each piece lies on, shape (S,).

    Errors are shared along a stretch, as along a marker's line, but a long
    side's bend is real: it shows the lens.
    """
    side = (outward @ [2.0, 1.0]).round().astype(np.intp) + 2  # 0, 1, 3 or 4
    place = np.zeros(len(outward), np.intp)
    for value in np.unique(side):
        place[side == value] = np.arange((side == value).sum()) // _STRETCH
    return side * 100 + place


def _clearest(channels: list[ImageArray], starts: FloatArray, ends: FloatArray, normals: FloatArray, reach: float
              ) -> tuple[list[ImageArray], EdgeOffsets]:
    """The channel in which most edges are found, most sharply; luma, red, green or blue."""
    found = [measure_edges(channel, starts, ends, normals, reach) for channel in channels]

    def worth(edges: EdgeOffsets) -> float:
        return float(edges.ok.sum() / (0.02 + np.median(edges.sigma[edges.ok]))) if edges.ok.any() else 0.0

    best = int(np.argmax([worth(f) for f in found]))
    return [channels[best]], found[best]


def _enough(ok: NDArray[np.bool_], outward: FloatArray) -> bool:
    """True if an edge was found along most of every side."""
    sides = [(outward @ direction) > 0.9 for direction in np.array([[1.0, 0], [-1, 0], [0, 1], [0, -1]])]
    return all(ok[side].mean() >= _LEAST_OK for side in sides)
