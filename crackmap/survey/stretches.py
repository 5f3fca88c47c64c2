"""From judged pieces to cracks: keep the stretches that are crack, cut off what is not.

Along a line the pieces' log-odds are taken as evidence, and the best cutting
into crack and not-crack is the one that wins most evidence at a fixed price a
change (the Viterbi path of a two-state chain). A short faint piece between good
ones is kept, and a grain line that a crack runs out into is cut off.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.graph import Branch
from crackmap.survey.judge_features import Pieces
from crackmap.survey.near import Neighbourhood

FloatArray = NDArray[np.float64]
CHANGE_PRICE = 2.0  # log-odds; a change of state each e**2 = 7 pieces of 20 px or so
STEM_PX = 64  # three pieces
MEETING_PX = 12.0
SHARE = 0.5  # neighbouring pieces of one line are not independent: each counts for half


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A part of a branch, points `first` to `last` (left out), with its mean log-odds."""

    branch: int
    first: int
    last: int
    odds: float


def crack_stretches(pieces: Pieces, odds: FloatArray, count: int) -> list[Stretch]:
    """The stretches of `count` lines that are crack. `odds` has shape (P,), a row a piece."""
    stretches = []
    bounds = np.searchsorted(pieces.line, np.arange(count + 1))
    for line in range(count):
        rows = slice(bounds[line], bounds[line + 1])
        state = best_states(odds[rows] * SHARE, CHANGE_PRICE)
        changes = np.flatnonzero(np.diff(np.r_[0, state, 0]))
        for begin, end in zip(changes[::2], changes[1::2], strict=True):
            piece = slice(rows.start + begin, rows.start + end)
            stretches.append(
                Stretch(line, int(pieces.first[piece][0]), int(pieces.last[piece][-1]), float(odds[piece].mean()))
            )
    return stretches


def best_states(evidence: FloatArray, price: float) -> NDArray[np.int64]:
    """0 or 1 for each piece: the most evidence less `price` for each change (Viterbi).

    `evidence` has shape (P,). [-]
    """
    value = np.array([0.0, 0.0])
    came = np.zeros((len(evidence), 2), int)
    for k, gain in enumerate(evidence):
        stay, switch = value, value[::-1] - price
        came[k] = np.where(stay >= switch, [0, 1], [1, 0])
        value = np.maximum(stay, switch) + [0.0, gain]
    state = int(value[1] > value[0])
    states = np.zeros(len(evidence), int)
    for k in range(len(evidence) - 1, -1, -1):
        states[k] = state
        state = int(came[k, state])
    return states


def joined_to_stems(branches: list[Branch], stretches: list[Stretch]) -> list[Stretch]:
    """Stretches drawn out to their line's end where that end meets another crack.

    Close to its stem a branch stands in the stem's shade and looks like little,
    but it must come from somewhere.
    """
    if not stretches:
        return []
    parts = [branches[s.branch].points[s.first : s.last] for s in stretches]
    owner = np.repeat([s.branch for s in stretches], [len(part) for part in parts])
    tree = Neighbourhood(np.concatenate(parts))

    def meets(point: FloatArray, branch: int) -> bool:
        return any(owner[k] != branch for k in tree.within(point, MEETING_PX))

    drawn = []
    for stretch in stretches:
        points = branches[stretch.branch].points
        first, last = stretch.first, stretch.last
        if 0 < first <= STEM_PX and meets(points[0], stretch.branch):
            first = 0
        if 0 < len(points) - last <= STEM_PX and meets(points[-1], stretch.branch):
            last = len(points)
        drawn.append(dataclasses.replace(stretch, first=first, last=last))
    return drawn


def cut_branches(branches: list[Branch], stretches: list[Stretch]) -> list[Branch]:
    """Branches of the stretches alone; whole ends keep their nodes."""
    fresh = 1 + max((max(b.start, b.end) for b in branches), default=0)
    cut = []
    for stretch in stretches:
        branch = branches[stretch.branch]
        start = branch.start if stretch.first == 0 else fresh
        end = branch.end if stretch.last == len(branch.points) else fresh + 1
        fresh += 2
        cut.append(Branch(branch.points[stretch.first : stretch.last], start, end))
    return cut
