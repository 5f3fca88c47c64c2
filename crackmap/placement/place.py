"""The placement stage: from what was measured to keys, each with its reasons."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
from numpy.typing import NDArray

from crackmap.keys.held import with_holding
from crackmap.placement.candidates import Candidates, own_places
from crackmap.placement.chain import Chain, make_chain, shortest
from crackmap.placement.count_options import count_options
from crackmap.placement.coupling import choose
from crackmap.placement.crossings import find_crossings
from crackmap.placement.ground import Ground, lay_ground
from crackmap.placement.loads import all_loads_cost, strengthen
from crackmap.placement.pockets import Pockets, lay_pockets, touching_pairs
from crackmap.placement.problem import Choice, Problem
from crackmap.placement.relief import woods_of
from crackmap.placement.report import explain
from crackmap.placement.rows import line_up
from crackmap.placement.score import prices
from crackmap.placement.settle import in_hand, places_beside, with_settled
from crackmap.placement.site import Site
from crackmap.placement.solved import Solved
from crackmap.placement.user_keys import is_refused
from crackmap.records import Edits, Placement, Survey
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop

_NO_EDITS = Edits()
_USUAL = PlacementSettings()
_SETTLINGS = 3  # of a station each: rarely does a key go further
_WORTH_SETTLING = 1e-6  # [keys]
_TIE = 1e-7  # added to each candidate's price by its number: of equal plans the first wins [keys]


def place(survey: Survey, shop: Shop, thickness_mm: float, edits: Edits = _NO_EDITS,
          settings: PlacementSettings = _USUAL) -> Placement:
    """Keys across the cracks of a slab.

    Parameters
    ----------
    survey : Survey
        What was measured.
    shop : Shop
        Bit, fit and the maker's choice of keys.
    thickness_mm : float
        Of the slab. [mm]
    edits : Edits
        The user's keys (kept whatever they break, and flagged), refusals,
        counts, areas kept out, finished top.
    settings : PlacementSettings
        Rules and weights.

    Returns
    -------
    Placement
        Keys K1, K2, ... in reading order along the slab; for each crack without
        one, why.

    Raises
    ------
    PlacementError
        If the thickness or an edit makes no sense.
    KeyShapeError
        If no key can be cut with the shop's bit in a slab so thick.
    """
    solved = solve(survey, shop, thickness_mm, edits, settings)
    placement = in_words(solved, survey, shop, thickness_mm, edits, settings)
    problem = pose_problem(solved.candidates, list(solved.asking), solved.site, settings)
    return dataclasses.replace(placement, counts=count_options(solved, problem, woods_of(shop), settings))


def in_words(solved: Solved, survey: Survey, shop: Shop, thickness_mm: float, edits: Edits,
             settings: PlacementSettings) -> Placement:
    """The placement that a solved plan stands for, with the holding where the wood is known."""
    placement = explain(solved, survey, shop, edits, settings)
    return with_holding(placement, solved.site.lines, survey.outline, shop, thickness_mm)


def solve(survey: Survey, shop: Shop, thickness_mm: float, edits: Edits,
          settings: PlacementSettings) -> Solved:
    """The best plan; near to the one without the user's keys, so that an edit moves little else."""
    ground = lay_ground(survey, shop, thickness_mm, edits, settings)
    return solve_on(ground, every_place(ground, shop, settings), edits, shop, settings)


def every_place(ground: Ground, shop: Shop, settings: PlacementSettings) -> Pockets:
    """All pockets along and across the asking lines that break no rule."""
    return own_places(list(ground.asking), ground.site, ground.cuttings, ground.rules, shop.keys, settings)


def solve_on(ground: Ground, own: Pockets, edits: Edits, shop: Shop, settings: PlacementSettings) -> Solved:
    """The best plan over places of ours that were found before."""
    stay = np.zeros(len(own), bool)
    if edits.keys or edits.key_counts or len(edits.refused_keys):
        unasked = dataclasses.replace(ground, counts={}, users=(), warnings=())
        first = best_of(unasked, weigh(unasked, own, _NO_EDITS, shop, settings), _NO_EDITS, shop, settings)
        planned = in_hand(first, unasked)[0]
        own, stay = planned.and_also(own), np.concatenate([np.ones(len(planned), bool), stay])
    left = is_welcome(own, find_crossings(own, ground.site).held, ground, edits, settings)
    candidates = weigh(ground, own.take(left), edits, shop, settings, stay=stay[left])
    return best_of(ground, candidates, edits, shop, settings)


def best_of(ground: Ground, candidates: Candidates, edits: Edits, shop: Shop, settings: PlacementSettings) -> Solved:
    """The best choice of candidates, strengthened where keys would bear too much, settled, and in rows."""
    woods = woods_of(shop)
    solved = solve_with(ground, candidates, settings)
    if not math.isfinite(solved.objective):
        return solved
    if woods is None:
        solved = settled(ground, solved, edits, shop, settings)
    else:
        problem = pose_problem(candidates, list(ground.asking), ground.site, settings)
        stronger = strengthen(solved, problem, woods, settings)
        # What settles has no eye for loads: it must not drop again what they called for.
        counted = dataclasses.replace(ground, counts={**ground.counts, **stronger.changed})
        solved = dataclasses.replace(settled(counted, stronger.solved, edits, shop, settings),
                                     counts=solved.counts, warnings=solved.warnings)
    solved = in_rows(ground, solved, edits, shop, settings)
    return dataclasses.replace(solved, objective=solved.objective + all_loads_cost(solved, woods, settings))


def in_rows(ground: Ground, solved: Solved, edits: Edits, shop: Shop, settings: PlacementSettings) -> Solved:
    """The plan with keys of neighbouring cracks in line, where little is lost by it."""
    if max(settings.row_weight, settings.symmetry_weight) <= 0.0 or len(ground.asking) < 2:
        return solved
    planned, standing, stay = in_hand(solved, ground)
    beside = places_beside(ground, solved, edits, settings, settings.row_reach)
    others = np.zeros(len(beside), bool)
    candidates = weigh(ground, planned.and_also(beside), edits, shop, settings, stay=np.concatenate([stay, others]),
                       standing=np.concatenate([standing, others]))
    problem = pose_problem(candidates, list(ground.asking), ground.site, settings)
    on_lines = candidates.crossings.held[:, list(ground.asking)].any(axis=1)
    is_planned = (np.arange(len(candidates.price)) < len(planned)) | (candidates.user >= 0)
    near = dataclasses.replace(solved, candidates=candidates,
                               chosen=tuple(np.flatnonzero(is_planned & on_lines).tolist()))
    lined = line_up(near, problem, settings)
    return solved if lined.chosen == near.chosen else with_settled(solved, lined, ground)


def settled(ground: Ground, solved: Solved, edits: Edits, shop: Shop, settings: PlacementSettings) -> Solved:
    """The plan with its keys moved to the millimetre."""
    for _ in range(_SETTLINGS):
        planned, standing, stay = in_hand(solved, ground)
        beside = places_beside(ground, solved, edits, settings)
        own = planned.and_also(beside)
        others = np.zeros(len(beside), bool)
        near = solve_with(ground, weigh(ground, own, edits, shop, settings, stay=np.concatenate([stay, others]),
                                        standing=np.concatenate([standing, others])), settings)
        if not math.isfinite(near.objective) or near.objective >= solved.objective - _WORTH_SETTLING:
            break
        solved = with_settled(solved, near, ground)
    return solved


def is_welcome(own: Pockets, held: NDArray[np.bool_], ground: Ground, edits: Edits,
               settings: PlacementSettings) -> NDArray[np.bool_]:
    """True for places that the user neither refused nor has on a line that is to be left open, shape (N,)."""
    return np.asarray(~is_refused(own.centre, edits, settings) & ~held[:, ground.left_open].any(axis=1))


def solve_with(ground: Ground, candidates: Candidates, settings: PlacementSettings) -> Solved:
    """The best choice of candidates."""
    problem = pose_problem(candidates, list(ground.asking), ground.site, settings)
    choice, counts_kept, unmet = _solved(problem, ground.counts, ground.site, settings)
    chosen = tuple(sorted(choice.chosen))
    # What the plan costs by itself, without what told equals apart or kept keys in their places.
    objective = (choice.cost - _TIE * sum(chosen)
                 + settings.stay_weight * int(candidates.stay[list(chosen)].sum()))
    return Solved(ground.site, ground.rules, ground.family, ground.asking,
                  {**dict.fromkeys(ground.left_open, 0), **counts_kept}, candidates,
                  chosen, objective, choice.cost - choice.bound, (*ground.warnings, *unmet))


def weigh(ground: Ground, own: Pockets, edits: Edits, shop: Shop, settings: PlacementSettings, *,
          stay: NDArray[np.bool_] | None = None, standing: NDArray[np.bool_] | None = None) -> Candidates:
    """Our places and the user's keys as candidates with their prices.

    Parameters
    ----------
    stay : ndarray of bool, shape (len(own),), optional
        Keys of an earlier plan that should not move without need.
    standing : ndarray of bool, shape (len(own),), optional
        Those that must not move at all.
    """
    site, users = ground.site, ground.users if edits.keys else ()
    count = len(own.cuttings)
    theirs = lay_pockets(own.cuttings + tuple(cutting for cutting, _ in users), count + np.arange(len(users)),
                         np.array([k.centre for k in edits.keys], float).reshape(-1, 2),
                         np.array([angle for _, angle in users]))
    every = own.and_also(theirs)
    crossings = find_crossings(own, site).and_also(find_crossings(theirs, site, anywhere=True))
    user = np.concatenate([np.full(len(own), -1), np.arange(len(users))]).astype(np.int64)
    needed, stays = user >= 0, np.zeros(len(every), bool)
    if standing is not None:
        needed[:len(own)] = standing
    if stay is not None:
        stays[:len(own)] = stay
    return price_again(Candidates(every, crossings, np.zeros(len(every)), user, needed, stays), ground, shop, settings)


def price_again(candidates: Candidates, ground: Ground, shop: Shop, settings: PlacementSettings) -> Candidates:
    """The same candidates with the prices that some settings give them."""
    price = prices(candidates.pockets, candidates.crossings, ground.site, shop.keys, settings)
    return dataclasses.replace(candidates, price=price + _TIE * np.arange(len(price)))


def _solved(free: Problem, counts: dict[int, int], site: Site,
            settings: PlacementSettings) -> tuple[Choice, dict[int, int], tuple[str, ...]]:
    """The choice, the counts that could be met, and a sentence for each that couldn't."""
    kept, chains, unmet = _meet_counts(free, counts, site)
    choice = choose(dataclasses.replace(free, chains=chains), settings.node_limit)
    if not math.isfinite(choice.cost):
        # Counts that each line could meet alone, but not beside its neighbours.
        names = ", ".join(site.lines[n].name for n in kept)
        unmet += (f"the keys asked for on {names} do not all fit beside each other; as many as hold best "
                  "were placed.",)
        kept, choice = {}, choose(free, settings.node_limit)
    return choice, kept, unmet


def pose_problem(candidates: Candidates, asking: list[int], site: Site,
                 settings: PlacementSettings) -> Problem:
    """Chains of the asking lines over the candidates, without the user's counts."""
    touching = touching_pairs(candidates.pockets, settings.key_gap)
    theirs = candidates.needed
    touching &= ~(theirs[:, None] & theirs[None, :])
    usable = ~touching[:, theirs].any(axis=1)
    crossings = candidates.crossings
    price = candidates.price - settings.stay_weight * candidates.stay
    shared_price = price / np.maximum(crossings.held[:, asking].sum(axis=1), 1)
    chains = []
    for n in asking:
        nodes = np.flatnonzero(crossings.held[:, n] & usable)
        chains.append(make_chain(n, nodes, crossings.arc[nodes, n], shared_price, candidates.pockets,
                                 touching, site, settings))
    return Problem(tuple(chains), price, touching, theirs)


def _meet_counts(problem: Problem, counts: dict[int, int],
                 site: Site) -> tuple[dict[int, int], tuple[Chain, ...], tuple[str, ...]]:
    """Chains with counts lowered to what fits, or raised to the user's own keys."""
    kept, met, unmet = {}, [], []
    for chain in problem.chains:
        wish = counts.get(chain.line)
        if wish is None:
            met.append(chain)
            continue
        needed = problem.needed[chain.nodes]
        fits = _nearest_count(chain.through(needed), max(wish, int(needed.sum())))
        if fits != wish:
            unmet.append(f"{wish} keys asked for on {site.lines[chain.line].name}, but "
                         + (f"only {fits} fit" if fits < wish else f"{fits} are fixed there")
                         + f"; {fits} placed.")
        kept[chain.line] = fits
        met.append(dataclasses.replace(chain, count=fits))
    return kept, tuple(met), tuple(unmet)


def _nearest_count(chain: Chain, wish: int) -> int:
    """The largest count up to `wish` that fits on the chain."""
    for count in range(wish, 0, -1):
        if np.isfinite(shortest(dataclasses.replace(chain, count=count))[0]):
            return count
    return 0
