"""The show face: its edge and the openings in it, before any crack is looked for."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from crackmap.errors import SurveyError
from crackmap.records import FloatArray, RectifiedPhoto, frozen_array
from crackmap.scale.mapping import Mapping
from crackmap.settings import SurveySettings
from crackmap.survey.covered import covered_by_references
from crackmap.survey.edge import Edge, find_edge
from crackmap.survey.edge_view import View, view_of
from crackmap.survey.voids import find_voids

BoolMask = NDArray[np.bool_]

# Far below what a photo can show, yet it takes out three vertices of four. [mm]
_OUTLINE_TOLERANCE_MM = 0.05
# References this near to the show face's plane lie on it. [mm]
_ON_FACE_MM = 3.0
# So much round a thing on the face there is wood, unless it lies nearer to the edge. [mm]
_ROUND_MM = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """Outline and voids of the show face, and its wood in pixels.

    `outline` (N, 2) anticlockwise and `voids`, largest first, in slab mm;
    `border` (M, 2): where the picture, not the slab, ends; `wood` (H, W): the
    face without voids and without what hides it.
    """

    outline: FloatArray
    voids: tuple[FloatArray, ...]
    border: FloatArray
    wood: BoolMask
    mm_per_px: float
    warnings: tuple[str, ...]


def measure_face(rectified: RectifiedPhoto, settings: SurveySettings, outline: FloatArray | None = None) -> Face:
    """Edge and voids of the show face.

    Parameters
    ----------
    rectified : RectifiedPhoto
    settings : SurveySettings
    outline : ndarray, shape (N, 2), optional
        The user's own outline, which wins. [mm]

    Raises
    ------
    SurveyError
        If the picture is black, no slab stands out, or wood fills the view.
    """
    image, mapping = rectified.pixels, rectified.mapping
    middle = mapping.to_slab([[image.shape[1] / 2, image.shape[0] / 2]])
    mm_per_px = float(mapping.mm_per_px_at(middle)[0])
    _check_light(image, rectified.seen, rectified.photo.file)
    hidden = covered_by_references(image, mapping, rectified.references, mm_per_px)
    view = view_of(image, mm_per_px)
    if outline is not None:
        edge = Edge(mapping.to_pixels(outline))
    else:
        edge = find_edge(image, mm_per_px, view, rectified.seen, hidden, _surely_wood(rectified, view))
    if edge.things is not None:
        hidden |= view.enlarged(edge.things, hidden.shape)
    wood = filled(edge.outline, image.shape) & rectified.seen
    np.greater(wood, hidden, out=wood)
    openings = find_voids(image, mm_per_px, wood)
    for opening in openings:
        wood &= ~filled(opening, image.shape)
    voids = sorted((_ring_mm(o, mapping) for o in openings), key=lambda ring: -Polygon(ring).area)
    border = frozen_array(mapping.to_slab(edge.at_border) if len(edge.at_border) else [], 2)
    return Face(_ring_mm(edge.outline, mapping), tuple(voids), border, wood, mm_per_px, edge.warnings)


def filled(polygon: FloatArray, shape: tuple[int, ...]) -> BoolMask:
    """Pixels inside a polygon of pixels, in a picture of `shape`."""
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(np.asarray(polygon) * 16).astype(np.int32)], 1, shift=4)
    return mask.view(np.bool_)


def _check_light(image: NDArray[np.uint8], seen: BoolMask, file: str) -> None:
    """Refuse a picture in which nothing can be told apart."""
    shown = image[::8, ::8][seen[::8, ::8]]
    if len(shown) == 0 or np.percentile(shown, 99) < 24:
        raise SurveyError(f"{file}: the photo is black or nearly so; take it again with more light.")


def _surely_wood(rectified: RectifiedPhoto, view: View) -> BoolMask:
    """Round the references that lie on the show face, on the view's grid; its middle where none does."""
    mask = np.zeros(view.size[::-1], np.uint8)
    for reference in rectified.references:
        if abs(reference.height_mm) < _ON_FACE_MM:
            corners = view.to_view(rectified.mapping.to_pixels(reference.corners_mm))
            middle = corners.mean(axis=0)
            side = float(np.sqrt(Polygon(reference.corners_mm).area))
            around = np.round(middle + (corners - middle) * min(2.2, 1 + 2 * _ROUND_MM / side)).astype(np.int32)
            cv2.fillPoly(mask, [around], 1)
    if not mask.any():
        rows, columns = np.nonzero(rectified.seen[:: 16 * view.shrink, :: 16 * view.shrink])
        at = (int(columns.mean() * 16), int(rows.mean() * 16))
        reach = (int(np.ptp(columns) * 16 * 0.2), int(np.ptp(rows) * 16 * 0.12))
        cv2.ellipse(mask, at, reach, 0, 0, 360, 1, cv2.FILLED)
    return mask.view(np.bool_)


def _ring_mm(polygon_px: FloatArray, mapping: Mapping) -> FloatArray:
    """A ring in mm, anticlockwise, without vertices that add nothing."""
    ring = Polygon(mapping.to_slab(polygon_px)).simplify(_OUTLINE_TOLERANCE_MM).exterior
    points = np.array(ring.coords)[:-1]
    return frozen_array(points if ring.is_ccw else points[::-1], 2)
