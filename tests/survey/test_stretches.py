"""Cutting lines into crack and not-crack, and linking; answers by hand."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.survey.graph import Branch, degrees
from crackmap.survey.link import least_cost_path, linked
from crackmap.survey.ridge import LineMap
from crackmap.survey.stretches import best_states


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-4, 4), min_size=1, max_size=8), st.floats(0.1, 3))
def test_best_states_is_the_best_of_all_cuttings(evidence: list[float], price: float):
    def worth(states: tuple[int, ...]) -> float:
        changes = sum(a != b for a, b in itertools.pairwise(states))
        return sum(e for e, s in zip(evidence, states, strict=True) if s) - price * changes

    best = max(worth(states) for states in itertools.product((0, 1), repeat=len(evidence)))  # independent: all tried
    assert np.isclose(worth(tuple(best_states(np.array(evidence), price))), best)


def flat_map(height: int = 60, width: int = 200) -> LineMap:
    return LineMap(np.zeros((height, width), np.uint8), np.zeros((height, width), np.uint8))


WOOD = np.ones((60, 200), bool)


def straight(x0: float, x1: float, y: float, start: int, end: int) -> Branch:
    x = np.arange(x0, x1 + 1)
    return Branch(np.stack([x, np.full(len(x), y)], 1), start, end)


def test_a_gap_between_two_plain_cracks_is_bridged():
    branches = [straight(10, 80, 30, 1, 2), straight(100, 180, 31, 3, 4)]
    joined = linked(branches, flat_map(), [3.0, 3.0], 0.5, WOOD)
    assert len(joined) == 1
    assert {tuple(joined[0].points[0]), tuple(joined[0].points[-1])} == {(10.0, 30.0), (180.0, 31.0)}


def test_a_crack_ends_at_a_void():
    branches = [straight(10, 80, 30, 1, 2), straight(100, 180, 31, 3, 4)]
    holed = WOOD.copy()
    holed[20:40, 82:98] = False
    assert len(linked(branches, flat_map(), [3.0, 3.0], 0.5, holed)) == 2


def test_side_by_side_cracks_are_not_joined():
    branches = [straight(10, 100, 20, 1, 2), straight(60, 180, 45, 3, 4)]
    assert len(linked(branches, flat_map(), [3.0, 3.0], 0.5, WOOD)) == 2


def test_a_gap_longer_than_the_cracks_stays():
    branches = [straight(10, 25, 30, 1, 2), straight(70, 85, 30, 3, 4)]
    assert len(linked(branches, flat_map(), [3.0, 3.0], 0.5, WOOD)) == 2


def test_a_twig_that_runs_up_to_its_stem_meets_it():
    twig = Branch(np.stack([np.arange(100.0, 140), np.linspace(35, 55, 40)], 1), 3, 4)
    joined = linked([straight(10, 180, 30, 1, 2), twig], flat_map(), [3.0, 3.0], 0.5, WOOD)
    assert len(joined) == 3
    assert max(degrees(joined).values()) == 3


def test_least_cost_path_follows_the_line():
    lines = flat_map()
    column = np.arange(20, 81)
    row = np.rint(30 + 6 * np.sin((column - 20) / 60 * np.pi)).astype(int)
    lines.strength[row, column] = 64
    path = least_cost_path(lines, np.array([20.0, 30.0]), np.array([80.0, 30.0]))
    assert path[:, 1].max() >= 35  # it bends with the drawn line instead of going straight at 30
