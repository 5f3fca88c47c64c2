"""A good plan quickly, line by line: the upper bound that the exact solver starts from."""

from __future__ import annotations

import dataclasses

import numpy as np

from crackmap.placement.chain import shortest
from crackmap.placement.problem import SLACK, Choice, Problem, plan_cost


def plan_line_by_line(problem: Problem, weight: list[float]) -> Choice:
    """A plan made line by line, heaviest line first, then improved until no line can do better alone."""
    chains = problem.chains
    order = sorted(range(len(chains)), key=lambda k: (-weight[k], k))
    held = np.zeros(len(problem.price), bool)
    held[np.concatenate([c.nodes for c in chains])] = True
    chosen = frozenset(np.flatnonzero(problem.needed & held).tolist())
    settled: list[int] = []
    for k in order:
        chosen = _settle(problem, k, chosen, settled)
        settled.append(k)
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
