"""A photo with a truth file, rectified by its true camera: errors of scale stay out of the figures.

For the edge on the photo's whole view, in the slab frame with y up (`TruthView`);
for the cracks on the slab alone, in the truth's own frame (`rectified`).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from crackmap.records import (
    Datum,
    PhotoFacts,
    RectifiedPhoto,
    Reference,
    ScaleQuality,
    freeze,
    frozen_array,
)
from crackmap.scale.mapping import Mapping
from tests.truth import Truth, truths_in

FloatArray = NDArray[np.float64]
Y_UP = np.array([1.0, -1.0])  # the truth's y runs down
MARGIN_MM = 20.0


def rectified(truth: Truth, photo: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], FloatArray]:
    """The show face at the photo's own mm per pixel, and the slab position of pixel (0, 0)."""
    step = truth.mm_per_px
    origin = truth.outline.min(0) - MARGIN_MM
    columns, rows = np.ceil((truth.outline.max(0) + MARGIN_MM - origin) / step).astype(int)
    x, y = np.meshgrid(np.arange(columns) * step + origin[0], np.arange(rows) * step + origin[1])
    at = truth.camera.to_pixels(np.stack([x.ravel(), y.ravel()], 1)).astype(np.float32).reshape(rows, columns, 2)
    picture = cv2.remap(photo, at, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(picture, np.uint8), origin


def wood_mask(truth: Truth, shape: tuple[int, ...], origin: FloatArray) -> NDArray[np.bool_]:
    """True outline less the voids and the things lying on the slab."""

    def filled(mask: NDArray[np.uint8], polygon: ArrayLike, value: int) -> None:
        pixels = (np.asarray(polygon, float) - origin) / truth.mm_per_px
        cv2.fillPoly(mask, [np.rint(pixels * 16).astype(np.int32)], value, shift=4)

    mask = np.zeros(shape[:2], np.uint8)
    filled(mask, truth.outline, 1)
    for void in truth.form["voids"]:
        filled(mask, void["polygon_mm"], 0)
    for reference in truth.form["references"]:
        if reference["where"] == "top":
            filled(mask, shapely.Polygon(reference["outer_mm"]).buffer(2.0).exterior.coords[:], 0)
    return mask.astype(bool)


@dataclass(frozen=True)
class TruthView:
    """A truth in the slab frame with y up. [mm]"""

    truth: Truth

    @property
    def name(self) -> str:
        """The photo's, without its ending."""
        return self.truth.photo.stem

    @property
    def outline(self) -> FloatArray:
        """Edge of the show face, (N, 2). [mm]"""
        return np.asarray(self.truth.outline * Y_UP)

    @property
    def voids(self) -> tuple[FloatArray, ...]:
        """Those that are asked for, each (N, 2). [mm]"""
        return tuple(np.array(v["polygon_mm"]) * Y_UP for v in self.truth.form["voids"] if v["area_mm2"] >= 100)

    @property
    def photo_mapping(self) -> Mapping:
        """Slab mm with y up <-> photo pixels."""
        camera = self.truth.camera
        return Mapping(camera.slab_to_photo @ np.diag([*Y_UP, 1.0]), camera.camera_matrix, camera.distortion)

    def rectify(self, photo: NDArray[np.uint8], zoom: float = 1.0) -> RectifiedPhoto:
        """`photo`, taken `zoom` times as large as the truth's, on square millimetres."""
        mapping = self._zoomed(zoom)
        height, width = photo.shape[:2]
        step = self.truth.mm_per_px / zoom
        raster, size = _raster(mapping, width, height, step)
        place = _photo_place(mapping, raster, size)
        pixels = cv2.remap(photo, place[..., 0], place[..., 1], cv2.INTER_CUBIC)
        seen = (place >= 0).all(axis=-1) & (place[..., 0] <= width - 1) & (place[..., 1] <= height - 1)
        return RectifiedPhoto(
            freeze(pixels),
            freeze(seen),
            raster,
            mapping,
            PhotoFacts(self.name, "", width, height),
            Datum(frozen_array([0, 0]), frozen_array([1, 0]), "markers"),
            tuple(self._references()),
            ScaleQuality(step, 0.0, 0.0, 0.0, 1.5 * step, 0.0),
        )

    def _zoomed(self, zoom: float) -> Mapping:
        """The camera with pixels `zoom` times as fine (pixel centres at whole numbers)."""
        scale = np.array([[zoom, 0, (zoom - 1) / 2], [0, zoom, (zoom - 1) / 2], [0, 0, 1]])
        camera = self.photo_mapping
        assert camera.camera_matrix is not None
        return Mapping(scale @ camera.slab_to_photo, scale @ camera.camera_matrix, camera.distortion)

    def _references(self) -> list[Reference]:
        """Markers, sheets and cards as the scale stage would hand them over."""
        kept = []
        for item in self.truth.form["references"]:
            if item["type"] not in ("marker", "card", "a4", "a3", "letter"):
                continue
            size = item["size_mm"]
            below = item["where"] == "bench"
            corners = self.photo_mapping.to_slab(item["corners_px"])
            kept.append(
                Reference(
                    item["type"],
                    item.get("id"),
                    frozen_array(corners, 2),
                    (size, size) if np.isscalar(size) else tuple(size),
                    -self.truth.thickness_mm if below else 0.0,
                )
            )
        return kept


def _raster(mapping: Mapping, width: int, height: int, step: float) -> tuple[Mapping, tuple[int, int]]:
    """Square millimetres over the photo's whole view: mapping and (columns, rows)."""
    across, down = np.linspace(0, width - 1, 9), np.linspace(0, height - 1, 9)
    rim = [(x, y) for x in across for y in (0, height - 1)] + [(x, y) for x in (0, width - 1) for y in down]
    view = mapping.to_slab(rim)
    (x0, y0), (x1, y1) = view.min(axis=0), view.max(axis=0)
    raster = Mapping(np.array([[1 / step, 0, -x0 / step], [0, -1 / step, y1 / step], [0, 0, 1]]))
    return raster, (int(np.ceil((x1 - x0) / step)), int(np.ceil((y1 - y0) / step)))


def _photo_place(mapping: Mapping, raster: Mapping, size: tuple[int, int], grid: int = 16) -> NDArray[np.float32]:
    """Photo pixel of each raster pixel, from an exact coarse grid."""
    columns, rows = np.arange(0, size[0] + grid, grid), np.arange(0, size[1] + grid, grid)
    nodes = np.stack(np.meshgrid(columns, rows), -1).reshape(-1, 2)
    exact = mapping.to_pixels(raster.to_slab(nodes)).reshape(len(rows), len(columns), 2).astype(np.float32)
    shrink = np.array([[1 / grid, 0, 0], [0, 1 / grid, 0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(exact, shrink, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), np.float32)


def truth_views(folder: Path) -> list[TruthView]:
    """Every photo of a folder that has a truth file."""
    truths = truths_in(folder)
    if not truths:
        raise SystemExit(f"{folder}: no NNN.jpg with NNN.json found.")
    return [TruthView(truth) for truth in truths]


def read_rgb(path: Path) -> NDArray[np.uint8]:
    """A picture file as RGB."""
    return np.asarray(cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB), np.uint8)
