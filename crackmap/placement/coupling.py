"""All lines together, exactly: lines whose keys touch or are shared are solved as one.

Lines that share no candidate and whose candidates keep clear of each other's
are optimal one by one (chain.py). A group that is not becomes a mixed integer
programme: one unit of flow along each chain, shared keys used by all of their
lines or none, and of keys that would touch at most one (cliques).

Most moves (links of a chain) cannot be part of an optimum: where the best plan
through a move, by its chain alone, is worse than the chain's optimum by more
than a plan in hand is worse than all optima together, the move is dropped. The
plan in hand comes first line by line or gap by gap, then from a programme over the most
promising moves. What is left is solved near its relaxation's optimum, and
further only where reduced costs say that more could win.

References
----------
.. [1] M. W. Padberg, "On the facial structure of set packing polyhedra,"
   Mathematical Programming 5, 1973, pages 199 to 215 (cliques; from memory).
.. [2] H. Crowder, E. L. Johnson, M. W. Padberg, "Solving large-scale zero-one
   linear programming problems," Operations Research 31, 1983, pages 803 to 834
   (dropping by reduced cost; from memory).
.. [3] Q. Huangfu, J. A. J. Hall, "Parallelizing the dual revised simplex
   method," Mathematical Programming Computation 10, 2018 (HiGHS; from memory).
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array

from crackmap.placement.chain import Chain, best_by_move, shortest
from crackmap.placement.first_plan import first_plan
from crackmap.placement.problem import SLACK, Choice, Problem, plan_cost
from crackmap.records import FloatArray

_Entries = tuple[NDArray[np.int64], NDArray[np.int64], FloatArray]  # rows, columns, factors of a matrix
_LIMIT_REACHED = 1  # scipy's status of a search that met its node limit
_INFEASIBLE = 2
_PROMISING = 3000  # moves of the programme that looks for a better plan in hand
_MOST_MOVES = 30_000  # moves of the last programme; beyond it the gap is stated
_FIRST_TRY = 0.1  # columns so far above the relaxation are tried first [keys]


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
    bound = sum(cost for cost, _ in paths)
    if not np.isfinite(bound):
        return Choice(frozenset(), float("inf"), float("inf"))
    alone = frozenset(int(c.nodes[i]) for c, (_, path) in zip(chains, paths, strict=True) for i in path or ())
    cost = plan_cost(problem, alone)
    if cost <= bound + SLACK:
        return Choice(alone, cost, cost)
    best = first_plan(problem, [cost for cost, _ in paths])
    links = [_every_link(c) for c in chains]
    excess = [_excess(m, c) for m, c in zip(links, chains, strict=True)]
    every = np.sort(np.concatenate(excess))
    if np.isfinite(best.cost) and np.searchsorted(every, best.cost - bound) > _PROMISING:
        some = [m.only((e <= every[_PROMISING]) | _on_plan(m, c, best))
                for m, e, c in zip(links, excess, chains, strict=True)]
        best = _solve_near(_programme(problem, some), problem, best, node_limit)
    within = best.cost - bound + SLACK
    # A plan that uses a move left out here costs at least this.
    floor = np.inf
    if np.searchsorted(every, within) > _MOST_MOVES:
        within = float(every[_MOST_MOVES])
        floor = bound + within
    left = [m.only((e <= within) | _on_plan(m, c, best)) for m, e, c in zip(links, excess, chains, strict=True)]
    choice = _solve_exactly(_programme(problem, left), problem, best, bound, node_limit)
    return Choice(choice.chosen, choice.cost, min(choice.bound, max(floor, bound)))


@dataclass(frozen=True, slots=True, eq=False)
class _Links:
    """Moves of one chain as pairs of nodes, -1 for its start and n for its end."""

    tail: NDArray[np.int64]
    head: NDArray[np.int64]
    cost: FloatArray  # of the stretch only

    def only(self, kept: NDArray[np.bool_]) -> _Links:
        """Some of them."""
        return _Links(self.tail[kept], self.head[kept], self.cost[kept])


def _every_link(chain: Chain) -> _Links:
    """The moves that a chain allows."""
    n = len(chain.nodes)
    every = np.arange(n)
    a, b = np.nonzero(np.isfinite(chain.link))
    links = _Links(np.concatenate([np.full(n, -1), a, every, [-1]]), np.concatenate([every, b, np.full(n, n), [n]]),
                   np.concatenate([chain.start, chain.link[a, b], chain.end, [chain.empty]]))
    return links.only(np.isfinite(links.cost))


def _excess(links: _Links, chain: Chain) -> FloatArray:
    """How much worse than the chain's optimum the best plan is that makes each move."""
    moves, optimum = best_by_move(chain), shortest(chain)[0]
    n = len(chain.nodes)
    padded = np.full((n + 1, n + 1), np.inf)
    padded[1:, :n], padded[0, :n], padded[1:, n], padded[0, n] = moves.link, moves.start, moves.end, moves.empty
    return np.asarray(padded[links.tail + 1, links.head] - optimum)


def _on_plan(links: _Links, chain: Chain, best: Choice) -> NDArray[np.bool_]:
    """The moves that a plan makes on its way along a chain."""
    path = np.flatnonzero(np.isin(chain.nodes, sorted(best.chosen)))
    following = np.full(len(chain.nodes) + 1, -2)
    following[np.concatenate([[0], path + 1])] = np.concatenate([path, [len(chain.nodes)]])
    return np.asarray(following[links.tail + 1] == links.head)


@dataclass(frozen=True, slots=True, eq=False)
class _Programme:
    """Columns: every move left, then every candidate that they use.

    Rows: for each chain one unit leaves its start; for each of its nodes what
    enters is the candidate's own column, and so is what leaves; a count where
    one was asked for; then for each clique at most one.
    """

    cost: FloatArray
    lower: FloatArray
    equal: csr_array
    equal_to: FloatArray
    cliques: csr_array
    used: NDArray[np.int64]  # candidates of the last columns

    def candidates_of(self, answer: FloatArray) -> frozenset[int]:
        """Candidates that a solution chooses."""
        own = answer[len(answer) - len(self.used):]
        return frozenset(self.used[own > 0.5].tolist())


def _programme(problem: Problem, links: list[_Links]) -> _Programme:
    used = np.unique(np.concatenate([c.nodes[m.head[m.head < len(c.nodes)]]
                                     for c, m in zip(problem.chains, links, strict=True)]))
    moves = sum(len(m.cost) for m in links)
    width = moves + len(used)
    entries: list[_Entries] = []
    equal_to: list[float] = []
    at = 0
    for chain, m in zip(problem.chains, links, strict=True):
        entries += _flow_entries(chain, m, at, moves, used, len(equal_to))
        equal_to += [1.0] + [0.0] * (2 * len(chain.nodes))
        if chain.count:
            own = moves + np.flatnonzero(np.isin(used, chain.nodes))
            entries.append((np.full(len(own), len(equal_to)), own, np.ones(len(own))))
            equal_to.append(float(chain.count))
        at += len(m.cost)
    cliques = _cliques(used, problem.touching, problem.needed)
    in_clique = [(np.full(len(c), row), moves + np.searchsorted(used, c), np.ones(len(c)))
                 for row, c in enumerate(cliques)]
    cost = np.concatenate([*(m.cost for m in links), problem.price[used]])
    lower = np.concatenate([np.zeros(moves), problem.needed[used].astype(float)])
    return _Programme(cost, lower, _matrix(entries, len(equal_to), width), np.array(equal_to),
                      _matrix(in_clique, len(cliques), width), used)


def _flow_entries(chain: Chain, links: _Links, at: int, moves: int, used: NDArray[np.int64],
                  row: int) -> list[_Entries]:
    """Entries of one chain's rows: its start, then what enters and what leaves each node."""
    n = len(chain.nodes)
    columns = at + np.arange(len(links.cost))
    starting, entering, leaving = links.tail == -1, links.head < n, links.tail >= 0
    here = np.flatnonzero(np.isin(chain.nodes, used))
    own = moves + np.searchsorted(used, chain.nodes[here])
    return [(np.full(int(starting.sum()), row), columns[starting], np.ones(int(starting.sum()))),
            (row + 1 + links.head[entering], columns[entering], np.ones(int(entering.sum()))),
            (row + 1 + n + links.tail[leaving], columns[leaving], np.ones(int(leaving.sum()))),
            (row + 1 + here, own, np.full(len(own), -1.0)),
            (row + 1 + n + here, own, np.full(len(own), -1.0))]


def _matrix(entries: list[_Entries], rows: int, width: int) -> csr_array:
    if not entries:
        return csr_array((rows, width))
    row, column, value = (np.concatenate([e[k] for e in entries]) for k in range(3))
    return csr_array((value, (row, column)), shape=(rows, width))


def _solve_exactly(programme: _Programme, problem: Problem, best: Choice, bound: float,
                   node_limit: int) -> Choice:
    """Solve over the columns near the relaxation's optimum, then, where needed, over all that could win."""
    relaxed, reduced = _relax(programme)
    if relaxed == np.inf:
        return Choice(best.chosen, best.cost, best.cost)
    bound = max(bound, relaxed)
    within = min(_FIRST_TRY, best.cost - bound)
    while best.cost - bound > SLACK:
        kept = (reduced <= within + SLACK) | (programme.lower > 0.0)
        best, inner = _solve_over(kept, programme, problem, best, node_limit)
        if inner is not None:
            return Choice(best.chosen, best.cost, min(best.cost, max(bound, min(inner, relaxed + within))))
        # A plan that uses a dropped column costs more than the relaxation by that column's reduced cost.
        if kept.all() or best.cost <= relaxed + within + SLACK:
            break
        within = min(max(3.0 * within, _FIRST_TRY), best.cost - relaxed)
    return Choice(best.chosen, best.cost, best.cost)


def _solve_near(programme: _Programme, problem: Problem, best: Choice, node_limit: int) -> Choice:
    """A better plan among the columns near the relaxation's optimum, if there is one."""
    relaxed, reduced = _relax(programme)
    if not np.isfinite(relaxed):
        return best
    kept = (reduced <= _FIRST_TRY) | (programme.lower > 0.0)
    return _solve_over(kept, programme, problem, best, node_limit)[0]


def _solve_over(kept: NDArray[np.bool_], programme: _Programme, problem: Problem, best: Choice,
                node_limit: int) -> tuple[Choice, float | None]:
    """The better of `best` and the optimum over some columns; the bound met where the search was cut short."""
    answer = milp(programme.cost[kept], integrality=np.ones(int(kept.sum())),
                  constraints=[LinearConstraint(programme.equal[:, kept], programme.equal_to,
                                                programme.equal_to),
                               LinearConstraint(programme.cliques[:, kept], -np.inf, 1.0)],
                  bounds=Bounds(programme.lower[kept], 1.0),
                  options={"node_limit": node_limit, "mip_rel_gap": 0.0})
    if answer.x is not None:
        full = np.zeros(len(kept))
        full[kept] = answer.x
        chosen = programme.candidates_of(full)
        best = min(best, Choice(chosen, plan_cost(problem, chosen), best.bound), key=lambda c: c.cost)
    if answer.status != _LIMIT_REACHED:
        return best, None
    return best, -np.inf if answer.mip_dual_bound is None else float(answer.mip_dual_bound)


def _relax(programme: _Programme) -> tuple[float, FloatArray]:
    """Optimum of the linear relaxation, inf where it has none, and each column's reduced cost."""
    # Flow keeps columns under 1 without a bound, and reduced costs then have one sign.
    answer = linprog(programme.cost, A_eq=programme.equal, b_eq=programme.equal_to, A_ub=programme.cliques,
                     b_ub=np.ones(programme.cliques.shape[0]),
                     bounds=np.column_stack([programme.lower, np.full(len(programme.cost), np.inf)]),
                     method="highs")
    if answer.status != 0:  # without an optimum every column has to stay
        return (np.inf if answer.status == _INFEASIBLE else -np.inf), np.zeros(len(programme.cost))
    return float(answer.fun), np.asarray(answer.lower.marginals)


def _cliques(used: NDArray[np.int64], touching: NDArray[np.bool_],
             needed: NDArray[np.bool_]) -> list[list[int]]:
    """Cliques that cover every touching pair of `used`, grown greedily in order."""
    near = touching[np.ix_(used, used)]
    near = near & ~(needed[used][:, None] & needed[used][None, :])
    left = near.copy()
    cliques = []
    for i in range(len(used)):
        while left[i].any():
            clique = [i]
            common, gain = near[i].copy(), left[i].astype(np.int64)
            while common.any():
                # The member that covers most pairs still uncovered: fewer cliques.
                grown = int(np.where(common, gain, -1).argmax())
                clique.append(grown)
                common &= near[grown]
                gain += left[grown]
            left[np.ix_(clique, clique)] = False
            cliques.append([int(used[k]) for k in clique])
    return cliques
