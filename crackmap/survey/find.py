"""Find the cracks in a picture of wood: the settled entry."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.errors import SurveyError
from crackmap.survey.candidates import SMOOTHING_PX, Candidates, candidates
from crackmap.survey.doubles import without_doubles
from crackmap.survey.found import FoundCrack
from crackmap.survey.graph import Branch, degrees, merge_through
from crackmap.survey.judge import crack_odds
from crackmap.survey.judge_features import Pieces, pieces_of
from crackmap.survey.judge_points import rough_widths
from crackmap.survey.link import linked
from crackmap.survey.measure import measured, rough_gaps
from crackmap.survey.profile import smoothed_paths
from crackmap.survey.stretches import crack_stretches, cut_branches, joined_to_stems
from crackmap.survey.tone import BAND_PX

SHORTEST_CRACK_MM = 8.0  # shorter lone lines are left alone: no key or resin is spent on them
SHORTEST_CRACK_PX = 12.0


def find_cracks(
    image: NDArray[np.uint8],
    mm_per_px: float,
    wood: NDArray[np.bool_] | None = None,
    least_confidence: float = 0.5,
) -> list[FoundCrack]:
    """Cracks in a picture of wood, with centrelines, widths and confidence.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        sRGB.
    mm_per_px : float
        Size of a pixel. [mm]
    wood : ndarray of bool, shape (H, W), optional
        True where cracks are looked for; everywhere if not given. Its border may
        be a pixel or two off the wood's.
    least_confidence : float
        Cracks of less confidence are left out; 0 to 1. [-]

    Returns
    -------
    list of FoundCrack
        In picture pixels, the longest first. Branches of one crack share an end point.

    Raises
    ------
    SurveyError
        If the picture, the mask, the scale or the confidence cannot be right.
    """
    _check(image, mm_per_px, wood, least_confidence)
    low, high = _window(image, wood)
    if (high - low).min() < 16:
        return []
    part = np.ascontiguousarray(image[low[1] : high[1], low[0] : high[0]])
    found = candidates(part, mm_per_px, None if wood is None else wood[low[1] : high[1], low[0] : high[0]])
    if not found.paths:
        return []
    pieces = found.pieces()
    branches = _cracks_among(found, pieces, least_confidence)
    if not branches:
        return []
    confidences = _confidences(found, branches, pieces.deep)
    kept = [k for k in range(len(branches)) if confidences[k] >= least_confidence]
    cracks = measured(found.seen, found.lines, [branches[k] for k in kept], [confidences[k] for k in kept])
    moved = [FoundCrack(c.centreline + low, c.width, c.width_sigma, c.confidence) for c in cracks]
    return sorted(moved, key=lambda crack: -crack.length)


def _check(image: NDArray[np.uint8], mm_per_px: float, wood: NDArray[np.bool_] | None, least_confidence: float) -> None:
    if image.ndim != 3 or image.shape[2] != 3 or image.dtype != np.uint8:
        raise SurveyError(f"The picture must be 8-bit RGB of shape (H, W, 3); this one is {image.dtype} {image.shape}.")
    if not mm_per_px > 0:
        raise SurveyError(f"The scale must be greater than 0 mm a pixel, not {mm_per_px}.")
    if wood is not None and wood.shape != image.shape[:2]:
        raise SurveyError(f"The wood mask {wood.shape} must be as large as the picture {image.shape[:2]}.")
    if not 0 <= least_confidence <= 1:
        raise SurveyError(f"The least confidence must lie between 0 and 1, not {least_confidence}.")


def _window(image: NDArray[np.uint8], wood: NDArray[np.bool_] | None) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Corners (x, y) of the part of the picture that holds the wood."""
    size = np.array(image.shape[1::-1])
    if wood is None:
        return np.zeros(2, int), size
    columns, rows = np.flatnonzero(wood.any(0)), np.flatnonzero(wood.any(1))
    if not len(columns):
        return np.zeros(2, int), np.zeros(2, int)
    low = np.maximum(np.array([columns[0], rows[0]]) - BAND_PX, 0)
    high = np.minimum(np.array([columns[-1], rows[-1]]) + BAND_PX + 1, size)
    return low, high


def _cracks_among(found: Candidates, pieces: Pieces, least_confidence: float) -> list[Branch]:
    """The branches that are crack, cut, linked and without loose scraps."""
    odds = crack_odds(pieces.features) - _logit(least_confidence)
    stretches = joined_to_stems(found.branches, crack_stretches(pieces, odds, len(found.paths)))
    kept = cut_branches(found.branches, stretches)
    widths = [float(np.median(rough_widths(found.lines, branch.points))) for branch in kept]
    joined = linked(merge_through(kept), found.lines, widths, found.mm_per_px)
    single = without_doubles(joined, rough_gaps(found.seen, found.lines, joined))
    return _without_scraps(single, max(SHORTEST_CRACK_PX, SHORTEST_CRACK_MM / found.mm_per_px))


def _logit(share: float) -> float:
    share = min(max(share, 1e-4), 1 - 1e-4)
    return float(np.log(share / (1 - share)))


def _without_scraps(branches: list[Branch], shortest: float) -> list[Branch]:
    """Without the short lines that hang on nothing."""
    count = degrees(branches)
    return [b for b in branches if b.length >= shortest or count[b.start] > 1 or count[b.end] > 1]


def _confidences(found: Candidates, branches: list[Branch], deep: float) -> list[float]:
    """A second look at whole cracks: the mean log-odds of a crack's pieces as a confidence."""
    paths = smoothed_paths([branch.points for branch in branches], SMOOTHING_PX)
    pieces = pieces_of(found.image, found.seen, found.lines, found.grain, paths, found.mm_per_px, deep)
    odds = crack_odds(pieces.features)
    mean = np.bincount(pieces.line, odds, len(paths)) / np.bincount(pieces.line, minlength=len(paths))
    return [float(1 / (1 + np.exp(-value))) for value in mean]


__all__ = ["FoundCrack", "find_cracks"]
