"""No plan of several lines costs less than this, and which moves a better plan could make.

What ties lines together, keys that touch and keys that are shared, gets a
price: each clique's room, and each line's share of a shared key's price. At any
such prices the lines' own optima, less what all the room is worth, is a bound
on every plan, and a move whose best plan is above the plan in hand cannot be
part of a better one [1]_.

Prices are raised where the lines' optima want the same room, by steps that aim
at the best bound that there could be [2]_: at first the cost of the plan in
hand, later the linear relaxation over the moves that look cheap.

References
----------
.. [1] A. M. Geoffrion, "Lagrangean relaxation for integer programming,"
   Mathematical Programming Study 2, 1974, pages 82 to 114 (from memory).
.. [2] M. Held, P. Wolfe, H. P. Crowder, "Validation of subgradient
   optimization," Mathematical Programming 6, 1974, pages 62 to 88 (from memory).
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from crackmap.placement.chain import Chain, shortest
from crackmap.placement.problem import SLACK, Problem
from crackmap.placement.programme import Links, excess_of
from crackmap.records import FloatArray

_PATIENCE = 6  # steps without a better bound before they are halved
_LEAST_STEP = 1e-3  # past which halving stops [-]
_KEPT_COURSE = 0.5  # of the last step's direction that the next keeps: it zigzags less [-]


@dataclass(frozen=True, slots=True, eq=False)
class Prices:
    """What room is worth in each clique, and what each line pays for its nodes beyond an equal share."""

    room: FloatArray  # (cliques,) at least 0
    own: list[FloatArray]  # by chain, (n,); over the lines of a candidate they add up to nothing


class Pricing:
    """Bounds of one problem at prices; what does not change with them is worked out once."""

    def __init__(self, problem: Problem, cliques: list[NDArray[np.int64]]) -> None:
        self.problem = problem
        self.members = _members(cliques, len(problem.price))
        lines = np.zeros(len(problem.price))
        for chain in problem.chains:
            lines[chain.nodes] += 1.0
        self.lines = np.maximum(lines, 1.0)
        self.free = Prices(np.zeros(len(cliques)), [np.zeros(len(c.nodes)) for c in problem.chains])

    def chains_at(self, prices: Prices) -> list[Chain]:
        """The chains with their nodes' prices."""
        each = (self.problem.price + self.members.T @ prices.room) / self.lines
        return [dataclasses.replace(c, node=each[c.nodes] + own)
                for c, own in zip(self.problem.chains, prices.own, strict=True)]

    def optima(self, prices: Prices) -> tuple[float, list[FloatArray]]:
        """The bound at some prices, and 1 for the nodes that each line's optimum uses."""
        cost, used = -float(prices.room.sum()), []
        for chain in self.chains_at(prices):
            least, path = shortest(chain)
            cost += least
            used.append(np.zeros(len(chain.nodes)))
            used[-1][list(path or ())] = 1.0
        return cost, used

    def excess(self, links: list[Links], prices: Prices) -> list[FloatArray]:
        """How far above the bound at some prices the best plan is that makes each move, by chain."""
        return [excess_of(m, c, shortest(c)[0]) for m, c in zip(links, self.chains_at(prices), strict=True)]

    def raised(self, aim: float, start: Prices, steps: int) -> tuple[float, Prices]:
        """The best bound found by steps along what the lines' optima want too much of, and its prices."""
        held = prices = start
        course: Prices | None = None
        best, step, waited = -np.inf, 1.0, 0
        for _ in range(steps):
            cost, used = self.optima(prices)
            if not np.isfinite(aim):
                aim = cost + 1.0  # with no plan in hand yet: a key's worth above
            waited += 1
            if cost > best + SLACK:
                best, held, waited = cost, prices, 0
            if aim - best <= SLACK:
                break
            if waited > _PATIENCE:
                step, waited, prices, course = step / 2.0, 0, held, None
                if step < _LEAST_STEP:
                    break
                continue
            course = self._course(used, prices, course)
            size = float((course.room**2).sum() + sum((own**2).sum() for own in course.own))
            if size == 0.0:
                break
            ahead = step * (aim - cost) / size
            prices = Prices(np.maximum(prices.room + ahead * course.room, 0.0),
                            [own + ahead * along for own, along in zip(prices.own, course.own, strict=True)])
        return best, held

    def _course(self, used: list[FloatArray], prices: Prices, last: Prices | None) -> Prices:
        """Direction in which the bound rises: dearer where more is wanted than there is, cheaper where less."""
        mean = np.zeros(len(self.problem.price))
        for chain, u in zip(self.problem.chains, used, strict=True):
            mean[chain.nodes] += u / self.lines[chain.nodes]
        room = self.members @ mean - 1.0
        room[(prices.room <= 0.0) & (room < 0.0)] = 0.0
        own = [u - mean[c.nodes] for u, c in zip(used, self.problem.chains, strict=True)]
        if last is not None:
            room = room + _KEPT_COURSE * last.room
            own = [o + _KEPT_COURSE * before for o, before in zip(own, last.own, strict=True)]
        return Prices(room, own)


def _members(cliques: list[NDArray[np.int64]], count: int) -> csr_array:
    """Cliques against candidates, 1 where one belongs to the other."""
    if not cliques:
        return csr_array((0, count))
    rows = np.repeat(np.arange(len(cliques)), [len(c) for c in cliques])
    columns = np.concatenate(cliques)
    return csr_array((np.ones(len(columns)), (rows, columns)), shape=(len(cliques), count))
