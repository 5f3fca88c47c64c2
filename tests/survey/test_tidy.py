"""The kept segments as few lines as a maker would draw."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.survey.graph import Branch
from crackmap.survey.tidy import EYE_MM, STUB_MM, tidied


def line(points: list[tuple[float, float]], start: int, end: int) -> Branch:
    """A branch through `points`, one point a pixel."""
    corners = np.array(points, float)
    arc = np.r_[0.0, np.cumsum(np.hypot(*np.diff(corners, axis=0).T))]
    at = np.linspace(0.0, arc[-1], round(arc[-1]) + 1)
    return Branch(np.column_stack([np.interp(at, arc, corners[:, k]) for k in (0, 1)]), start, end)


def tidy(branches: list[Branch], width: float = 4.0, odds: list[float] | None = None,
         mm_per_px: float = 0.5) -> tuple[list[Branch], list[float]]:
    return tidied(branches, [np.full(len(b.points), width) for b in branches], odds or [2.0] * len(branches), mm_per_px)


def test_a_stub_goes_and_its_stem_is_one_line_again() -> None:
    stub = (STUB_MM - 1.0) / 0.5  # [px]
    branches = [line([(0, 50), (100, 50)], 1, 2), line([(100, 50), (300, 50)], 2, 3),
                line([(100, 50), (100, 50 + stub)], 2, 4)]
    kept, odds = tidy(branches, odds=[1.0, 3.0, -1.0])
    assert len(kept) == 1 and kept[0].length == pytest.approx(300.0)
    # geometric: the mean along 100 px at 1 and 200 px at 3, but for the shared point.
    assert odds[0] == pytest.approx(7.0 / 3.0, abs=0.03)


def test_a_true_branch_stays() -> None:
    branches = [line([(0, 50), (100, 50)], 1, 2), line([(100, 50), (300, 50)], 2, 3),
                line([(100, 50), (150, 90)], 2, 4)]
    assert len(tidy(branches)[0]) == 3


@pytest.mark.parametrize(("apart", "lines"), [(0.8 * EYE_MM / 0.5, 1), (6.0 * EYE_MM / 0.5, 4)])
def test_two_ways_round_a_hole_are_one_where_they_lie_close(apart: float, lines: int) -> None:
    branches = [line([(0, 50), (100, 50)], 1, 2), line([(100, 50), (120, 50 - apart / 2), (140, 50)], 2, 3),
                line([(100, 50), (120, 50 + apart / 2), (140, 50)], 2, 3), line([(140, 50), (300, 50)], 3, 4)]
    kept, _ = tidy(branches)
    assert len(kept) == lines


def test_lines_of_their_own_are_left_alone_and_nothing_gives_nothing() -> None:
    branches = [line([(0, 50), (200, 50)], 1, 2), line([(0, 90), (200, 95)], 3, 4)]
    kept, odds = tidy(branches, odds=[0.5, 1.5])
    assert sorted(odds) == [0.5, 1.5] and len(kept) == 2
    assert tidied([], [], [], 0.5) == ([], [])
