"""What a maker should look at before cutting this plan."""

from __future__ import annotations

import numpy as np

from crackmap.placement.score import cumulative_demand
from crackmap.placement.solved import Solved
from crackmap.placement.stretches import END_WORDS, stretches
from crackmap.placement.unheld import blocked_by
from crackmap.records import Key
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop

_LONG = 2.0  # a stretch worth more keys than this deserves a word [keys]


def plan_warnings(solved: Solved, keys: tuple[Key, ...], shop: Shop,
                  settings: PlacementSettings) -> tuple[str, ...]:
    """Sentences, most serious first."""
    return (*_broken_rules(keys), *_slab_in_two(solved), *_long_stretches(solved, shop, settings),
            *_not_proven(solved), *_cut_by_border(solved))


def _broken_rules(keys: tuple[Key, ...]) -> list[str]:
    said = []
    for key in keys:
        broken = [c for c in key.checks if not c.ok]
        if broken and key.origin != "suggested":
            said.append(f"{key.id} is yours and was kept, but look at: "
                        + "; ".join(f"{c.name} {_short(c.value)} (limit {f'{_short(c.limit)} {c.unit}'.strip()})"
                                    for c in broken) + ".")
    return said


def _short(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"


def _slab_in_two(solved: Solved) -> list[str]:
    return [f"{line.name} runs from edge to edge: the slab is in two parts there. Keys do not replace a "
            "joint; saw along the crack and glue it up, or fasten a batten below."
            for line in solved.site.lines if line.ends == ("edge", "edge")]


def _long_stretches(solved: Solved, shop: Shop, settings: PlacementSettings) -> list[str]:
    chosen = solved.numbers
    said = []
    for n in solved.asking:
        line = solved.site.lines[n]
        if not solved.candidates.crossings.held[chosen, n].any():
            continue  # has its sentence among the unheld
        demand = cumulative_demand(line, solved.site, settings)
        for s in stretches(solved, n, chosen):
            load = np.diff(np.interp([s.start, s.end], line.arc, demand))[0]
            if load > _LONG and n not in solved.counts:
                where = f"{_end_name(solved, n, s.before, 0)} to {_end_name(solved, n, s.after, 1)}"
                said.append(f"{line.name}: {s.length:.0f} mm stay unheld from {where}, because "
                            f"{blocked_by(n, s.start, s.end, solved, shop, settings)}.")
    return said


def _end_name(solved: Solved, n: int, candidate: int | None, side: int) -> str:
    if candidate is None:
        return END_WORDS.get(solved.site.lines[n].ends[side], "its end")
    x, y = solved.candidates.pockets.centre[candidate]
    return f"the key at x {x:.0f}, y {y:.0f}"


def _not_proven(solved: Solved) -> list[str]:
    if solved.gap <= 1e-5:
        return []
    return ["the search stopped at its limit: no plan can be better than this one by more than "
            f"{solved.gap:.2f} of a key."]


def _cut_by_border(solved: Solved) -> list[str]:
    return [f"{line.name} runs out of the picture: keys beyond its border are not planned."
            for line in solved.site.lines if "border" in line.ends]
