"""The placement problem in numbers: chains over shared candidates, and what a plan costs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.placement.chain import Chain
from crackmap.records import FloatArray

SLACK = 1e-7  # rounding in sums of costs; far under any cost that matters [keys]


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Chains over candidates; `touching` says which candidates cannot both be cut."""

    chains: tuple[Chain, ...]
    price: FloatArray  # (N,) full price of each candidate
    touching: NDArray[np.bool_]  # (N, N)
    needed: NDArray[np.bool_]  # (N,) the user's


@dataclass(frozen=True, slots=True)
class Choice:
    """Chosen candidates and how sure it is that no plan is better."""

    chosen: frozenset[int]
    cost: float
    bound: float  # no plan costs less


def plan_cost(problem: Problem, chosen: frozenset[int]) -> float:
    """Cost of a plan from scratch: its prices and every line's stretches; inf where it is none.

    A plan's keys keep clear of each other, every chain can use those that lie
    on it in the order of their arcs, counts that were asked for are met, and
    the user's keys are there.

    It counts in keys. [-]
    """
    keys = np.array(sorted(chosen), np.int64)
    if problem.touching[np.ix_(keys, keys)].any():
        return float("inf")
    cost = float(problem.price[keys].sum())
    for chain in problem.chains:
        path = tuple(np.flatnonzero(np.isin(chain.nodes, keys)).tolist())
        needed = set(np.flatnonzero(problem.needed[chain.nodes]).tolist())
        if (chain.count is not None and len(path) != chain.count) or not needed <= set(path):
            return float("inf")
        cost += chain.path_cost(path)
    return cost
