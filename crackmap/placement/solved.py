"""A plan in terms of its candidates, before it is put into words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.keys.family import KeySize
from crackmap.placement.candidates import Candidates
from crackmap.placement.rules import Rule
from crackmap.placement.site import Site


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """The chosen candidates and all that was weighed."""

    site: Site
    rules: tuple[Rule, ...]
    family: tuple[KeySize, ...]
    asking: tuple[int, ...]  # numbers of the lines that ask for keys
    counts: dict[int, int]  # keys asked for by the user, by line, as far as they fit
    candidates: Candidates
    chosen: tuple[int, ...]  # candidate numbers; the user's keys that hold no line are not among them
    objective: float  # what the plan costs [keys]
    gap: float  # before loads, settling and rows no plan of these stations costs less by more than this [keys]
    warnings: tuple[str, ...]

    @property
    def numbers(self) -> NDArray[np.int64]:
        """Every candidate that will be cut: those chosen, and the user's and earlier keys that hold no line."""
        return np.union1d(np.array(self.chosen, np.int64), np.flatnonzero(self.candidates.needed)).astype(np.int64)
