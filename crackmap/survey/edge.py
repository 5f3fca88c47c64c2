"""The edge of the show face, in pixels: roughly by region, then exactly along normals."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from crackmap.errors import SurveyError
from crackmap.survey.edge_band import evenly_spaced
from crackmap.survey.edge_colour import colour_of
from crackmap.survey.edge_features import YARDSTICK, cell_features
from crackmap.survey.edge_fine import refined
from crackmap.survey.edge_passes import settled
from crackmap.survey.edge_region import RoughSlab, rough_slab
from crackmap.survey.edge_view import View
from crackmap.survey.edge_wane import without_flank
from crackmap.survey.foreign import things_on_slab
from crackmap.survey.light import FloatImage

BoolMask = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

_CELLS = 250  # on the picture's longer side: 4 to 10 mm each on a table-sized view
_LEAST_SHARE = 0.01  # of the view: less is no slab but a scrap
# A piece that is little more than a marker and its surroundings is the marker.
_MARKER_RIM_MM = 25.0
_LEAST_WOOD_SHARE = 0.3
_OTHER_PIECE = 0.25  # of the slab's area: another piece as large as this is told of
_AT_BORDER_MM = 2.0
_MOST_CUT = 0.6  # of the outline: with more of it along the border no edge was in view
# Mean of the cut's stiffness along the outline, 0.15 where all of it steps to 1.65 where nothing does. [-]
_HAZY = 0.4
_LEAST_CUT_MM = 10.0  # of the outline along the picture's border: less is a touch


_NO_EDGE = (
    "no edge of a slab is in view: what lies round the markers looks the same as what lies along the "
    "photo's border; step back until bench shows on all sides, lay the slab on another colour, "
    "or draw its outline."
)


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """The show face's outline in a picture, and what the survey must say about it.

    `outline` is closed without repeating its first point, shape (N, 2) [px];
    `things` (h, w) is where things that nobody named lie on the slab, on the
    grid of the smaller copy, None for nowhere; `at_border` (M, 2) are points where the picture cuts it [px].
    """

    outline: FloatArray
    warnings: tuple[str, ...] = ()
    things: BoolMask | None = None
    at_border: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))


def find_edge(
    image: NDArray[np.uint8], mm_per_px: float, view: View, seen: BoolMask, hidden: BoolMask, seeds: BoolMask
) -> Edge:
    """Outline of the show face.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        RGB.
    mm_per_px : float
        [mm]
    view : View
        The picture's smaller copy.
    seen, hidden : ndarray of bool, shape (H, W)
        Where the photo covers the picture; where a marker, sheet or card hides
        what lies below.
    seeds : ndarray of bool, shape (h, w)
        Where there is surely wood, on the copy's grid.

    Raises
    ------
    SurveyError
        If nothing in view stands out as a slab, or all of it is wood.
    """
    seen, hidden = (view.shrunk(mask) for mask in (seen, hidden))
    cell = max(1, max(view.size) // _CELLS)
    features = cell_features(view, cell)
    on_cells = [_on_cells(mask, cell, features.shape[1::-1]) for mask in (seen, hidden, seeds)]
    rough = _found(rough_slab(features, *on_cells), on_cells[0], on_cells[1], view.mm_per_px * cell)
    grain = _grain_vector(features[rough.mask])
    things = _things(view, rough, grain, on_cells[1])
    usable = seen & ~hidden & ~things
    ring = without_flank(settled(_outline_of(rough.mask, cell), view, usable, grain), view, usable, grain)
    outline = refined(view.to_picture(ring), image, mm_per_px, view, usable)
    outline, at_border = _within_view(outline, view, seen, mm_per_px)
    return Edge(outline, _warnings(rough, at_border), things if things.any() else None, at_border)


def _on_cells(mask: BoolMask, cell: int, size: tuple[int, int]) -> BoolMask:
    """A cell is marked where more than a tenth of it is."""
    whole = mask[: size[1] * cell, : size[0] * cell].view(np.uint8) * np.uint8(255)
    return np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA) > 24)


def _found(rough: RoughSlab | None, seen: BoolMask, hidden: BoolMask, mm_per_cell: float) -> RoughSlab:
    """The rough slab, or the sentence that says why there is none."""
    if rough is None or rough.mask.sum() < _LEAST_SHARE * seen.sum():
        raise SurveyError(_NO_EDGE)
    away = cv2.distanceTransform(1 - hidden.astype(np.uint8), cv2.DIST_L2, 3) > _MARKER_RIM_MM / mm_per_cell
    if (rough.mask & away).sum() < _LEAST_WOOD_SHARE * rough.mask.sum():
        raise SurveyError(_NO_EDGE)
    return rough


def _things(view: View, rough: RoughSlab, grain: FloatArray, hidden: BoolMask) -> BoolMask:
    """Where unknown things lie on the slab, on the view's grid."""
    size = (view.size[0] // 2, view.size[1] // 2)
    half = np.asarray(cv2.resize(view.pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    colour = colour_of(half)
    colour /= YARDSTICK[:3]
    slab, known = (
        cv2.resize(mask.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0 for mask in (rough.mask, hidden)
    )
    things = things_on_slab(colour, slab, known, rough.wood, grain, view.mm_per_px * 2)
    return np.asarray(cv2.resize(things.view(np.uint8), view.size, interpolation=cv2.INTER_NEAREST), bool)


def _grain_vector(features: FloatImage) -> FloatArray:
    """Unit vector along the grain (x, y), from the cells' doubled-angle gradients."""
    doubled = features[:, 4:6].mean(axis=0)
    across = np.arctan2(doubled[1], doubled[0]) / 2
    return np.array([-np.sin(across), np.cos(across)])


def _outline_of(mask: BoolMask, cell: int) -> FloatArray:
    """Smooth outline of a mask of cells. [px of the view]"""
    fine = cv2.GaussianBlur(np.pad(mask.astype(np.float32), 2), (0, 0), 1.0)
    level = (cv2.resize(fine, None, fx=4, fy=4, interpolation=cv2.INTER_LINEAR) > 0.5).astype(np.uint8)
    outlines, _ = cv2.findContours(level, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(outlines, key=len)[:, 0].astype(float)
    return np.asarray(((longest + 0.5) / 4 - 2) * cell - 0.5)


def _within_view(
    outline: FloatArray, view: View, seen: BoolMask, mm_per_px: float
) -> tuple[FloatArray, FloatArray]:
    """The outline cut to what the photo shows, and its points along the photo's border. [px]"""
    limits, _ = cv2.findContours(seen.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    rim = cv2.approxPolyDP(max(limits, key=cv2.contourArea), 1.0, closed=True)[:, 0].astype(float)
    frame = Polygon(view.to_picture(rim))
    slab = shapely.make_valid(Polygon(outline))
    inside = shapely.intersection(slab, frame if frame.is_valid else frame.buffer(0))
    pieces = [g for g in getattr(inside, "geoms", [inside]) if isinstance(g, Polygon) and not g.is_empty]
    if not pieces:
        return outline, np.zeros((0, 2))
    ring = np.array(max(pieces, key=lambda g: g.area).exterior.coords)[:-1]
    stations = evenly_spaced(ring, 1.0 / mm_per_px)
    near = shapely.distance(frame.exterior, shapely.points(stations)) < _AT_BORDER_MM / mm_per_px
    if near.mean() > _MOST_CUT:
        raise SurveyError(_NO_EDGE)
    return ring, stations[near] if near.sum() >= _LEAST_CUT_MM else np.zeros((0, 2))


def _warnings(rough: RoughSlab, at_border: FloatArray) -> tuple[str, ...]:
    """What a maker must know about the outline."""
    said = []
    if len(at_border):
        said.append(
            f"The photo's border cuts the slab along about {len(at_border)} mm: "
            "it was measured up to the border, and cracks beyond it are unknown."
        )
    if rough.slack > _HAZY:
        said.append(
            "Along much of the outline nothing tells the slab from what lies beside it: look at its edge on the "
            "annotated picture; draw it on the review page, or lay the slab on another colour."
        )
    large = sum(area > _OTHER_PIECE * rough.mask.sum() for area in rough.other_pieces)
    if large:
        said.append(
            f"{large + 1} pieces that look like wood lie in view: only the one with the markers, "
            "else the largest, was measured."
        )
    return tuple(said)
