"""One line's chain with every key elsewhere where it is."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from crackmap.placement.chain import Chain
from crackmap.placement.problem import Problem
from crackmap.placement.solved import Solved


def around_the_rest(chain: Chain, solved: Solved, problem: Problem, elsewhere: NDArray[np.int64]) -> Chain:
    """The line's chain at full prices, without what touches keys elsewhere or holds another line as well.

    A key that holds this line and another stays: it is the other's too.

    `elsewhere` are candidates' numbers, shape (K,).
    """
    chosen = np.isin(chain.nodes, solved.numbers)
    shared = solved.candidates.crossings.held[chain.nodes][:, list(solved.asking)].sum(axis=1) > 1
    banned = problem.touching[np.ix_(chain.nodes, elsewhere)].any(axis=1) | (shared & ~chosen)
    node = np.where(banned, np.inf, problem.price[chain.nodes])
    return dataclasses.replace(chain, node=node).through(problem.needed[chain.nodes] | (shared & chosen))
