"""The edge of the show face, in pixels: roughly by region, then exactly along normals."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.errors import SurveyError
from crackmap.survey.edge_band import band_along, tidy
from crackmap.survey.edge_features import YARDSTICK, cell_features
from crackmap.survey.edge_layers import learn_wood, profiles_of, split_cost
from crackmap.survey.edge_path import closed_path
from crackmap.survey.edge_region import RoughSlab, rough_slab
from crackmap.survey.foreign import things_on_slab
from crackmap.survey.light import FloatImage, linear_light, shade_and_tints

BoolMask = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

_CELLS = 340  # on the picture's longer side: 3 to 7 mm each on a table-sized view
_LEAST_SHARE = 0.01  # of the view: less is no slab but a scrap
_PASS_PX_MM = 1.0  # the passes look at a copy of about this many mm a pixel


@dataclass(frozen=True, slots=True)
class _Pass:
    """One pass along the outline; lengths in mm, offsets outward."""

    inner: float
    outer: float
    wood: tuple[float, float]
    bench: tuple[float, float]
    along: float
    across: float
    steepest: int
    stiffness: float
    # Notches narrower than `mouth` are filled (a check's mouth), arms narrower than
    # `arm` cut off (a rule) where they reach more than `corner` beyond the rest.
    tidy: dict[str, float]


# The rough outline may lie on the bark's far side or along the heartwood: up to
# 40 mm off. Sapwood and bark together are seldom wider than that again.
_WIDE = _Pass(-70.0, 80.0, (-70.0, -38.0), (45.0, 80.0), 3.0, 1.5, 4, 1.0, {"mouth": 40.0, "arm": 60.0, "corner": 22.0})
_NEARER = _Pass(-40.0, 60.0, (-30.0, -8.0), (30.0, 60.0), 2.0, 1.0, 4, 0.6, {"mouth": 18.0, "arm": 30.0, "corner": 12.0})
_PASSES = (_WIDE, _WIDE, _NEARER)
_CUT_MM = 12.0  # an outline nearer to the picture's border than this is cut by it


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """The show face's outline in a picture, and what the survey must say about it.

    `outline` is closed without repeating its first point, shape (N, 2). [px]
    """

    outline: FloatArray
    warnings: tuple[str, ...] = ()
    hidden: BoolMask | None = None  # where something lies on the slab, (H, W); None: nothing but what was given
    at_border: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))  # where the picture cuts it [px]


def find_edge(image: NDArray[np.uint8], mm_per_px: float, seen: BoolMask, hidden: BoolMask, seeds: BoolMask) -> Edge:
    """Outline of the show face.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        RGB.
    mm_per_px : float
        [mm]
    seen, hidden, seeds : ndarray of bool, shape (H, W)
        Where the photo covers the picture; where a marker, sheet or card hides
        what lies below; where there is surely wood.

    Raises
    ------
    SurveyError
        If nothing in view stands out as a slab, or all of it is wood.
    """
    cell = max(1, max(image.shape[:2]) // _CELLS)
    features = cell_features(image, mm_per_px, cell)
    size = features.shape[1::-1]
    on_cells = [_on_cells(mask, cell, size) for mask in (seen, hidden, seeds)]
    rough = rough_slab(features, *on_cells)
    _check_found(rough, on_cells[0])
    assert rough is not None
    view = _reduced_view(image, mm_per_px)
    things = _things(view, rough, features, on_cells[1], cell)
    usable = view.usable(seen & ~hidden, things)
    ring = _settled(view.to_view(_outline_of(rough.mask, cell)), view, usable)
    return Edge(view.to_image(ring), (), hidden=hidden | view.on_image(things, image.shape[:2]))


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """A copy of the picture in linear light, about 1 mm a pixel, and the ways to it and back."""

    light: FloatImage
    shrink: int
    mm_per_px: float

    @property
    def size(self) -> tuple[int, int]:
        return self.light.shape[1], self.light.shape[0]

    def usable(self, plain: BoolMask, things: BoolMask) -> NDArray[np.uint8]:
        """255 where the slab or the bench is in plain view."""
        whole = plain[: self.size[1] * self.shrink, : self.size[0] * self.shrink].astype(np.uint8) * 255
        out = cv2.resize(whole, self.size, interpolation=cv2.INTER_AREA)
        out[cv2.resize(things.astype(np.uint8), self.size, interpolation=cv2.INTER_NEAREST) > 0] = 0
        return np.asarray(out)

    def on_image(self, mask: BoolMask, shape: tuple[int, int]) -> BoolMask:
        """A mask of half this view's size, on the picture's own grid."""
        out = np.zeros(shape, bool)
        if mask.any():
            whole = (self.size[0] * self.shrink, self.size[1] * self.shrink)
            out[: whole[1], : whole[0]] = cv2.resize(mask.astype(np.uint8), whole, interpolation=cv2.INTER_NEAREST) > 0
        return out

    def to_view(self, points: FloatArray) -> FloatArray:
        return (points + 0.5) / self.shrink - 0.5

    def to_image(self, points: FloatArray) -> FloatArray:
        return (points + 0.5) * self.shrink - 0.5


def _reduced_view(image: NDArray[np.uint8], mm_per_px: float) -> _View:
    shrink = max(1, round(_PASS_PX_MM / mm_per_px))
    size = (image.shape[1] // shrink, image.shape[0] // shrink)
    crop = image[: size[1] * shrink, : size[0] * shrink]
    light = linear_light(cv2.resize(crop, size, interpolation=cv2.INTER_AREA))
    return _View(light, shrink, mm_per_px * shrink)


def _things(view: _View, rough: RoughSlab, features: FloatImage, hidden: BoolMask, cell: int) -> BoolMask:
    """Where unknown things lie on the slab, on the picture's own grid."""
    size = (view.size[0] // 2, view.size[1] // 2)
    colour = shade_and_tints(cv2.resize(view.light, size, interpolation=cv2.INTER_AREA)) / YARDSTICK[:3]
    slab, known = (cv2.resize(m.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0 for m in (rough.mask, hidden))
    doubled = features[rough.mask][:, 4:6].mean(axis=0)
    across = np.arctan2(doubled[1], doubled[0]) / 2
    grain = np.array([-np.sin(across), np.cos(across)])
    return things_on_slab(colour, slab, known, rough.wood, grain, view.mm_per_px * 2)


def _settled(ring: FloatArray, view: _View, usable: NDArray[np.uint8]) -> FloatArray:
    """The outline drawn onto the edge of the show face, in passes from wide to narrow."""
    known = None
    ring = tidy(ring, view.mm_per_px, **_WIDE.tidy)
    for turn in _PASSES:
        offsets = np.arange(turn.inner, turn.outer + turn.across / 2, turn.across)
        band = band_along(ring, view.mm_per_px, turn.along, offsets, 1.25 * turn.along, 6 * turn.along)
        profiles = profiles_of(band, view.light, usable)
        cost = split_cost(profiles, turn.wood, turn.bench, known, [])
        found = offsets[0] + (closed_path(cost, turn.steepest, turn.stiffness) - 0.5) * turn.across
        known = learn_wood(profiles, found)
        ring = tidy(band.at(found), view.mm_per_px, **turn.tidy)
    return ring


def _on_cells(mask: BoolMask, cell: int, size: tuple[int, int]) -> BoolMask:
    """A cell is marked where more than a few of its pixels are."""
    whole = mask[: size[1] * cell, : size[0] * cell].astype(np.uint8) * 255
    return np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA) > 24)


def _check_found(rough: RoughSlab | None, seen: BoolMask) -> None:
    if rough is None or rough.mask.sum() < _LEAST_SHARE * seen.sum():
        raise SurveyError(
            "no slab stands out from the bench in this photo: lay it on a surface of another colour, "
            "keep the whole slab in view, or draw its outline."
        )


def _outline_of(mask: BoolMask, cell: int) -> FloatArray:
    """Smooth outline of a mask of cells. [px]"""
    fine = cv2.GaussianBlur(np.pad(mask.astype(np.float32), 2), (0, 0), 1.0)
    level = (cv2.resize(fine, None, fx=4, fy=4, interpolation=cv2.INTER_LINEAR) > 0.5).astype(np.uint8)
    outlines, _ = cv2.findContours(level, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(outlines, key=len)[:, 0].astype(float)
    on_grid = (longest + 0.5) / 4 - 0.5 - 2
    return (on_grid + 0.5) * cell - 0.5
