"""What a plan leaves unheld, line by line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crackmap.placement.solved import Solved

END_WORDS = {"edge": "the open end", "border": "the picture's border", "void": "the void",
             "junction": "where it branches off", "tip": "the tip"}


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of a line that no key covers."""

    start: float  # arc [mm]
    end: float  # arc [mm]
    before: int | None  # candidate at its start; None: the line's own start
    after: int | None  # candidate at its end

    @property
    def length(self) -> float:
        """[mm]"""
        return self.end - self.start


def stretches(solved: Solved, n: int, numbers: np.ndarray) -> list[Stretch]:
    """Unheld stretches of line `n` between the candidates `numbers` that hold it, from its start."""
    crossings, pockets = solved.candidates.crossings, solved.candidates.pockets
    holding = [int(k) for k in numbers if crossings.held[k, n]]
    holding.sort(key=lambda k: float(crossings.arc[k, n]))
    half = pockets.of_kind("half_width")
    length = solved.site.lines[n].length
    found, at, before = [], 0.0, None
    for k in holding:
        arc = float(crossings.arc[k, n])
        found.append(Stretch(at, max(at, min(length, arc - half[k])), before, k))
        at, before = max(at, min(length, arc + float(half[k]))), k
    found.append(Stretch(at, length, before, None))
    return found
