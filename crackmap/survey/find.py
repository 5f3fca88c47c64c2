"""Find the cracks in a picture of wood: the settled entry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.errors import SurveyError
from crackmap.survey.candidates import Candidates, candidates
from crackmap.survey.crack_chance import crack_chance, network_warnings
from crackmap.survey.found import FoundCrack
from crackmap.survey.graph import Branch
from crackmap.survey.judge import crack_odds, segment_odds
from crackmap.survey.judge_points import rough_widths
from crackmap.survey.measure import measured
from crackmap.survey.network import FloatArray
from crackmap.survey.segments import mean_over, pieces_along, segment_features, segments_of
from crackmap.survey.stretches import crack_stretches, cut_branches, joined_to_stems
from crackmap.survey.tidy import tidied
from crackmap.survey.tone import BAND_PX


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """What was found in a part of a picture, and what was looked at on the way.

    Parameters
    ----------
    low : ndarray, shape (2,)
        Corner (x, y) of the part in the picture. [px]
    found : Candidates
        All lines that were looked at, in pixels of the part.
    segments : list of Branch
        Whole segments made of them.
    features : ndarray, shape (S, len(SEGMENT_FEATURES))
        Empty without the network.
    confidences : ndarray, shape (S,)
        Of the segments. [-]
    """

    low: NDArray[np.int64]
    found: Candidates
    segments: list[Branch]
    features: FloatArray
    confidences: FloatArray


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
    return _cracks_of(search(image, mm_per_px, wood, least_confidence), least_confidence)


def find_cracks_by_lines(
    image: NDArray[np.uint8], mm_per_px: float, wood: NDArray[np.bool_] | None = None, least_confidence: float = 0.5
) -> list[FoundCrack]:
    """`find_cracks` without the network: the line filter and the judge of pieces alone, for comparison.

    `image` has shape (H, W, 3); confidences are 0 to 1. [-]
    """
    return _cracks_of(search(image, mm_per_px, wood, least_confidence, by_lines=True), least_confidence)


def search(
    image: NDArray[np.uint8],
    mm_per_px: float,
    wood: NDArray[np.bool_] | None = None,
    least_confidence: float = 0.5,
    *,
    by_lines: bool = False,
) -> Search | None:
    """Lines, judged pieces and segments of a picture; None where there is no wood to look at.

    Arguments as for `find_cracks`; `by_lines` does without the network, as is done where it cannot be read.

    `image` has shape (H, W, 3); confidences are 0 to 1. [-]
    """
    _check(image, mm_per_px, wood, least_confidence)
    low, high = _window(image, wood)
    if (high - low).min() < 16:
        return None
    part = image[low[1] : high[1], low[0] : high[0]]
    inside = None if wood is None else wood[low[1] : high[1], low[0] : high[0]]
    if by_lines or network_warnings():
        found = candidates(part, mm_per_px, inside)
        segments, odds = _segments_by_lines(found, _logit(least_confidence))
        features = np.zeros((0, 0))
    else:
        found = candidates(part, mm_per_px, inside, crack_chance(part, mm_per_px, inside))
        segments = segments_of(found, found.branches)
        features = segment_features(found, segments) if segments else np.zeros((0, 0))
        odds = segment_odds(features) if segments else np.zeros(0)
    return Search(low, found, segments, features, 1 / (1 + np.exp(-odds)))


def _segments_by_lines(found: Candidates, cut: float) -> tuple[list[Branch], FloatArray]:
    """Segments of the candidates' stretches that the judge of pieces takes for crack, and their log-odds."""
    if not found.paths:
        return [], np.zeros(0)
    pieces = found.pieces()
    stretches = crack_stretches(pieces, crack_odds(pieces.features) - cut, len(found.paths))
    kept = cut_branches(found.branches, joined_to_stems(found.branches, stretches))
    segments = segments_of(found, kept)
    if not segments:
        return [], np.zeros(0)
    # A second look at whole segments: the mean log-odds of their pieces.
    whole = pieces_along(found, segments, pieces.deep)
    return segments, mean_over(whole, crack_odds(whole.features), len(segments))


def _cracks_of(seen: Search | None, least_confidence: float) -> list[FoundCrack]:
    """The segments that are sure enough, measured, in pixels of the whole picture."""
    if seen is None:
        return []
    kept = [k for k, confidence in enumerate(seen.confidences) if confidence >= least_confidence]
    branches, odds = [seen.segments[k] for k in kept], [_logit(float(seen.confidences[k])) for k in kept]
    widths = [rough_widths(seen.found.lines, branch.points) for branch in branches]
    branches, odds = tidied(branches, widths, odds, seen.found.mm_per_px)
    sure = [float(1 / (1 + np.exp(-value))) for value in odds]
    cracks = measured(seen.found.image, seen.found.seen, seen.found.lines, branches, sure)
    moved = [FoundCrack(c.centreline + seen.low, c.width, c.width_sigma, c.confidence) for c in cracks]
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


def _logit(share: float) -> float:
    share = min(max(share, 1e-4), 1 - 1e-4)
    return float(np.log(share / (1 - share)))


__all__ = ["FoundCrack", "Search", "find_cracks", "find_cracks_by_lines", "search"]
