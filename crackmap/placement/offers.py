"""Up to three plans to choose from: fewest keys, balanced, strongest."""

from __future__ import annotations

import numpy as np

from crackmap.placement.ground import Ground, lay_ground
from crackmap.placement.loads import all_loads_cost
from crackmap.placement.place import (
    best_of,
    every_place,
    in_words,
    pose_problem,
    price_again,
    solve_on,
    weigh,
)
from crackmap.placement.problem import plan_cost
from crackmap.placement.relief import line_relief, woods_of
from crackmap.placement.settle import in_hand
from crackmap.placement.solved import Solved
from crackmap.placement.stretches import stretches
from crackmap.records import Edits, OfferedPlan, Survey
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop

_NO_EDITS = Edits()
_USUAL = PlacementSettings()
NAMES = ("fewest", "balanced", "strongest")
_DESCRIPTIONS = {
    "fewest": "Fewest keys: only where a long stretch would stay open; the quickest to cut.",
    "balanced": "Balanced: no stretch left that is worth another key, none that a key spoils.",
    "strongest": "Strongest: short stretches and long wings, for a slab that still moves or bears load.",
}
_SAME_PLACE = 1.0  # plans whose keys all lie this near to each other are one [mm]


def offered_plans(survey: Survey, shop: Shop, thickness_mm: float, edits: Edits = _NO_EDITS,
                  settings: PlacementSettings = _USUAL) -> tuple[OfferedPlan, ...]:
    """The plans to choose from, fewest keys first; those that turn out the same are given once.

    Parameters
    ----------
    survey, shop, thickness_mm, edits, settings
        As for `place`. "balanced" is what `place` returns for them; the user's
        word holds in all of them.

    Returns
    -------
    tuple of OfferedPlan
        One to three; "balanced" is always among them.

    Raises
    ------
    PlacementError, KeyShapeError
        As `place` does.
    """
    ground = lay_ground(survey, shop, thickness_mm, edits, settings)
    own = every_place(ground, shop, settings)
    balanced = solve_on(ground, own, edits, shop, settings)
    found = {"balanced": balanced}
    for name in ("fewest", "strongest"):
        weights = weights_of(name, settings)
        candidates = price_again(balanced.candidates, ground, shop, weights)
        found[name] = best_of(ground, candidates, edits, shop, weights)
    offered: dict[str, Solved] = {}
    for name in ("balanced", "fewest", "strongest"):
        if not any(_is_same(found[name], other) for other in offered.values()):
            offered[name] = found[name]
    return tuple(_offer(name, offered[name], ground, survey, shop, thickness_mm, edits, settings)
                 for name in NAMES if name in offered)


def weights_of(name: str, settings: PlacementSettings) -> PlacementSettings:
    """The settings that an offered plan is best by."""
    factor = {"fewest": settings.fewest_stretch, "balanced": 1.0, "strongest": settings.strongest_stretch}[name]
    reach = settings.strongest_reach if name == "strongest" else 1.0
    return settings.with_changes(
        stretch=factor * settings.stretch, least_stretch=factor * settings.least_stretch,
        most_stretch=factor * settings.most_stretch, wished_reach=reach * settings.wished_reach)


def _is_same(a: Solved, b: Solved) -> bool:
    places = [s.candidates.pockets.take(s.numbers) for s in (a, b)]
    if len(places[0]) != len(places[1]):
        return False
    if not len(places[0]):
        return True
    away = np.hypot(*(places[0].centre[:, None] - places[1].centre[None]).transpose(2, 0, 1))
    nearest = away.argmin(axis=1)
    return bool((away.min(axis=1) <= _SAME_PLACE).all() and (places[0].kind == places[1].kind[nearest]).all())


def _offer(name: str, solved: Solved, ground: Ground, survey: Survey, shop: Shop, thickness_mm: float,
           edits: Edits, settings: PlacementSettings) -> OfferedPlan:
    on_top = [s.length for n in solved.asking for s in stretches(solved, n, solved.numbers)]
    objective = solved.objective if name == "balanced" else _by_weights(solved, ground, edits, shop, settings)
    placement = in_words(solved, survey, shop, thickness_mm, edits, settings)
    return OfferedPlan(name, _DESCRIPTIONS[name], placement, objective, max(on_top, default=0.0),
                       _holding(solved, shop))


def _by_weights(solved: Solved, ground: Ground, edits: Edits, shop: Shop, settings: PlacementSettings) -> float:
    """What a plan costs by other weights than those that it is best by. [keys]"""
    candidates = weigh(ground, in_hand(solved, ground)[0], edits, shop, settings)
    problem = pose_problem(candidates, list(ground.asking), ground.site, settings)
    on_lines = candidates.crossings.held[:, list(ground.asking)].any(axis=1)
    return (plan_cost(problem, frozenset(np.flatnonzero(on_lines).tolist()))
            + all_loads_cost(solved, woods_of(shop), settings))


def _holding(solved: Solved, shop: Shop) -> str:
    """How much more pull the keyed cracks bear, in one sentence."""
    woods = woods_of(shop)
    gains = [(relief, solved.site.lines[n].length, solved.site.lines[n].name) for n in solved.asking
             if (relief := line_relief(solved, n, solved.numbers, woods)) is not None]
    if not gains:
        return ""
    mean = sum(relief * length for relief, length, _ in gains) / sum(length for _, length, _ in gains)
    least, _, name = min(gains)
    return (f"the cracks bear {mean:.2f} times the pull that they would bear without keys before they run on "
            f"(mean by length; {name} the least, {least:.2f} times); advisory, not structural design")
