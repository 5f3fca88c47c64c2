"""A plan in terms of its candidates, before it is put into words."""

from __future__ import annotations

from dataclasses import dataclass

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
    cost: float  # [keys]
    bound: float  # no plan costs less [keys]
    warnings: tuple[str, ...]
