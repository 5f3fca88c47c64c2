"""The placement stage: from what was measured to keys, each with its reasons."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
from numpy.typing import NDArray

from crackmap.errors import PlacementError
from crackmap.keys.family import size_family
from crackmap.keys.held import with_holding
from crackmap.placement.candidates import Candidates, own_places
from crackmap.placement.chain import Chain, make_chain, shortest
from crackmap.placement.coupling import choose
from crackmap.placement.crack_lines import join_cracks
from crackmap.placement.crossings import find_crossings
from crackmap.placement.pockets import Cutting, Pockets, lay_pockets, shape_cutting, touching_pairs
from crackmap.placement.problem import Choice, Problem
from crackmap.placement.report import explain
from crackmap.placement.rules import all_rules
from crackmap.placement.score import prices
from crackmap.placement.site import Site, lay_out_site
from crackmap.placement.solved import Solved
from crackmap.placement.user_keys import counts_by_line, is_refused, shape_user_key
from crackmap.records import Edits, FloatArray, Placement, Survey
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop

_NO_EDITS = Edits()
_USUAL = PlacementSettings()
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
    if not math.isfinite(thickness_mm) or thickness_mm <= 0.0:
        raise PlacementError(f"the slab's thickness must be more than zero, not {thickness_mm:g} mm.")
    solved = solve(survey, shop, thickness_mm, edits, settings)
    placement = explain(solved, survey, shop, edits, settings)
    return with_holding(placement, solved.site.lines, survey.outline, shop, thickness_mm)


def solve(survey: Survey, shop: Shop, thickness_mm: float, edits: Edits,
          settings: PlacementSettings) -> Solved:
    """The best plan; near to the one without the user's keys, so that an edit moves little else."""
    lines = join_cracks(tuple(c for c in survey.cracks if c.confidence >= settings.least_confidence
                              or c.drawn_by_user), settings.join_gap)
    site = lay_out_site(survey, lines, edits, thickness_mm, shop.bit.cutting_length, settings)
    counts, lost = counts_by_line(edits, site)
    asking = [n for n, line in enumerate(lines)
              if counts.get(n, 1) > 0 and (line.widest >= settings.least_width or n in counts)
              and bool(site.is_on_top(line.points).any())]
    family = size_family(shop, thickness_mm)
    cuttings = tuple(shape_cutting(size, shop, settings.central_share) for size in family)
    # A depth that the maker fixed is their word, whatever floor it leaves.
    floor = min(shop.keys.least_floor, thickness_mm - max(size.depth for size in family))
    rules = all_rules(settings, floor, shop.keys.least_reach)
    own = own_places(asking, site, cuttings, rules, shop.keys, settings)
    ours = _weighed(own, (), (), site, shop, settings)
    stay = np.zeros(len(own), bool)
    if edits.keys or edits.key_counts or len(edits.refused_keys):
        first = _solved(ours, asking, {}, site, settings)[0]
        stay[sorted(first.chosen)] = True
    left_open = [n for n, count in counts.items() if count == 0]
    left = ~is_refused(own.centre, edits, settings) & ~ours.crossings.held[:, left_open].any(axis=1)
    users = tuple(shape_user_key(key, family, site, shop, settings) for key in edits.keys)
    candidates = _weighed(own.take(left), users, tuple(np.asarray(k.centre, float) for k in edits.keys),
                          site, shop, settings, stay[left])
    choice, counts_kept, unmet = _solved(candidates, asking, counts, site, settings)
    return Solved(site, rules, family, tuple(asking), {**dict.fromkeys(left_open, 0), **counts_kept},
                  candidates, tuple(sorted(choice.chosen)), choice.cost, choice.bound, (*lost, *unmet))


def _weighed(own: Pockets, users: tuple[tuple[Cutting, float], ...], centres: tuple[FloatArray, ...],
             site: Site, shop: Shop, settings: PlacementSettings,
             stay: NDArray[np.bool_] | None = None) -> Candidates:
    """Our places and the user's keys as candidates with their prices."""
    count = len(own.cuttings)
    theirs = lay_pockets(own.cuttings + tuple(cutting for cutting, _ in users), count + np.arange(len(users)),
                         np.array(centres).reshape(-1, 2), np.array([angle for _, angle in users]))
    every = own.and_also(theirs)
    crossings = find_crossings(own, site).and_also(find_crossings(theirs, site, anywhere=True))
    price = prices(every, crossings, site, shop.keys, settings) + _TIE * np.arange(len(every))
    if stay is not None:
        price[:len(own)] -= settings.stay_weight * stay
    user = np.concatenate([np.full(len(own), -1), np.arange(len(users))]).astype(np.int64)
    return Candidates(every, crossings, price, user)


def _solved(candidates: Candidates, asking: list[int], counts: dict[int, int], site: Site,
            settings: PlacementSettings) -> tuple[Choice, dict[int, int], tuple[str, ...]]:
    """The choice, the counts that could be met, and a sentence for each that couldn't."""
    free = pose_problem(candidates, asking, site, settings)
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
    theirs = candidates.user >= 0
    touching &= ~(theirs[:, None] & theirs[None, :])
    usable = ~touching[:, theirs].any(axis=1)
    crossings = candidates.crossings
    shared_price = candidates.price / np.maximum(crossings.held[:, asking].sum(axis=1), 1)
    chains = []
    for n in asking:
        nodes = np.flatnonzero(crossings.held[:, n] & usable)
        chains.append(make_chain(n, nodes, crossings.arc[nodes, n], shared_price, candidates.pockets,
                                 touching, site, settings))
    return Problem(tuple(chains), candidates.price, touching, theirs)


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
