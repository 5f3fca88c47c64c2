"""The exact solver against brute force on small random problems; 200 more in the benchmark."""

from __future__ import annotations

import dataclasses
from itertools import chain as chained
from itertools import combinations

import numpy as np
import pytest

from crackmap.placement.chain import Chain
from crackmap.placement.coupling import choose
from crackmap.placement.problem import Problem, plan_cost


def random_problem(seed: int) -> Problem:
    """Two or three lines over 9 candidates, some shared, some touching."""
    rng = np.random.default_rng(seed)
    total, lines = 9, int(rng.integers(2, 4))
    where = rng.uniform(0, 100, total)
    touching = np.abs(where[:, None] - where[None, :]) < 18
    touching &= rng.uniform(size=(total, total)) < 0.8
    touching |= touching.T
    np.fill_diagonal(touching, False)
    price = rng.uniform(0.4, 1.4, total)
    holds = rng.uniform(size=(lines, total)) < 0.55
    holds[rng.integers(0, lines, total), np.arange(total)] = True
    chains = []
    for n in range(lines):
        nodes = np.flatnonzero(holds[n])
        nodes = nodes[np.argsort(where[nodes], kind="stable")]
        at = where[nodes]
        link = ((at[None, :] - at[:, None]) / 25) ** 2
        link = np.where((at[None, :] > at[:, None]) & ~touching[np.ix_(nodes, nodes)], link, np.inf)
        chains.append(Chain(n, nodes, at, np.full(len(nodes), 5.0), price[nodes] / holds[:,
                                                                                         nodes].sum(axis=0),
                            2 * (at / 25) ** 2, link, ((100 - at) / 25) ** 2, 20.0))
    return Problem(tuple(chains), price, touching, np.zeros(total, bool))


def brute_force(problem: Problem) -> tuple[float, frozenset[int]]:
    total = len(problem.price)
    subsets = chained.from_iterable(combinations(range(total), k) for k in range(total + 1))
    return min((plan_cost(problem, frozenset(s)), frozenset(s)) for s in subsets)


@pytest.mark.parametrize("seed", range(60))
def test_same_optimum_as_brute_force(seed: int):
    problem = random_problem(seed)
    cost, chosen = brute_force(problem)
    choice = choose(problem, 10_000)
    assert choice.cost == pytest.approx(cost, abs=1e-6)  # independent: all 512 subsets
    assert choice.chosen == chosen
    assert choice.bound == pytest.approx(choice.cost, abs=1e-6)


@pytest.mark.parametrize("seed", range(20))
def test_same_optimum_as_brute_force_with_needed_keys_and_counts(seed: int):
    problem = random_problem(seed + 500)
    rng = np.random.default_rng(seed)
    needed = np.zeros(9, bool)
    needed[rng.integers(0, 9)] = True
    chains = (dataclasses.replace(problem.chains[0], count=2), *problem.chains[1:])
    problem = dataclasses.replace(problem, chains=chains, needed=needed)
    cost, chosen = brute_force(problem)
    choice = choose(problem, 10_000)
    assert choice.cost == pytest.approx(cost, abs=1e-6)  # independent: all 512 subsets; inf where none fits
    if np.isfinite(cost):
        assert choice.chosen == chosen


def test_a_search_cut_short_states_its_gap():
    gaps = [choice.cost - choice.bound for choice in (choose(random_problem(seed), 0) for seed in range(60))]
    assert min(gaps) >= -1e-6
