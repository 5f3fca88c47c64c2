"""Photographs with exact truth: the true camera, and how far a mapping or survey is from it.

The truth's frame is slab millimetres, x right, y down seen from above. Nothing
here aligns anything: our millimetres go to the photo by our mapping, and from
the photo to true millimetres by the true camera.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from crackmap.records import FloatArray, Survey
from crackmap.scale.mapping import Mapping


@dataclass(frozen=True)
class Truth:
    """A photo's truth file."""

    form: dict[str, Any]
    photo: Path

    @property
    def camera(self) -> Mapping:
        """True slab mm (y down) <-> photo pixels."""
        camera = self.form["camera"]
        return Mapping(np.array(self.form["H_mm_to_undistorted_px"]), np.array(camera["K"]),
                       np.array(camera["dist_k1k2p1p2k3"], float))

    @property
    def outline(self) -> FloatArray:
        """Edge of the show face, (N, 2). [mm]"""
        return np.array(self.form["outline_mm"], float)

    @property
    def thickness_mm(self) -> float:
        """[mm]"""
        return float(self.form["thickness_mm"])

    @property
    def mm_per_px(self) -> float:
        """[mm]"""
        return float(self.form["mm_per_px"])

    @property
    def markers(self) -> list[dict[str, Any]]:
        """The markers among the references."""
        return [r for r in self.form["references"] if r["type"] == "marker"]

    def options(self) -> list[str]:
        """The options of `crackmap run` that tell what lies where on this photo."""
        given = ["--thickness", f"{self.thickness_mm:.2f}mm"]
        if self.markers:
            given += ["--marker-size", f"{self.markers[0]['size_mm']}mm"]
            if any(m["where"] == "bench" for m in self.markers):
                given += ["--marker-height", f"-{self.thickness_mm:.2f}mm"]
        else:
            kinds = [r["type"] for r in self.form["references"] if r["type"] in ("a4", "letter", "card", "a3")]
            given += ["--reference", kinds[0]] if kinds else []
        return given


def load_truth(path: Path) -> Truth:
    """The truth of a photo, from its NNN.json beside NNN.jpg."""
    return Truth(json.loads(path.read_text(encoding="utf-8")), path.with_suffix(".jpg"))


def truths_in(folder: Path) -> list[Truth]:
    """Every photo of a folder that has a truth file, in name order."""
    return [load_truth(p) for p in sorted(folder.glob("*.json")) if p.with_suffix(".jpg").exists()]


def to_true(truth: Truth, mapping: Mapping, points_mm: ArrayLike) -> FloatArray:
    """Our slab millimetres to the truth's, through the photo. Shape (N, 2)."""
    return truth.camera.to_slab(mapping.to_pixels(points_mm))


def scale_error_percent(truth: Truth, mapping: Mapping) -> float:
    """Median of |distance ratio - 1| over pairs farther apart than 0.4 of the largest. [%]"""
    low, high = truth.outline.min(axis=0), truth.outline.max(axis=0)
    grid = np.stack(np.meshgrid(np.linspace(low[0], high[0], 9), np.linspace(low[1], high[1], 5)), -1).reshape(-1, 2)
    ours = mapping.to_slab(truth.camera.to_pixels(grid))
    i, j = np.triu_indices(len(grid), 1)
    true = np.linalg.norm(grid[i] - grid[j], axis=1)
    ratio = np.linalg.norm(ours[i] - ours[j], axis=1) / true
    far = true > 0.4 * true.max()
    return float(np.median(np.abs(ratio[far] - 1)) * 100)


def edge_iou(truth: Truth, survey: Survey) -> float:
    """Intersection over union of our outline and the true one. [-]"""
    true = shapely.Polygon(truth.outline).buffer(0)
    ours = shapely.Polygon(to_true(truth, survey.mapping, survey.outline)).buffer(0)
    return float(true.intersection(ours).area / true.union(ours).area)


def crack_samples(truth: Truth, step: float = 0.5) -> tuple[FloatArray, FloatArray]:
    """Points along the visible true cracks (N, 2) and their widths (N,). [mm]"""
    points, widths = [np.zeros((0, 2))], [np.zeros(0)]
    for crack in truth.form["cracks"]:
        line, width = np.array(crack["centreline_mm"], float), np.array(crack["width_mm"], float)
        along = np.r_[0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
        at = np.arange(step / 2, along[-1], step)
        seen = np.interp(at, along, np.array(crack.get("visible", [1] * len(line)), float)) > 0.5
        points.append(np.c_[np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])][seen])
        widths.append(np.interp(at, along, width)[seen])
    return np.concatenate(points), np.concatenate(widths)


def crack_recall(truth: Truth, survey: Survey, wider_than_mm: float) -> float | None:
    """Share of the true crack length of that width within 1 mm (or 2 px) of a found centreline."""
    points, widths = crack_samples(truth)
    points = points[widths > wider_than_mm]
    if not len(points):
        return None
    found = [to_true(truth, survey.mapping, shapely.get_coordinates(shapely.segmentize(shapely.LineString(c.centreline),
                                                                                      0.5)))
             for c in survey.cracks]
    if not found:
        return 0.0
    near = cKDTree(np.concatenate(found)).query(points)[0]
    return float((near <= max(1.0, 2 * truth.mm_per_px)).mean())
