"""A photo with a truth file, rectified by its true camera: errors of scale stay out of the figures."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

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

FloatArray = NDArray[np.float64]
Y_UP = np.array([1.0, -1.0])  # the truth's y runs down


@dataclass(frozen=True)
class TruthView:
    """What the truth file says, in the slab frame with y up. [mm]"""

    name: str
    truth: dict[str, Any]
    outline: FloatArray
    voids: tuple[FloatArray, ...]
    photo_mapping: Mapping

    @classmethod
    def read(cls, path: Path) -> TruthView:
        truth = json.loads(path.read_text())
        camera = truth["camera"]
        mapping = Mapping(
            np.array(truth["H_mm_to_undistorted_px"]) @ np.diag([1.0, -1.0, 1.0]),
            np.array(camera["K"]),
            np.array(camera["dist_k1k2p1p2k3"], float),
        )
        voids = tuple(np.array(v["polygon_mm"]) * Y_UP for v in truth["voids"] if v["area_mm2"] >= 100)
        return cls(path.stem, truth, np.array(truth["outline_mm"]) * Y_UP, voids, mapping)

    def rectify(self, photo: NDArray[np.uint8], zoom: float = 1.0) -> RectifiedPhoto:
        """`photo`, taken `zoom` times as large as the truth's, on square millimetres."""
        mapping = self._zoomed(zoom)
        height, width = photo.shape[:2]
        step = self.truth["mm_per_px"] / zoom
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
        for item in self.truth["references"]:
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
                    -self.truth["thickness_mm"] if below else 0.0,
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
    return cv2.warpAffine(
        exact, shrink, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )


def truth_views(folder: Path) -> list[TruthView]:
    """Every photo of a folder that has a truth file."""
    paths = [p for p in sorted(folder.glob("*.json")) if p.with_suffix(".jpg").exists()]
    if not paths:
        raise SystemExit(f"{folder}: no NNN.jpg with NNN.json found.")
    return [TruthView.read(p) for p in paths]


def read_rgb(path: Path) -> NDArray[np.uint8]:
    """A picture file as RGB."""
    return cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
