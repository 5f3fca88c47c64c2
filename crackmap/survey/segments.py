"""Whole segments that may be cracks, and what is looked at to judge each as a whole."""

from __future__ import annotations

import numpy as np

from crackmap.survey.candidates import SMOOTHING_PX, Candidates
from crackmap.survey.doubles import without_doubles
from crackmap.survey.graph import Branch, degrees, merge_through
from crackmap.survey.judge_features import FEATURES_WITH_CHANCE, Pieces
from crackmap.survey.judge_points import rough_widths
from crackmap.survey.link import linked
from crackmap.survey.profile import FloatArray
from crackmap.survey.smooth_lines import smooth_lines

SHORTEST_CRACK_MM = 8.0  # shorter lone lines are left alone: no key or resin is spent on them
SHORTEST_CRACK_PX = 12.0

# Means along the segment of its pieces' features of the same names. How dark, how
# sharp and how wide it is the network has weighed already, and made pictures know
# too few of the soft cracks of real wood: they are left out here. What a line does
# over its whole length, and in what company, the network cannot see.
MEANS = (
    "chance", "chance_near", "to_grain", "coherence", "turning", "roughness", "step", "border_near",
    "border_along", "border", "company_to_grain", "company_density", "company_chance",
)  # fmt: skip
OWN = (
    "chance_low", "chance_high", "to_grain_high", "length_px", "length_mm", "straightness", "closed", "bend",
    "loose_ends", "others", "others_chance", "others_to_grain",
)  # fmt: skip
SEGMENT_FEATURES = MEANS + OWN


def segments_of(found: Candidates, kept: list[Branch]) -> list[Branch]:
    """The kept lines as segments: linked, without doubles and loose scraps."""
    if not kept:
        return []
    merged = merge_through(kept)
    widths = [float(np.median(rough_widths(found.lines, branch.points))) for branch in merged]
    joined = linked(merged, found.lines, widths, found.mm_per_px, found.seen.wood)
    single = without_doubles(joined, [rough_widths(found.lines, branch.points) for branch in joined])
    return _without_scraps(single, max(SHORTEST_CRACK_PX, SHORTEST_CRACK_MM / found.mm_per_px))


def _without_scraps(branches: list[Branch], shortest: float) -> list[Branch]:
    """Without the short lines that hang on nothing."""
    count = degrees(branches)
    return [b for b in branches if b.length >= shortest or count[b.start] > 1 or count[b.end] > 1]


def pieces_along(found: Candidates, branches: list[Branch], deep: float | None = None) -> Pieces:
    """The pieces of whole segments. `deep` as for `pieces_of`. [-]"""
    return found.pieces_along(smooth_lines([branch.points for branch in branches], SMOOTHING_PX), deep)


def mean_over(pieces: Pieces, values: FloatArray, count: int) -> FloatArray:
    """Mean of the pieces' values over each of `count` lines. `values` has shape (P,), a row a piece."""
    return np.asarray(np.bincount(pieces.line, values, count) / np.bincount(pieces.line, minlength=count))


def segment_features(found: Candidates, branches: list[Branch]) -> FloatArray:
    """`SEGMENT_FEATURES` of whole segments, at least one, of a picture whose chance of crack is known; (S, F)."""
    pieces, count = pieces_along(found, branches), len(branches)
    column = {name: pieces.features[:, k] for k, name in enumerate(FEATURES_WITH_CHANCE)}
    column["step"] = column["stretch_step"]
    starts = np.searchsorted(pieces.line, np.arange(count))
    length = np.array([branch.length for branch in branches])
    ends = np.array([[b.points[0], b.points[-1]] for b in branches])
    degree = degrees(branches)
    means = {name: mean_over(pieces, column[name], count) for name in MEANS}
    own = {
        "chance_low": np.minimum.reduceat(column["chance"], starts),
        "chance_high": np.maximum.reduceat(column["chance"], starts),
        "to_grain_high": np.maximum.reduceat(column["to_grain"], starts),
        "length_px": np.log(length + 1),
        "length_mm": np.log(length * found.mm_per_px + 1),
        "straightness": np.hypot(*(ends[:, 1] - ends[:, 0]).T) / np.maximum(length, 1.0),
        "closed": np.array([float(b.start == b.end) for b in branches]),
        "bend": _bend(branches),
        "loose_ends": np.array([float((degree[b.start] == 1) + (degree[b.end] == 1)) for b in branches]),
    }
    own |= _others(found, length, means["chance"], means["to_grain"])
    return np.column_stack([(means | own)[name] for name in SEGMENT_FEATURES])


def _bend(branches: list[Branch]) -> FloatArray:
    """0 for a straight segment, 1 for one that runs every way alike."""
    bends = []
    for branch in branches:
        step = branch.points[6:] - branch.points[:-6] if len(branch.points) > 12 else np.diff(branch.points, axis=0)
        doubled = (step[:, 0] + 1j * step[:, 1]) ** 2
        bends.append(1.0 - abs(doubled.sum()) / max(float(np.abs(doubled).sum()), 1e-9))
    return np.asarray(np.sqrt(np.maximum(np.array(bends), 0.0)))


def _others(found: Candidates, length: FloatArray, chance: FloatArray, to_grain: FloatArray) -> dict[str, FloatArray]:
    """How much else was found in the picture for its wood, how likely it is and how far off the grain."""
    area = max(float(found.seen.wood.sum()), 1.0)
    total = length.sum() - length
    rest = np.maximum(total, 1e-6)
    return {
        "others": np.log1p(1e4 * total / area),
        "others_chance": np.where(total > 1, ((length * chance).sum() - length * chance) / rest, 0.0),
        "others_to_grain": np.where(total > 1, ((length * to_grain).sum() - length * to_grain) / rest, 0.0),
    }
