"""Does confidence mean what it says? Segments of photos with truth, by tenths of confidence."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from crackmap.survey.find import find_cracks, search
from tests.benchmarks.crack_score import not_judged, spaced, truth_points
from tests.benchmarks.crack_tables import photo_of
from tests.benchmarks.truth_view import rectified, wood_mask
from tests.truth import Truth

FloatArray = NDArray[np.float64]
BOUNDS = (0.0, 0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.92, 0.96, 1.0)
HEADER = f"{'said':>18} {'cracks':>8} {'+-':>7} {'number':>9}"


def segments_of_photo(truth: Truth) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Of all segments looked at: features (S, F), confidence (S,), and share of their length on true cracks (S,)."""
    picture, origin = rectified(truth, photo_of(truth))
    wood = wood_mask(truth, picture.shape, origin)
    seen = search(np.ascontiguousarray(picture[:, :, ::-1]), truth.mm_per_px, wood)
    if seen is None or not seen.segments:
        return np.zeros((0, 0)), np.zeros(0), np.zeros(0)
    lines = [(segment.points + seen.low) * truth.mm_per_px + origin for segment in seen.segments]
    shares = _shares(truth, lines)
    judged = np.isfinite(shares)
    return seen.features[judged], seen.confidences[judged], shares[judged]


def cracks_of_photo(truth: Truth) -> tuple[FloatArray, FloatArray]:
    """Of the cracks that a user would see: confidence (C,) and share of their length on true cracks (C,)."""
    picture, origin = rectified(truth, photo_of(truth))
    found = find_cracks(
        np.ascontiguousarray(picture[:, :, ::-1]), truth.mm_per_px, wood_mask(truth, picture.shape, origin)
    )
    shares = _shares(truth, [crack.centreline * truth.mm_per_px + origin for crack in found])
    judged = np.isfinite(shares)
    return np.array([crack.confidence for crack in found])[judged], shares[judged]


def _shares(truth: Truth, lines: list[FloatArray]) -> FloatArray:
    """Share of each line (mm) within the scores' tolerance of a true crack; NaN for what is not judged."""
    tolerance = max(1.0, 2 * truth.mm_per_px)
    hidden = not_judged(truth.form)
    true = truth_points(truth.form, hidden)[0]
    shares = []
    for line in lines:
        at = spaced(line)[0]
        at = at[~shapely.contains_xy(hidden, *at.T)]
        near = cKDTree(true).query(at)[0] <= tolerance if len(true) and len(at) else np.zeros(len(at))
        shares.append(float(near.mean()) if len(at) else np.nan)
    return np.array(shares)


def reliability(confidence: FloatArray, shares: FloatArray) -> list[str]:
    """A line for each band of confidence: what was said, and what share are cracks (half their length or more)."""
    rows = []
    for low, high in zip(BOUNDS[:-1], BOUNDS[1:], strict=True):
        inside = (confidence >= low) & ((confidence < high) | (high == 1.0))
        if inside.any():
            said, is_crack = confidence[inside].mean(), (shares[inside] >= 0.5).mean()
            doubt = 2 * np.sqrt(max(is_crack * (1 - is_crack), 0.25 / inside.sum()) / inside.sum())
            rows.append(f"{said:>18.2f} {is_crack:8.2f} {doubt:7.2f} {inside.sum():9d}")
    return rows


def confidence_table(truths: list[Truth]) -> None:
    """Print how confidence agrees with truth on segments and on cracks."""
    segments = [segments_of_photo(truth)[1:] for truth in truths]
    cracks = [cracks_of_photo(truth) for truth in truths]
    for name, parts in (("segments looked at", segments), ("cracks shown", cracks)):
        confidence, shares = (np.concatenate(column) for column in zip(*parts, strict=True))
        print(f"\n{name}: {len(shares)} on {len(truths)} photos")
        print(HEADER)
        print("\n".join(reliability(confidence, shares)), flush=True)
