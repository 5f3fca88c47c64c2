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
