"""Bounds from both sides for lines that share keys or crowd each other.

The lines are pulled apart: each solves its own chain, paying its share of a
shared key's price and a toll for keys that compete for wood with another line's
(Lagrangian relaxation, multipliers by subgradient steps). Any shares and tolls
give a lower bound; better ones raise it until the lines nearly agree. From each
round a real plan is made, line by line, for the upper bound.

References
----------
.. [1] M. L. Fisher, "The Lagrangian relaxation method for solving integer
   programming problems," Management Science 27, 1981, pages 1 to 18 (from memory).
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.placement.chain import Chain, shortest
from crackmap.placement.problem import SLACK, Choice, Problem, plan_cost
from crackmap.records import FloatArray

_ROUNDS = 60  # the bound moves little after that
_PATIENCE = 6  # rounds without a better bound before steps are halved
_PLAN_EVERY = 4  # rounds between plans


@dataclass(frozen=True, slots=True, eq=False)
class Bounds:
    """The best tolled chains, the bound that they give, and the best plan met on the way."""

    chains: tuple[Chain, ...]
    tolls: float  # what the tolls take off the sum of the chains' optima
    bound: float
    plan: Choice


def tighten(problem: Problem, cliques: list[list[int]]) -> Bounds:
    """Bounds for one group of lines.

    Parameters
    ----------
    problem : Problem
        With chains that already allow only plans with the user's keys.
    cliques : list of lists of candidates
        Of each list at most one can be cut.
    """
    member = _membership(problem, cliques)
    chains = problem.chains
    shares = [chain.node.copy() for chain in chains]
    tolls = np.zeros(len(cliques))
    best: Bounds | None = None
    plan = Choice(frozenset(), float("inf"), -float("inf"))
    step, stale = 1.0, 0
    for round_number in range(_ROUNDS):
        tolled = tuple(dataclasses.replace(c, node=share + toll)
                       for c, share, toll in zip(chains, shares, member.tolls_of(tolls), strict=True))
        paths = [shortest(c) for c in tolled]
        bound = sum(cost for cost, _ in paths) - float(tolls.sum())
        if round_number % _PLAN_EVERY == 0:
            plan = min(plan, make_plan(problem, tolled, [cost for cost, _ in paths]), key=lambda c: c.cost)
        if best is None or bound > best.bound + SLACK:
            best, stale = Bounds(tolled, float(tolls.sum()), bound, plan), 0
        else:
            stale += 1
            if stale % _PATIENCE == 0:
                step /= 2.0
        slope = member.slope([path for _, path in paths])
        if plan.cost - best.bound <= SLACK or slope.is_flat or not np.isfinite(bound):
            break
        reach = max(min(plan.cost, best.bound + 2.0) - bound, 0.01)
        move = step * reach / slope.length2
        shares = [share - move * part for share, part in zip(shares, slope.shares, strict=True)]
        tolls = np.maximum(tolls + move * slope.tolls, 0.0)
    assert best is not None
    return dataclasses.replace(best, plan=plan)


@dataclass(frozen=True, slots=True, eq=False)
class _Slope:
    """Which way raises the bound."""

    shares: list[FloatArray]  # to be taken off each chain's shares
    tolls: FloatArray

    @property
    def length2(self) -> float:
        return float(sum((s**2).sum() for s in self.shares) + (self.tolls**2).sum())

    @property
    def is_flat(self) -> bool:
        """True where the lines agree and nothing touches: the bound is reached."""
        return all(not s.any() for s in self.shares) and not (self.tolls > 0.0).any()


@dataclass(frozen=True, slots=True, eq=False)
class _Membership:
    """Who takes part in what."""

    chains: tuple[Chain, ...]
    holders: NDArray[np.int64]  # (N,) chains that hold each candidate
    in_clique: FloatArray  # (cliques, N)

    def tolls_of(self, tolls: FloatArray) -> list[FloatArray]:
        """Toll on each chain's nodes, a shared key's split evenly."""
        each = tolls @ self.in_clique / np.maximum(self.holders, 1)
        return [each[c.nodes] for c in self.chains]

    def slope(self, paths: list[tuple[int, ...]]) -> _Slope:
        used = np.zeros(len(self.holders))
        for chain, path in zip(self.chains, paths, strict=True):
            used[chain.nodes[list(path)]] += 1.0
        mean = used / np.maximum(self.holders, 1)
        shares = []
        for chain, path in zip(self.chains, paths, strict=True):
            own = np.zeros(len(chain.nodes))
            own[list(path)] = 1.0
            # A line that uses a key more than the others do should pay more: shares fall by mean - own.
            shares.append(mean[chain.nodes] - own)
        return _Slope(shares, self.in_clique @ mean - 1.0)


def _membership(problem: Problem, cliques: list[list[int]]) -> _Membership:
    count = len(problem.price)
    holders = np.bincount(np.concatenate([c.nodes for c in problem.chains]), minlength=count)
    in_clique = np.zeros((len(cliques), count))
    for row, clique in enumerate(cliques):
        in_clique[row, clique] = 1.0
    return _Membership(problem.chains, holders, in_clique)


def make_plan(problem: Problem, tolled: tuple[Chain, ...], weight: list[float]) -> Choice:
    """A plan made line by line, heaviest line first, then improved until no line can do better alone."""
    order = sorted(range(len(tolled)), key=lambda k: (-weight[k], k))
    held = np.zeros(len(problem.price), bool)
    held[np.concatenate([c.nodes for c in tolled])] = True
    chosen = frozenset(np.flatnonzero(problem.needed & held).tolist())
    settled: list[int] = []
    for k in order:
        chosen = _settle(problem, tolled, k, chosen, settled)
        settled.append(k)
    cost = plan_cost(problem, chosen)
    for _ in range(4):
        improved, before = chosen, cost
        for k in order:
            others = [j for j in order if j != k]
            trial = _settle(problem, problem.chains, k, improved, others)
            trial_cost = plan_cost(problem, trial)
            if trial_cost < cost - SLACK:
                improved, cost = trial, trial_cost
        chosen = improved
        if cost >= before - SLACK:
            break
    return Choice(chosen, cost, -float("inf"))


def _settle(problem: Problem, chains: tuple[Chain, ...], k: int, chosen: frozenset[int],
            settled: list[int]) -> frozenset[int]:
    """Chain `k` solved around the keys on the settled chains, which stay as they are."""
    chain = chains[k]
    on_settled = np.zeros(len(problem.price), bool)
    for j in settled:
        on_settled[chains[j].nodes] = True
    there = np.zeros(len(problem.price), bool)
    there[sorted(chosen)] = True
    there &= on_settled | problem.needed
    keys = np.flatnonzero(there)
    stays = there[chain.nodes]
    banned = (problem.touching[np.ix_(chain.nodes, keys)].any(axis=1) | on_settled[chain.nodes]) & ~stays
    # A key that stays is paid for already; a shared one is paid in full by the line that brings it in.
    node = np.where(stays, 0.0, np.where(banned, np.inf, chain.node))
    _, path = shortest(dataclasses.replace(chain, node=node).through(stays))
    if path is None:
        return chosen
    return frozenset(keys.tolist()) | frozenset(chain.nodes[list(path)].tolist())
