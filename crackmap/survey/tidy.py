"""The kept segments as few lines as a maker would draw: no stubs, no eyes, one line from fork to fork.

A wide crack's likely band has rough lips and holes, so its middle line has short
stubs, and goes round each hole on both sides. What the judge has refused leaves
forks with two arms. All this would be named, measured and listed as cracks of
their own.
"""

from __future__ import annotations

import numpy as np

from crackmap.survey.doubles import without_doubles
from crackmap.survey.graph import Branch, FloatArray, merge_through, prune_spurs
from crackmap.survey.near import Neighbourhood

STUB_MM = 8.0  # an arm with a loose end shorter than this, past the lip of what it hangs on, is no branch
EYE_MM = 2.5  # two ways round a hole that lie no farther apart than this, past the gap itself, are one


def tidied(
    branches: list[Branch], widths: list[FloatArray], odds: list[float], mm_per_px: float
) -> tuple[list[Branch], list[float]]:
    """Fewer, longer branches and the log-odds of each.

    Each widths array has shape (N,).

    Parameters
    ----------
    branches : list of Branch
    widths : list of ndarray
        Width at each branch's points. [px]
    odds : list of float
        Log-odds of each branch; a joined one's are their mean along it.
    mm_per_px : float
        Size of a pixel. [mm]
    """
    if not branches:
        return [], []
    points = np.concatenate([branch.points for branch in branches])
    known_odds = np.repeat(odds, [len(branch.points) for branch in branches])
    known_width = np.concatenate(widths)
    tree = Neighbourhood(points)

    def width_of(branch: Branch) -> FloatArray:
        return np.asarray(known_width[tree.nearest(branch.points)[1]])

    count = -1
    kept = merge_through(branches)
    while len(kept) != count:
        count = len(kept)
        kept = prune_spurs(kept, _stub_limits(kept, width_of(_all_nodes(kept)), mm_per_px))
        # Twice the margin is added to a width: it counts on either side.
        kept = without_doubles(kept, [width_of(branch) + 2.0 * EYE_MM / mm_per_px for branch in kept])
    return kept, [float(known_odds[tree.nearest(branch.points)[1]].mean()) for branch in kept]


def _all_nodes(branches: list[Branch]) -> Branch:
    """The nodes as the points of one branch, starts and ends in turn."""
    return Branch(np.array([p for b in branches for p in (b.points[0], b.points[-1])]), 0, 0)


def _stub_limits(branches: list[Branch], width: FloatArray, mm_per_px: float) -> dict[int, float]:
    """How long an arm at each node must be, to be a branch. [px]"""
    limits: dict[int, float] = {}
    nodes = [node for branch in branches for node in (branch.start, branch.end)]
    for node, own in zip(nodes, width, strict=True):
        limits[node] = max(limits.get(node, 0.0), float(own) / 2.0 + STUB_MM / mm_per_px)
    return limits
