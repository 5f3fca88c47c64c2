"""Why a crack has no key, and what would allow one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.placement.candidates import stations
from crackmap.placement.crack_lines import CrackLine
from crackmap.placement.pockets import lay_pockets
from crackmap.placement.rules import measure_all
from crackmap.placement.score import cumulative_demand, end_weights
from crackmap.placement.solved import Solved
from crackmap.placement.stretches import stretches
from crackmap.records import Crack, FloatArray, Key, Survey, Unheld
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop


def unheld_cracks(solved: Solved, survey: Survey, keys: tuple[Key, ...], shop: Shop,
                  settings: PlacementSettings) -> tuple[Unheld, ...]:
    """One entry for each surveyed crack that no key crosses, in the survey's order."""
    held = {crack for key in keys for crack in key.cracks}
    line_of = {crack: n for n, line in enumerate(solved.site.lines) for crack in line.cracks}
    return tuple(Unheld(crack.id, _why(crack, line_of.get(crack.id), solved, keys, shop, settings))
                 for crack in survey.cracks if crack.id not in held)


def _why(crack: Crack, n: int | None, solved: Solved, keys: tuple[Key, ...], shop: Shop,
         settings: PlacementSettings) -> str:
    if n is None:
        if crack.confidence >= settings.least_confidence or crack.drawn_by_user:
            return "it has no length: draw it again"
        return (f"it may not be a crack: confidence {crack.confidence:.2f}, {settings.least_confidence:.2f} "
                "is asked for; if it is one, draw it by hand and it is treated like any other")
    line = solved.site.lines[n]
    if solved.counts.get(n) == 0:
        return "left open as you asked"
    if not solved.site.is_on_top(line.points).any():
        return "it lies wholly in wood that will be trimmed off"
    beside = [key.id for key in keys if set(key.cracks) & set(line.cracks)]
    if beside:
        return _held_further_on(n, line, beside, solved)
    if line.widest < settings.least_width:
        return (f"hairline, {line.widest:.2f} mm at its widest: glue or resin closes it; keys from "
                f"{settings.least_width:g} mm up, or ask for a number of keys on it")
    candidates = solved.candidates
    load = float(cumulative_demand(line, solved.site, settings)[-1])
    # What its stretch costs unheld is the most that a key could save.
    if (max(end_weights(line, settings)) * load**2 <= 1.0
            or candidates.crossings.held[candidates.user < 0][:, n].any()):
        return _not_worth_it(line, load, n, keys, solved)
    return blocked_by(n, 0.0, line.length, solved, shop, settings)


def _held_further_on(n: int, line: CrackLine, beside: list[str], solved: Solved) -> str:
    longest = max(s.length for s in stretches(solved, n, solved.numbers))
    return (f"part of {line.name}, which {', '.join(beside)} hold{'s' if len(beside) == 1 else ''}; "
            f"longest unheld stretch {longest:.0f} mm")


def _not_worth_it(line: CrackLine, load: float, n: int, keys: tuple[Key, ...], solved: Solved) -> str:
    kind = "closed at both ends" if line.ends == ("tip", "tip") else "short"
    stems = {crack for m in np.flatnonzero(solved.site.attached[n]) for crack in solved.site.lines[m].cracks}
    if any(stems & set(key.cracks) for key in keys):
        kind = "a branch of a crack that is held"
    return (f"{kind}: {line.length:.0f} mm long and {line.widest:.1f} mm at its widest, it asks for "
            f"{load:.1f} of a key's worth and one would cost more than it holds; fill it, or ask for a "
            "key on it")


def blocked_by(n: int, start: float, end: float, solved: Solved, shop: Shop,
               settings: PlacementSettings) -> str:
    """Which rule keeps keys off line `n` between two arcs, by how much, and what would allow one.

    The rule named is the one that alone stands in the way of most places, the
    figure its nearest miss; where every place breaks several, the one broken
    most often.

    Arcs in mm.
    """
    cuttings = solved.candidates.pockets.cuttings[:len(solved.family)]
    kind, centre, angle = stations(n, solved.site, cuttings, shop.keys, settings)
    near = _between(solved.site.lines[n], centre, start, end)
    if not near.any():
        return "shorter than the step between places that were tried"
    pockets = lay_pockets(cuttings, kind[near], centre[near], angle[near])
    figures = measure_all(pockets, solved.site, solved.rules, quick=True)
    limits = np.array([rule.limit for rule in solved.rules])
    broken = figures < limits
    sole = broken & (broken.sum(axis=1) == 1)[:, None]
    if not broken.any(axis=1).all():
        return ("a sound place is there, but the keys beside it, a refused key or the crack's own bends "
                "leave no room; a smaller gap between keys would allow one")
    culprit = int((sole if sole.any() else broken).sum(axis=0).argmax())
    rows = (sole if sole.any() else broken)[:, culprit]
    rule, value = solved.rules[culprit], float(figures[rows, culprit].max())
    return (f"any key there would at best {rule.breaks.format(value=value, limit=rule.limit)}; "
            f"what would allow one: {rule.allows}")


def _between(line: CrackLine, centres: FloatArray, start: float, end: float) -> NDArray[np.bool_]:
    nearest = np.hypot(*(centres[:, None] - line.points[None]).transpose(2, 0, 1)).argmin(axis=1)
    return np.asarray((line.arc[nearest] >= start) & (line.arc[nearest] <= end))
