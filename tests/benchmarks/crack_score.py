"""Scores for found cracks against true ones, in millimetres of the show face.

The scores follow the definitions that the project's goals are stated in: points
every 0.5 mm along true and found centrelines; a found point is right within
`tolerance` of any true crack (hairlines found are not false alarms); recall is
asked of the wide (1.5 px and more) and of the hairlines (0.7 to 1.5 px) apart;
what lies under a marker, card or rule, or in a void, is not judged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

FloatArray = NDArray[np.float64]
STEP = 0.5  # [mm]
WIDE_PX, HAIRLINE_PX = 1.5, 0.7


@dataclass(frozen=True)
class CrackScore:
    """One photo's figures; lengths and widths in mm, NaN where nothing was asked."""

    precision: float
    wide_recall: float
    hairline_recall: float
    tip_median: float
    width_abs: float
    width_bias: float
    width_px: float  # width_abs in pixels
    false_per_m2: float
    found_mm: float
    wide_mm: float
    hairline_mm: float
    tips: int
    area_m2: float

    def row(self) -> list[float]:
        """The figures in the order of the fields."""
        return [float(getattr(self, field.name)) for field in fields(self)]


def spaced(points: FloatArray, *along: Sequence[float] | FloatArray) -> tuple[FloatArray, list[FloatArray]]:
    """Midpoints of equal pieces of about `STEP`, with values carried along."""
    points = np.asarray(points, float)
    distance = np.r_[0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    count = max(round(distance[-1] / STEP), 1)
    at = (np.arange(count) + 0.5) * distance[-1] / count
    return (
        np.stack([np.interp(at, distance, points[:, k]) for k in (0, 1)], 1),
        [np.interp(at, distance, np.asarray(values, float)) for values in along],
    )


def not_judged(truth: dict[str, Any]) -> Any:
    """The areas under things lying on the slab, and the voids, each grown by 2 mm."""
    covered = [shapely.Polygon(r["outer_mm"]) for r in truth["references"] if r["where"] == "top"]
    voids = [shapely.make_valid(shapely.Polygon(v["polygon_mm"])) for v in truth["voids"]]
    return shapely.union_all([shape.buffer(2) for shape in covered + voids])


def score_cracks(truth: dict[str, Any], found: list[tuple[FloatArray, FloatArray]]) -> CrackScore:
    """Figures for one photo; `found` holds (centreline, width) in true slab mm."""
    mm_per_px = truth["mm_per_px"]
    tolerance = max(1.0, 2 * mm_per_px)
    hidden = not_judged(truth)
    true_points, true_width = truth_points(truth, hidden)
    found_points, found_width = _found_points(found, hidden)
    wide = true_width > WIDE_PX * mm_per_px
    hairline = (true_width >= HAIRLINE_PX * mm_per_px) & ~wide
    right = _near(true_points, found_points, tolerance)
    seen = _near(found_points, true_points, tolerance)
    tips = _tip_errors(truth, found)
    error = _width_errors(true_points[wide], true_width[wide], found_points, found_width)
    area_m2 = shapely.Polygon(truth["outline_mm"]).area / 1e6
    return CrackScore(
        precision=_share(right),
        wide_recall=_share(seen[wide]),
        hairline_recall=_share(seen[hairline]),
        tip_median=float(np.median(tips)) if len(tips) else np.nan,
        width_abs=float(np.median(np.abs(error))) if len(error) else np.nan,
        width_bias=float(np.median(error)) if len(error) else np.nan,
        width_px=float(np.median(np.abs(error))) / mm_per_px if len(error) else np.nan,
        false_per_m2=float((~right).sum() * STEP / area_m2),
        found_mm=len(found_points) * STEP,
        wide_mm=float(wide.sum() * STEP),
        hairline_mm=float(hairline.sum() * STEP),
        tips=len(tips),
        area_m2=area_m2,
    )


def _share(flags: NDArray[np.bool_]) -> float:
    return float(flags.mean()) if len(flags) else np.nan


def _near(targets: FloatArray, points: FloatArray, tolerance: float) -> NDArray[np.bool_]:
    """For each of `points`, whether one of `targets` lies within `tolerance`."""
    if not len(targets) or not len(points):
        return np.zeros(len(points), bool)
    return np.asarray(cKDTree(targets).query(points)[0] <= tolerance)


def truth_points(truth: dict[str, Any], hidden: Any) -> tuple[FloatArray, FloatArray]:
    """Points along the cracks in view, off the `hidden` areas, (N, 2), and the width there, (N,). [mm]"""
    points, widths = [np.zeros((0, 2))], [np.zeros(0)]
    for crack in truth["cracks"]:
        visible = crack.get("visible", 1)
        visible = visible if isinstance(visible, list) else [visible] * len(crack["width_mm"])
        at, (width, seen) = spaced(crack["centreline_mm"], crack["width_mm"], visible)
        kept = (seen > 0.5) & ~shapely.contains_xy(hidden, *at.T)
        points.append(at[kept])
        widths.append(width[kept])
    return np.concatenate(points), np.concatenate(widths)


def _found_points(found: list[tuple[FloatArray, FloatArray]], hidden: Any) -> tuple[FloatArray, FloatArray]:
    points, widths = [np.zeros((0, 2))], [np.zeros(0)]
    for centreline, width in found:
        at, (carried,) = spaced(centreline, width)
        kept = ~shapely.contains_xy(hidden, *at.T)
        points.append(at[kept])
        widths.append(carried[kept])
    return np.concatenate(points), np.concatenate(widths)


def _tip_errors(truth: dict[str, Any], found: list[tuple[FloatArray, FloatArray]]) -> FloatArray:
    """Distance from each true tip (anywhere on its fading tail) to the nearest found end. [mm]"""
    if not found:
        return np.zeros(0)
    ends = np.array([end for centreline, _ in found for end in (centreline[0], centreline[-1])])
    errors = []
    for crack in truth["cracks"]:
        points, width = np.asarray(crack["centreline_mm"], float), np.asarray(crack["width_mm"], float)
        limit = HAIRLINE_PX * truth["mm_per_px"]
        plain = np.flatnonzero(width >= limit)
        if crack["max_width_mm"] <= WIDE_PX * truth["mm_per_px"] or not len(plain):
            continue
        if width[0] < limit:
            errors.append(cKDTree(points[: plain[0] + 1]).query(ends)[0].min())
        if width[-1] < limit:
            errors.append(cKDTree(points[plain[-1] :]).query(ends)[0].min())
    return np.array(errors)


def _width_errors(
    true_points: FloatArray, true_width: FloatArray, found_points: FloatArray, found_width: FloatArray
) -> FloatArray:
    """Found less true width at each true point with a found one within 2 mm. [mm]"""
    if not len(true_points) or not len(found_points):
        return np.zeros(0)
    distance, nearest = cKDTree(found_points).query(true_points)
    close = distance <= 2.0
    return np.asarray(found_width[nearest[close]] - true_width[close])
