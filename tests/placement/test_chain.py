"""Dynamic programming against trying every subset."""

from __future__ import annotations

import dataclasses
from itertools import combinations

import numpy as np
import pytest

from crackmap.placement.chain import Chain, best_by_move, shortest


def random_chain(rng: np.random.Generator, n: int, count: int | None = None) -> Chain:
    link = rng.uniform(0, 2, (n, n))
    link[rng.uniform(size=(n, n)) < 0.25] = np.inf
    link[np.tril_indices(n)] = np.inf
    return Chain(0, np.arange(n), np.arange(n) * 10.0, np.full(n, 5.0), rng.uniform(-0.5, 1.5, n),
                 rng.uniform(0, 2, n), link, rng.uniform(0, 2, n), float(rng.uniform(0, 4)), count)


def every_plan(chain: Chain) -> list[tuple[float, tuple[int, ...]]]:
    """Cost and nodes of every subset, straight from the definition."""
    n = len(chain.nodes)
    plans = []
    for size in range(n + 1):
        for path in combinations(range(n), size):
            if chain.count is not None and size != chain.count:
                continue
            if not path:
                cost = chain.empty
            else:
                cost = (chain.start[path[0]] + chain.end[path[-1]] + sum(chain.node[list(path)])
                        + sum(chain.link[a, b] for a, b in zip(path, path[1:], strict=False)))
            if np.isfinite(cost):
                plans.append((float(cost), path))
    return plans


@pytest.mark.parametrize("seed", range(40))
def test_shortest_is_the_best_of_every_subset(seed: int):
    rng = np.random.default_rng(seed)
    chain = random_chain(rng, int(rng.integers(0, 9)), None if seed % 2 else int(rng.integers(0, 4)))
    plans = every_plan(chain)
    cost, path = shortest(chain)
    if not plans:
        assert path is None and cost == float("inf")
        return
    # Independent: brute force over all subsets.
    assert cost == pytest.approx(min(plans)[0])
    assert path == min(plans)[1]


@pytest.mark.parametrize("seed", range(20))
def test_best_by_move_is_the_best_plan_that_makes_the_move(seed: int):
    rng = np.random.default_rng(seed + 100)
    n = 6
    chain = random_chain(rng, n, None if seed % 2 else 2)
    moves, plans = best_by_move(chain), every_plan(chain)

    def best(makes) -> float:
        return min((cost for cost, path in plans if makes(path)), default=float("inf"))

    for a in range(n):
        assert moves.start[a] == pytest.approx(best(lambda p, a=a: p[:1] == (a,)))
        assert moves.end[a] == pytest.approx(best(lambda p, a=a: p[-1:] == (a,)))
        for b in range(n):
            assert moves.link[a, b] == pytest.approx(
                best(lambda p, a=a, b=b: (a, b) in list(zip(p, p[1:], strict=False))))


@pytest.mark.parametrize("seed", range(20))
def test_needed_nodes_are_in_every_plan(seed: int):
    rng = np.random.default_rng(seed + 200)
    chain = random_chain(rng, 7)
    needed = rng.uniform(size=7) < 0.3
    plans = [plan for plan in every_plan(chain) if set(np.flatnonzero(needed)) <= set(plan[1])]
    cost, path = shortest(chain.through(needed))
    if not plans:
        assert path is None
        return
    assert cost == pytest.approx(min(plans)[0])


def test_asking_for_more_keys_than_there_are_places_is_impossible():
    chain = dataclasses.replace(random_chain(np.random.default_rng(1), 3), count=4)
    assert shortest(chain) == (float("inf"), None)
