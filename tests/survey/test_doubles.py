"""Doubles inside a wide gap, by hand."""

from __future__ import annotations

import numpy as np

from crackmap.survey.doubles import without_doubles
from crackmap.survey.graph import Branch


def straight(x0: float, x1: float, y: float, start: int, end: int) -> Branch:
    x = np.arange(x0, x1 + 1)
    return Branch(np.stack([x, np.full(len(x), y)], 1), start, end)


def test_a_line_inside_a_wide_gap_goes():
    branches = [straight(0, 200, 50, 1, 2), straight(40, 90, 54, 3, 4)]
    kept = without_doubles(branches, [np.full(201, 14.0), np.full(51, 3.0)])
    assert [b.length for b in kept] == [200.0]


def test_a_neighbour_outside_the_gap_stays():
    branches = [straight(0, 200, 50, 1, 2), straight(40, 90, 65, 3, 4)]
    assert len(without_doubles(branches, [np.full(201, 14.0), np.full(51, 3.0)])) == 2


def test_the_through_line_is_whole_again():
    whole = [straight(0, 100, 50, 1, 2), straight(100, 200, 50, 2, 3)]
    twig = Branch(np.array([[100.0, 50], [101, 53], [102, 55]]), 2, 4)
    kept = without_doubles([*whole, twig], [np.full(101, 14.0), np.full(101, 14.0), np.full(3, 4.0)])
    assert [b.length for b in kept] == [200.0]


def test_of_two_ways_round_a_hole_the_wider_one_stays_though_the_other_is_longer() -> None:
    along = np.arange(0.0, 101.0)
    bow = np.stack([along, 50 + 3 * np.sin(np.pi * along / 100)], 1)
    detour = np.stack([along, 50 - 4 * np.sin(np.pi * along / 100)], 1)  # a little longer
    kept = without_doubles([Branch(bow, 1, 2), Branch(detour, 1, 2)], [np.full(101, 16.0), np.full(101, 9.0)])
    assert len(kept) == 1 and kept[0].points[50, 1] > 50
