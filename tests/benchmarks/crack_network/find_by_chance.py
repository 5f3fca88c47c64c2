"""Cracks from the network's chance of crack: thinned, linked, measured."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.doubles import without_doubles
from crackmap.survey.found import FoundCrack
from crackmap.survey.graph import Branch, degrees, merge_through
from crackmap.survey.judge_points import rough_widths
from crackmap.survey.link import linked
from crackmap.survey.measure import measured, rough_gaps
from crackmap.survey.ridge import LineMap, line_map
from crackmap.survey.tone import WoodValue, wood_value
from tests.benchmarks.crack_network.chance_lines import (
    chance_branches,
    chance_strength,
    line_confidences,
    within_rim,
    without_edge_lines,
)
from tests.benchmarks.crack_network.crack_chance import crack_chance


def cracks_by_chance(
    image: NDArray[np.uint8],
    mm_per_px: float,
    wood: NDArray[np.bool_] | None,
    least_confidence: float,
    shortest_px: float,
) -> list[FoundCrack]:
    """Cracks of a picture already cut to the wood, in its pixels; arguments as `find_cracks`.

    `shortest_px` is the least length of a line that hangs on nothing. [px]
    """
    chance = crack_chance(image, wood if wood is None else within_rim(wood))
    seen = wood_value(image, wood)
    lines = chance_strength(chance, line_map(seen))
    branches = _joined(seen, lines, chance_branches(chance, lines), mm_per_px)
    count = degrees(branches)
    branches = [b for b in branches if b.length >= shortest_px or count[b.start] > 1 or count[b.end] > 1]
    if wood is not None:
        branches = without_edge_lines(branches, wood)
    sure = line_confidences(chance, branches)
    kept = [k for k in range(len(branches)) if sure[k] >= least_confidence]
    return measured(seen, lines, [branches[k] for k in kept], [sure[k] for k in kept])


def _joined(seen: WoodValue, lines: LineMap, branches: list[Branch], mm_per_px: float) -> list[Branch]:
    """Branches linked over dust and to their stems, one line for one gap."""
    if not branches:
        return []
    widths = [float(np.median(rough_widths(lines, branch.points))) for branch in branches]
    joined = linked(merge_through(branches), lines, widths, mm_per_px)
    return without_doubles(joined, rough_gaps(seen, lines, joined))
