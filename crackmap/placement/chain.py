"""One line's best keys, exactly: a shortest path through its candidates.

A plan for one line is a path from its start over some candidates, in the order
of their arcs, to its end. Stretches between consecutive keys carry their cost
on the links, prices sit on the nodes, so dynamic programming gives the optimum,
and forward plus backward values give the best plan through every single link:
what cannot be in an optimal plan is known before lines are joined.

References
----------
.. [1] R. Bellman, "On a routing problem," Quarterly of Applied Mathematics 16,
   1958, pages 87 to 90 (from memory).
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.placement.crack_lines import CrackLine
from crackmap.placement.pockets import Pockets
from crackmap.placement.score import cumulative_demand, end_weights, grading_cost, is_graded
from crackmap.placement.site import Site
from crackmap.records import FloatArray
from crackmap.settings import PlacementSettings


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """One line's problem. Nodes are candidates in the order of their arcs; n of them.

    Costs of inf say "not allowed".
    """

    line: int
    nodes: NDArray[np.int64]  # (n,) index of the candidate
    arc: FloatArray  # (n,) [mm]
    half: FloatArray  # (n,) half of the line that the key covers [mm]
    node: FloatArray  # (n,) price, shared with the other lines that it holds
    start: FloatArray  # (n,) of the stretch before the first key
    link: FloatArray  # (n, n) of the stretch between two keys
    end: FloatArray  # (n,) of the stretch after the last key
    empty: float  # of no key at all
    count: int | None = None  # exactly so many keys, where the user asked for a number

    def through(self, needed: NDArray[np.bool_]) -> Chain:
        """The same, allowing only plans that use every one of the needed nodes."""
        if not needed.any():
            return self
        rank = np.cumsum(needed)  # needed nodes up to and including each node
        before: NDArray[np.int64] = rank - needed
        link = np.asfortranarray(np.where(before[None, :] - rank[:, None] > 0, np.inf, self.link))
        start = np.where(before > 0, np.inf, self.start)
        end = np.where(rank[-1] - rank > 0, np.inf, self.end)
        return dataclasses.replace(self, start=start, link=link, end=end, empty=np.inf)

    def path_cost(self, path: tuple[int, ...]) -> float:
        """Cost of the stretches that the nodes of `path` leave, prices left out."""
        if not path:
            return np.inf if self.count else self.empty
        links = sum(float(self.link[a, b]) for a, b in zip(path, path[1:], strict=False))
        return float(self.start[path[0]]) + links + float(self.end[path[-1]])


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """For every move of a chain, the cost of the best plan that makes it; inf where none does."""

    start: FloatArray  # (n,) plans whose first key is this
    link: FloatArray  # (n, n) plans in which one follows the other
    end: FloatArray  # (n,) plans whose last key is this
    empty: float  # the plan without a key


def make_chain(n: int, nodes: NDArray[np.int64], arcs: FloatArray, shared_price: FloatArray, pockets: Pockets,
               touching: NDArray[np.bool_], site: Site, settings: PlacementSettings) -> Chain:
    """The chain of line `n` over candidates `nodes`, whose arcs are given.

    Parameters
    ----------
    nodes : ndarray, shape (M,)
        Indices of candidates that hold the line.
    arcs : ndarray, shape (M,)
        Where on the line. [mm]
    shared_price : ndarray, shape (N,)
        Price of every candidate over the number of lines that it holds. [-]
    touching : ndarray of bool, shape (N, N)
        Candidates that cannot both be cut.
    """
    line = site.lines[n]
    order = np.lexsort((nodes, arcs))
    nodes, arcs = nodes[order], arcs[order]
    lengths = np.array([c.size.length for c in pockets.cuttings])[pockets.kind[nodes]]
    half = pockets.of_kind("half_width")[nodes]
    first, last = end_weights(line, settings)
    left, right, total = covered_demand(line, arcs, half, site, settings)
    between = np.maximum(left[None, :] - right[:, None], 0.0)
    link = between**2 + grading_cost(lengths, is_graded(line), settings)
    later = np.arange(len(nodes))[None, :] > np.arange(len(nodes))[:, None]
    # Columns are what the shortest path reads: they lie together in memory.
    link = np.asfortranarray(np.where(later & ~touching[np.ix_(nodes, nodes)], link, np.inf))
    return Chain(n, nodes, arcs, half, shared_price[nodes], first * left**2, link,
                 last * (total - right) ** 2, max(first, last) * total**2)


def covered_demand(line: CrackLine, arcs: FloatArray, half: FloatArray, site: Site,
                   settings: PlacementSettings) -> tuple[FloatArray, FloatArray, float]:
    """Demand from the start to each key's near side, to its far side, and to the line's end. [-]

    `arcs` and `half` have shape (K,), a row a key. [mm]
    """
    demand = cumulative_demand(line, site, settings)
    return (np.interp(arcs - half, line.arc, demand), np.interp(arcs + half, line.arc, demand),
            float(demand[-1]))


def shortest(chain: Chain) -> tuple[float, tuple[int, ...] | None]:
    """Cost and nodes of a chain's best plan; inf and None where none is allowed."""
    if chain.count is not None:
        return _shortest_counted(chain, chain.count)
    cost = chain.empty
    path: tuple[int, ...] = ()
    if len(chain.nodes):
        forward, parent = _forward(chain)
        closing = forward + chain.end
        last = int(closing.argmin())
        if closing[last] < cost:
            cost, path = float(closing[last]), _trace(parent, last)
    return (float(cost), path) if np.isfinite(cost) else (float("inf"), None)


def best_by_move(chain: Chain) -> Moves:
    """Best plan through every move: forward value, the move, backward value."""
    if chain.count is not None:
        return _moves_counted(chain, chain.count)
    n = len(chain.nodes)
    forward, _ = _forward(chain)
    backward = np.full(n, np.inf)
    for i in range(n - 1, -1, -1):
        onward = chain.link[i] + chain.node + backward
        backward[i] = min(chain.end[i], onward.min(initial=np.inf))
    link = forward[:, None] + chain.link + (chain.node + backward)[None, :]
    return Moves(chain.start + chain.node + backward, link, forward + chain.end, chain.empty)


def _forward(chain: Chain) -> tuple[FloatArray, NDArray[np.int64]]:
    """Best cost from the start up to and including each node, and the node before."""
    n = len(chain.nodes)
    value, parent = chain.start + chain.node, np.full(n, -1)
    link, node = chain.link, chain.node
    for j in range(1, n):
        via = value[:j] + link[:j, j]
        best = int(via.argmin())
        cost = via[best] + node[j]
        if cost < value[j]:
            value[j], parent[j] = cost, best
    return value, parent


def _trace(parent: NDArray[np.int64], last: int) -> tuple[int, ...]:
    path = [last]
    while parent[path[-1]] >= 0:
        path.append(int(parent[path[-1]]))
    return tuple(path[::-1])


def _layers(chain: Chain, count: int) -> tuple[list[FloatArray], list[NDArray[np.int64]]]:
    """Forward values of plans that reach each node as their 1st, 2nd, ... key, and the nodes before."""
    forward, parents = [chain.start + chain.node], []
    for _ in range(count - 1):
        via = forward[-1][:, None] + chain.link + chain.node[None, :]
        parents.append(via.argmin(axis=0))
        forward.append(via.min(axis=0))
    return forward, parents


def _shortest_counted(chain: Chain, count: int) -> tuple[float, tuple[int, ...] | None]:
    if count == 0:
        return (float(chain.empty), ()) if np.isfinite(chain.empty) else (float("inf"), None)
    if not len(chain.nodes):
        return float("inf"), None
    forward, parents = _layers(chain, count)
    closing = forward[-1] + chain.end
    path = [int(closing.argmin())]
    cost = float(closing[path[0]])
    if not np.isfinite(cost):
        return float("inf"), None
    for parent in reversed(parents):
        path.append(int(parent[path[-1]]))
    return cost, tuple(path[::-1])


def _moves_counted(chain: Chain, count: int) -> Moves:
    n = len(chain.nodes)
    link, never = np.full((n, n), np.inf), np.full(n, np.inf)
    if count == 0 or n == 0:
        return Moves(never, link, never, chain.empty if count == 0 else float("inf"))
    forward, _ = _layers(chain, count)
    backward = [chain.end]
    for _ in range(count - 1):
        backward.append((chain.link + (chain.node + backward[-1])[None, :]).min(axis=1))
    for k in range(count - 1):
        onward = chain.node + backward[count - 2 - k]
        link = np.minimum(link, forward[k][:, None] + chain.link + onward[None, :])
    return Moves(chain.start + chain.node + backward[-1], link, forward[-1] + chain.end, float("inf"))
