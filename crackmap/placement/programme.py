"""The integer programme of lines that share keys or room: moves, candidates, cliques.

One unit of flow runs along each chain; a candidate is used by all of its lines
or by none, and of those that would touch at most one is.

References
----------
.. [1] M. W. Padberg, "On the facial structure of set packing polyhedra,"
   Mathematical Programming 5, 1973, pages 199 to 215 (cliques; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csr_array

from crackmap.placement.chain import Chain, best_by_move
from crackmap.placement.problem import Choice, Problem
from crackmap.records import FloatArray

_Entries = tuple[NDArray[np.int64], NDArray[np.int64], FloatArray]  # rows, columns, factors of a matrix
_INFEASIBLE = 2  # scipy's status


@dataclass(frozen=True, slots=True, eq=False)
class Links:
    """Moves of one chain as pairs of nodes, -1 for its start and n for its end."""

    tail: NDArray[np.int64]
    head: NDArray[np.int64]
    cost: FloatArray  # of the stretch only

    def only(self, kept: NDArray[np.bool_]) -> Links:
        """Some of them."""
        return Links(self.tail[kept], self.head[kept], self.cost[kept])


def every_link(chain: Chain) -> Links:
    """The moves that a chain allows."""
    n = len(chain.nodes)
    every = np.arange(n)
    a, b = np.nonzero(np.isfinite(chain.link))
    links = Links(np.concatenate([np.full(n, -1), a, every, [-1]]), np.concatenate([every, b, np.full(n, n), [n]]),
                  np.concatenate([chain.start, chain.link[a, b], chain.end, [chain.empty]]))
    return links.only(np.isfinite(links.cost))


def excess_of(links: Links, chain: Chain, optimum: float) -> FloatArray:
    """How much worse than the chain's optimum the best plan is that makes each move. Costs count in keys. [-]"""
    moves = best_by_move(chain)
    n = len(chain.nodes)
    padded = np.full((n + 1, n + 1), np.inf)
    padded[1:, :n], padded[0, :n], padded[1:, n], padded[0, n] = moves.link, moves.start, moves.end, moves.empty
    return np.asarray(padded[links.tail + 1, links.head] - optimum)


def on_plan(links: Links, chain: Chain, best: Choice) -> NDArray[np.bool_]:
    """The moves that a plan makes on its way along a chain."""
    path = np.flatnonzero(np.isin(chain.nodes, sorted(best.chosen)))
    following = np.full(len(chain.nodes) + 1, -2)
    following[np.concatenate([[0], path + 1])] = np.concatenate([path, [len(chain.nodes)]])
    return np.asarray(following[links.tail + 1] == links.head)


@dataclass(frozen=True, slots=True, eq=False)
class Programme:
    """Columns: some moves of each chain, then every candidate of the chains.

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
    first_row: tuple[int, ...]  # each chain's row of `equal`

    def candidates_of(self, answer: FloatArray) -> frozenset[int]:
        """Candidates that a solution chooses."""
        own = answer[len(answer) - len(self.used):]
        return frozenset(self.used[own > 0.5].tolist())


@dataclass(frozen=True, slots=True, eq=False)
class Relaxed:
    """Optimum of a programme's linear relaxation."""

    cost: float  # inf where there is none, -inf where none was found
    reduced: FloatArray  # reduced cost of each column
    rows: FloatArray  # dual of each row of `equal`
    cliques: FloatArray  # what each clique's room is worth, at least 0


def make_programme(problem: Problem, links: list[Links], cliques: list[NDArray[np.int64]]) -> Programme:
    """The programme over some moves of each chain; `cliques` are of candidates. Each clique has shape (K,)."""
    used = candidates_of(problem)
    moves = sum(len(m.cost) for m in links)
    width = moves + len(used)
    entries: list[_Entries] = []
    equal_to: list[float] = []
    first_row = []
    at = 0
    for chain, m in zip(problem.chains, links, strict=True):
        own = moves + np.searchsorted(used, chain.nodes)
        first_row.append(len(equal_to))
        entries += _flow_entries(len(chain.nodes), m, at, own, len(equal_to))
        equal_to += [1.0] + [0.0] * (2 * len(chain.nodes))
        if chain.count:
            entries.append((np.full(len(own), len(equal_to)), own, np.ones(len(own))))
            equal_to.append(float(chain.count))
        at += len(m.cost)
    in_clique = [(np.full(len(c), row), moves + np.searchsorted(used, c), np.ones(len(c)))
                 for row, c in enumerate(cliques)]
    cost = np.concatenate([*(m.cost for m in links), problem.price[used]])
    lower = np.concatenate([np.zeros(moves), problem.needed[used].astype(float)])
    return Programme(cost, lower, _matrix(entries, len(equal_to), width), np.array(equal_to),
                     _matrix(in_clique, len(cliques), width), used, tuple(first_row))


def candidates_of(problem: Problem) -> NDArray[np.int64]:
    """The candidates of a problem's chains, in order."""
    return np.unique(np.concatenate([c.nodes for c in problem.chains]))


def _flow_entries(n: int, links: Links, at: int, own: NDArray[np.int64], row: int) -> list[_Entries]:
    """Entries of one chain's rows: its start, then what enters and what leaves each of its n nodes."""
    columns = at + np.arange(len(links.cost))
    starting, entering, leaving = links.tail == -1, links.head < n, links.tail >= 0
    here = np.arange(n)
    return [(np.full(int(starting.sum()), row), columns[starting], np.ones(int(starting.sum()))),
            (row + 1 + links.head[entering], columns[entering], np.ones(int(entering.sum()))),
            (row + 1 + n + links.tail[leaving], columns[leaving], np.ones(int(leaving.sum()))),
            (row + 1 + here, own, np.full(n, -1.0)),
            (row + 1 + n + here, own, np.full(n, -1.0))]


def _matrix(entries: list[_Entries], rows: int, width: int) -> csr_array:
    if not entries:
        return csr_array((rows, width))
    row, column, value = (np.concatenate([e[k] for e in entries]) for k in range(3))
    return csr_array((value, (row, column)), shape=(rows, width))


def relax(programme: Programme) -> Relaxed:
    """The linear relaxation's optimum."""
    # Flow keeps columns under 1 without a bound, and reduced costs then have one sign.
    answer = linprog(programme.cost, A_eq=programme.equal, b_eq=programme.equal_to, A_ub=programme.cliques,
                     b_ub=np.ones(programme.cliques.shape[0]),
                     bounds=np.column_stack([programme.lower, np.full(len(programme.cost), np.inf)]),
                     method="highs")
    if answer.status != 0:  # without an optimum every column has to stay
        nothing = np.zeros(len(programme.cost))
        return Relaxed(np.inf if answer.status == _INFEASIBLE else -np.inf, nothing,
                       np.zeros(len(programme.equal_to)), np.zeros(programme.cliques.shape[0]))
    return Relaxed(float(answer.fun), np.asarray(answer.lower.marginals), np.asarray(answer.eqlin.marginals),
                   np.maximum(-np.asarray(answer.ineqlin.marginals), 0.0))


def find_cliques(used: NDArray[np.int64], touching: NDArray[np.bool_],
                 needed: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Cliques that cover every touching pair of `used`, grown greedily in order.

    `used` has shape (K,), `touching` (N, N), `needed` (N,).
    """
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
            cliques.append(used[np.array(sorted(clique))])
    return cliques
