"""All lines together, exactly: lines whose keys touch or are shared are solved as one.

Lines that share no candidate and whose candidates keep clear of each other's
are optimal one by one (chain.py). For a group that is not, bounds.py gives a
plan and a lower bound. A move (a link of a chain) whose best plan is worse
than the chain's own optimum by more than the difference between the two cannot
be part of a better plan and is dropped; the few that are left go into a mixed
integer programme: one unit of flow along each chain, shared keys used by all
of their lines or none, and of keys that would touch at most one (cliques).

References
----------
.. [1] M. W. Padberg, "On the facial structure of set packing polyhedra,"
   Mathematical Programming 5, 1973, pages 199 to 215 (cliques; from memory).
.. [2] Q. Huangfu, J. A. J. Hall, "Parallelizing the dual revised simplex
   method," Mathematical Programming Computation 10, 2018 (HiGHS; from memory).
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds as Limits
from scipy.optimize import LinearConstraint, milp
from scipy.sparse import csr_array

from crackmap.placement.bounds import Bounds, make_plan, tighten
from crackmap.placement.chain import Chain, best_by_move, shortest
from crackmap.placement.problem import SLACK, Choice, Problem, plan_cost
from crackmap.records import FloatArray

Row = tuple[list[int], list[float], float, float]  # columns, factors, least, most


def choose(problem: Problem, node_limit: int) -> Choice:
    """The best set of candidates, group by group; cost inf where the wishes exclude each other."""
    choices = [_choose_group(dataclasses.replace(problem, chains=group), node_limit) for group in _groups(problem)]
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
    bound = sum(cost for cost, _ in paths)
    if not np.isfinite(bound):
        return Choice(frozenset(), float("inf"), float("inf"))
    alone = frozenset(int(c.nodes[i]) for c, (_, path) in zip(chains, paths, strict=True) for i in path or ())
    cost = plan_cost(problem, alone)
    if cost <= bound + SLACK:
        return Choice(alone, cost, cost)
    first = make_plan(problem, chains, [cost for cost, _ in paths])
    problem = _without_hopeless(problem, chains, first.cost - bound)
    used = np.unique(np.concatenate([c.nodes for c in problem.chains]))
    cliques = _cliques(used, problem.touching, problem.needed)
    bounds = tighten(problem, cliques)
    best = min(first, bounds.plan, key=lambda c: c.cost)
    if best.cost - bounds.bound <= SLACK:
        return Choice(best.chosen, best.cost, best.cost)
    return _solve_exactly(problem, bounds, cliques, best, node_limit)


def _without_hopeless(problem: Problem, tolled: tuple[Chain, ...], slack: float) -> Problem:
    """The problem without nodes that no plan within `slack` of the bound uses."""
    if not np.isfinite(slack):
        return problem
    chains = []
    for chain, toll_chain in zip(problem.chains, tolled, strict=True):
        moves = best_by_move(toll_chain)
        limit = shortest(toll_chain)[0] + slack + SLACK
        through = np.minimum(np.minimum(moves.start, moves.end),
                             np.minimum(moves.link.min(axis=0, initial=np.inf), moves.link.min(axis=1, initial=np.inf)))
        chains.append(chain.only((through <= limit) | problem.needed[chain.nodes]))
    return dataclasses.replace(problem, chains=tuple(chains))


@dataclass(frozen=True, slots=True, eq=False)
class _Links:
    """What is left of one chain: moves as pairs of nodes, -1 for its start and n for its end."""

    tail: NDArray[np.int64]
    head: NDArray[np.int64]
    cost: FloatArray  # of the stretch only


def _links_left(chain: Chain, tolled: Chain, slack: float) -> _Links:
    """Moves of `chain` whose best tolled plan is within `slack` of the tolled optimum."""
    moves = best_by_move(tolled)
    limit = shortest(tolled)[0] + slack + SLACK
    n = len(chain.nodes)
    first, last = np.flatnonzero(moves.start <= limit), np.flatnonzero(moves.end <= limit)
    a, b = np.nonzero(moves.link <= limit)
    empty = np.array([chain.empty] if moves.empty <= limit else [])
    tail = np.concatenate([np.full(len(first), -1), a, last, np.full(len(empty), -1)])
    head = np.concatenate([first, b, np.full(len(last), n), np.full(len(empty), n)])
    cost = np.concatenate([chain.start[first], chain.link[a, b], chain.end[last], empty])
    keep = np.isfinite(cost)
    return _Links(tail[keep].astype(np.int64), head[keep].astype(np.int64), cost[keep])


def _solve_exactly(problem: Problem, bounds: Bounds, cliques: list[list[int]], best: Choice,
                   node_limit: int) -> Choice:
    """The mixed integer programme over the moves left: one column a move, then one a candidate."""
    chains = problem.chains
    links = [_links_left(c, t, best.cost - bounds.bound) for c, t in zip(chains, bounds.chains, strict=True)]
    offsets = np.cumsum([0] + [len(m.cost) for m in links])
    used = np.unique(np.concatenate([c.nodes[m.head[m.head < len(c.nodes)]]
                                     for c, m in zip(chains, links, strict=True)]))
    column = {int(k): int(offsets[-1]) + j for j, k in enumerate(used)}
    rows: list[Row] = []
    for chain, m, at in zip(chains, links, offsets, strict=False):
        rows += _flow_rows(chain, m, int(at), column)
    for clique in cliques:
        members = [column[k] for k in clique if k in column]
        if len(members) > 1:
            rows.append((members, [1.0] * len(members), -np.inf, 1.0))
    cost = np.concatenate([*(m.cost for m in links), problem.price[used]])
    lower = np.zeros(len(cost))
    lower[int(offsets[-1]):] = problem.needed[used]
    answer = milp(cost, constraints=_constraint(rows, len(cost)), bounds=Limits(lower, np.ones(len(cost))),
                  integrality=np.ones(len(cost)), options={"node_limit": node_limit, "mip_rel_gap": 0.0})
    proven = bounds.bound if answer.mip_dual_bound is None else max(bounds.bound, float(answer.mip_dual_bound))
    if answer.x is not None:
        chosen = frozenset(int(k) for k in used if answer.x[column[int(k)]] > 0.5)
        found = plan_cost(problem, chosen)
        if found < best.cost:
            best = Choice(chosen, found, proven)
    return Choice(best.chosen, best.cost, min(best.cost, proven))


def _flow_rows(chain: Chain, links: _Links, at: int, column: dict[int, int]) -> list[Row]:
    """One unit leaves the start; what enters a node leaves it, and is the candidate's own column."""
    n = len(chain.nodes)
    columns = at + np.arange(len(links.cost))
    starting = columns[links.tail == -1].tolist()
    rows: list[Row] = [(starting, [1.0] * len(starting), 1.0, 1.0)]
    present = [i for i in range(n) if int(chain.nodes[i]) in column]
    for i in present:
        own = column[int(chain.nodes[i])]
        for side in (links.head, links.tail):
            meeting = columns[side == i].tolist()
            rows.append(([*meeting, own], [1.0] * len(meeting) + [-1.0], 0.0, 0.0))
    if chain.count:
        members = [column[int(chain.nodes[i])] for i in present]
        rows.append((members, [1.0] * len(members), float(chain.count), float(chain.count)))
    return rows


def _cliques(used: NDArray[np.int64], touching: NDArray[np.bool_],
             needed: NDArray[np.bool_]) -> list[list[int]]:
    """Cliques that cover every touching pair of `used`, grown greedily in order."""
    near = touching[np.ix_(used, used)].copy()
    both = needed[used]
    near &= ~(both[:, None] & both[None, :])
    left = near.copy()
    cliques = []
    for i in range(len(used)):
        while left[i].any():
            clique = [i, int(np.flatnonzero(left[i])[0])]
            common = near[clique[0]] & near[clique[1]]
            while common.any():
                # Prefer members whose pairs are still uncovered: fewer cliques.
                gain = (left[:, clique].sum(axis=1)) * common
                grown = int(gain.argmax()) if gain.any() else int(common.argmax())
                clique.append(grown)
                common &= near[grown]
            left[np.ix_(clique, clique)] = False
            cliques.append([int(used[k]) for k in clique])
    return cliques


def _constraint(rows: list[Row], width: int) -> LinearConstraint:
    index = np.concatenate([np.asarray(r[0], np.int64) for r in rows])
    value = np.concatenate([np.asarray(r[1], float) for r in rows])
    pointer = np.cumsum([0] + [len(r[0]) for r in rows])
    return LinearConstraint(csr_array((value, index, pointer), shape=(len(rows), width)),
                            [r[2] for r in rows], [r[3] for r in rows])
