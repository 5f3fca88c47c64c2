"""Good plans quickly: the upper bound that the exact solver starts from."""

from __future__ import annotations

import dataclasses
from bisect import bisect, insort

import numpy as np

from crackmap.placement.chain import Chain, shortest
from crackmap.placement.problem import SLACK, Choice, Problem, plan_cost


def first_plan(problem: Problem, weight: list[float]) -> Choice:
    """The better of two plans, each improved until no line can do better alone.

    Parameters
    ----------
    problem : Problem
    weight : list of float
        Cost of each chain's own optimum: the heaviest chooses first. [keys]
    """
    order = sorted(range(len(problem.chains)), key=lambda k: (-weight[k], k))
    starts = (_line_by_line(problem, order), _largest_gap_first(problem))
    return min((_improved(problem, order, chosen) for chosen in starts), key=lambda choice: choice.cost)


def _line_by_line(problem: Problem, order: list[int]) -> frozenset[int]:
    chains = problem.chains
    held = np.zeros(len(problem.price), bool)
    held[np.concatenate([c.nodes for c in chains])] = True
    chosen = frozenset(np.flatnonzero(problem.needed & held).tolist())
    settled: list[int] = []
    for k in order:
        chosen = _settle(problem, k, chosen, settled)
        settled.append(k)
    return chosen


def _largest_gap_first(problem: Problem) -> frozenset[int]:
    """What a maker does: the costliest stretch gets the key that helps most, as long as that pays."""
    plan = _GrowingPlan(problem)
    settled: set[tuple[int, int, int]] = set()
    while True:
        stretches = [s for s in plan.stretches() if s[1:] not in settled]
        if not stretches:
            return frozenset(plan.chosen)
        _, line, first, last = max(stretches)
        nodes = problem.chains[line].nodes[first + 1:last].tolist()
        saved, best = min(((plan.change(k), k) for k in nodes), default=(0.0, -1))
        if saved < -SLACK:
            plan.add(best)
        else:
            settled.add((line, first, last))


class _GrowingPlan:
    """Keys chosen so far and, for each chain, where they lie; for one search only."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.chosen: set[int] = set()
        self.at = [{int(k): i for i, k in enumerate(c.nodes)} for c in problem.chains]
        self.paths: list[list[int]] = [[] for _ in problem.chains]
        for k in np.flatnonzero(problem.needed).tolist():
            if any(k in at for at in self.at):
                self.add(k)

    def add(self, k: int) -> None:
        """Choose candidate `k`."""
        self.chosen.add(k)
        for path, at in zip(self.paths, self.at, strict=True):
            if k in at:
                insort(path, at[k])

    def change(self, k: int) -> float:
        """What choosing `k` would add to the cost; inf where it touches a chosen key."""
        if self.problem.touching[k, sorted(self.chosen)].any():
            return float("inf")
        change = float(self.problem.price[k])
        for chain, path, at in zip(self.problem.chains, self.paths, self.at, strict=True):
            if k in at:
                place = bisect(path, at[k])
                before, after = ([-1, *path][place], [*path, len(at)][place])
                change += _stretch(chain, before, at[k]) + _stretch(chain, at[k], after)
                # A chain that has to have a key is not helped by counting it as empty.
                now = _stretch(chain, before, after)
                change -= now if np.isfinite(now) else 0.0
        return change

    def stretches(self) -> list[tuple[float, int, int, int]]:
        """Cost, chain, and the nodes before and after each stretch."""
        return [(_stretch(chain, a, b), n, a, b)
                for n, (chain, path) in enumerate(zip(self.problem.chains, self.paths, strict=True))
                for a, b in zip([-1, *path], [*path, len(chain.nodes)], strict=True)]


def _stretch(chain: Chain, before: int, after: int) -> float:
    """Cost of the stretch between two nodes, -1 and n standing for the chain's ends."""
    n = len(chain.nodes)
    if before < 0:
        return chain.empty if after == n else float(chain.start[after])
    return float(chain.end[before] if after == n else chain.link[before, after])


def _improved(problem: Problem, order: list[int], chosen: frozenset[int]) -> Choice:
    """The plan after each line in turn was solved again around the others."""
    cost = plan_cost(problem, chosen)
    for _ in range(4):
        improved, before = chosen, cost
        for k in order:
            others = [j for j in order if j != k]
            trial = _settle(problem, k, improved, others)
            trial_cost = plan_cost(problem, trial)
            if trial_cost < cost - SLACK:
                improved, cost = trial, trial_cost
        chosen = improved
        if cost >= before - SLACK:
            break
    return Choice(chosen, cost, -float("inf"))


def _settle(problem: Problem, k: int, chosen: frozenset[int], settled: list[int]) -> frozenset[int]:
    """Chain `k` solved around the keys on the settled chains, which stay as they are."""
    chains, chain = problem.chains, problem.chains[k]
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
