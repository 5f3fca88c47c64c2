"""All lines together, exactly: lines whose keys touch or are shared are solved as one.

Lines that share no candidate and whose candidates keep clear of each other's
are optimal one by one (chain.py). A group that is not becomes a mixed integer
programme (programme.py). Most moves cannot be part of an optimum: those whose
best plan is above the plan in hand are dropped (bound.py) [1]_. The plan in
hand comes first line by line or gap by gap (first_plan.py), then from the moves near the
relaxation's optimum. What is left is solved exactly [2]_; where it is too much,
or the solver's tree meets its limit, the bound says how far off the plan may be.

References
----------
.. [1] H. Crowder, E. L. Johnson, M. W. Padberg, "Solving large-scale zero-one
   linear programming problems," Operations Research 31, 1983, pages 803 to 834
   (dropping by reduced cost; from memory).
.. [2] Q. Huangfu, J. A. J. Hall, "Parallelizing the dual revised simplex
   method," Mathematical Programming Computation 10, 2018 (HiGHS; from memory).
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from crackmap.placement.bound import Pricing
from crackmap.placement.chain import Chain, shortest
from crackmap.placement.first_plan import first_plan
from crackmap.placement.problem import SLACK, Choice, Problem, plan_cost
from crackmap.placement.programme import (
    Links,
    Programme,
    candidates_of,
    every_link,
    find_cliques,
    make_programme,
    on_plan,
    relax,
)
from crackmap.records import FloatArray

_LIMIT_REACHED = 1  # scipy's status of a search that met its node limit
_STEPS, _MOST_STEPS = 70, 280  # of raising the bound, each time; a small group's cost little
_STEPS_TIMES_NODES = 100_000
_MOVES = (2500, 5000, 5000)  # of the relaxations that plans and better bounds are sought by
_MOST_MOVES = 5000  # left between bound and plan: so many are solved exactly; beyond it the gap is stated
_NEAR = 0.15  # columns so far above the relaxation are tried for a better plan [keys]
_MOST_NEAR = 2000  # and of those so many
_STALLED = 0.95  # of the gap left after a round: another would not help [-]
_QUICK_NODES = 30  # of the tree in that try


def choose(problem: Problem, node_limit: int) -> Choice:
    """The best set of candidates, group by group; cost inf where the wishes exclude each other."""
    choices = [_choose_group(dataclasses.replace(problem, chains=group), node_limit)
               for group in _groups(problem)]
    chosen: frozenset[int] = frozenset().union(*(c.chosen for c in choices))
    return Choice(chosen, sum(c.cost for c in choices), sum(c.bound for c in choices))


def _groups(problem: Problem) -> list[tuple[Chain, ...]]:
    """Chains that share candidates or touch, together."""
    chains = problem.chains
    group = list(range(len(chains)))
    for a in range(len(chains)):
        for b in range(a):
            if group[a] != group[b] and _are_coupled(problem, chains[a], chains[b]):
                old, new = max(group[a], group[b]), min(group[a], group[b])
                group = [new if g == old else g for g in group]
    return [tuple(c for c, g in zip(chains, group, strict=True) if g == each) for each in sorted(set(group))]


def _are_coupled(problem: Problem, a: Chain, b: Chain) -> bool:
    return bool(np.isin(a.nodes, b.nodes).any() or problem.touching[np.ix_(a.nodes, b.nodes)].any())


def _choose_group(problem: Problem, node_limit: int) -> Choice:
    chains = tuple(c.through(problem.needed[c.nodes]) for c in problem.chains)
    problem = dataclasses.replace(problem, chains=chains)
    paths = [shortest(c) for c in chains]
    optima = [cost for cost, _ in paths]
    if not np.isfinite(sum(optima)):
        return Choice(frozenset(), float("inf"), float("inf"))
    alone = frozenset(int(c.nodes[i]) for c, (_, path) in zip(chains, paths, strict=True) for i in path or ())
    cost = plan_cost(problem, alone)
    if cost <= sum(optima) + SLACK:
        return Choice(alone, cost, cost)
    best = first_plan(problem, optima)
    cliques = find_cliques(candidates_of(problem), problem.touching, problem.needed)
    return _close_in(problem, [every_link(c) for c in chains], cliques, best, node_limit)


def _close_in(problem: Problem, links: list[Links], cliques: list[NDArray[np.int64]], best: Choice,
              node_limit: int) -> Choice:
    """A bound from below and plans from above, until few enough moves are left between them to be sure."""
    pricing = Pricing(problem, cliques)
    nodes = sum(len(chain.nodes) for chain in problem.chains)
    steps = int(np.clip(_STEPS_TIMES_NODES // max(nodes, 1), _STEPS, _MOST_STEPS))
    bound, prices = pricing.raised(best.cost, pricing.free, steps)
    excess = pricing.excess(links, prices)
    for most in _MOVES:
        if best.cost - bound <= SLACK or _left(excess, best.cost - bound) <= _MOST_MOVES:
            break
        kept = [k | on_plan(m, c, best)
                for k, m, c in zip(_cheapest(excess, most, best.cost - bound), links, problem.chains, strict=True)]
        gap = best.cost - bound
        relaxed, best = _from_above(problem, [m.only(k) for m, k in zip(links, kept, strict=True)], cliques, best)
        raised, raised_prices = pricing.raised(min(relaxed, best.cost), prices, steps)
        if raised > bound:
            bound, excess = raised, pricing.excess(links, raised_prices)
            prices = raised_prices
        if best.cost - bound > _STALLED * gap:
            break
    within = best.cost - bound
    if within <= SLACK:
        return Choice(best.chosen, best.cost, best.cost)
    if _left(excess, within) > _MOST_MOVES:
        return Choice(best.chosen, best.cost, bound)
    left = [m.only((e <= within + SLACK) | on_plan(m, c, best))
            for m, e, c in zip(links, excess, problem.chains, strict=True)]
    best, met = _solve(make_programme(problem, left, cliques), problem, best, node_limit)
    return Choice(best.chosen, best.cost, best.cost if met is None else min(best.cost, max(met, bound)))


def _left(excess: list[FloatArray], within: float) -> int:
    """How many moves a plan could make that is better than the one in hand."""
    return int(sum((e <= within + SLACK).sum() for e in excess))


def _cheapest(excess: list[FloatArray], most: int, within: float) -> list[NDArray[np.bool_]]:
    """The `most` moves of least excess, those within a limit; ties at the limit all come along."""
    every = np.sort(np.concatenate(excess))
    limit = min(within, float(every[min(most, len(every)) - 1])) + SLACK
    return [e <= limit for e in excess]


def _from_above(problem: Problem, links: list[Links], cliques: list[NDArray[np.int64]],
                best: Choice) -> tuple[float, Choice]:
    """The linear relaxation over some moves, and the better of `best` and a plan near to it."""
    relaxed = relax(make_programme(problem, links, cliques))
    if not np.isfinite(relaxed.cost):
        return best.cost, best
    moves = relaxed.reduced[:sum(len(m.cost) for m in links)]
    within = min(_NEAR, float(np.sort(moves)[min(_MOST_NEAR, len(moves)) - 1])) + SLACK
    parts = np.split(moves, np.cumsum([len(m.cost) for m in links])[:-1])
    some = [m.only((r <= within) | on_plan(m, c, best))
            for m, r, c in zip(links, parts, problem.chains, strict=True)]
    return relaxed.cost, _solve(make_programme(problem, some, cliques), problem, best, _QUICK_NODES)[0]


def _solve(programme: Programme, problem: Problem, best: Choice, node_limit: int) -> tuple[Choice, float | None]:
    """The better of `best` and a programme's optimum; the bound met where the search was cut short."""
    answer = milp(programme.cost, integrality=np.ones(len(programme.cost)),
                  constraints=[LinearConstraint(programme.equal, programme.equal_to, programme.equal_to),
                               LinearConstraint(programme.cliques, -np.inf, 1.0)],
                  bounds=Bounds(programme.lower, 1.0), options={"node_limit": node_limit, "mip_rel_gap": 0.0})
    if answer.x is not None:
        chosen = programme.candidates_of(answer.x)
        best = min(best, Choice(chosen, plan_cost(problem, chosen), best.bound), key=lambda c: c.cost)
    if answer.status != _LIMIT_REACHED:
        return best, None
    return best, -np.inf if answer.mip_dual_bound is None else float(answer.mip_dual_bound)
