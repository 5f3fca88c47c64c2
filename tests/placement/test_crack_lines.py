"""Joining cracks into lines: answers known by geometry."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.placement.crack_lines import join_cracks
from crackmap.records import Crack, frozen_array
from tests.placement.slabs import straight_crack


def crack(name: str, points: list[tuple[float, float]], ends: tuple[str, str], width: float = 3.0) -> Crack:
    return Crack(name, frozen_array(points, 2), frozen_array([width] * len(points)), ends, 0.9)


def test_a_stem_runs_on_straight_through_a_junction_and_the_branch_is_its_own_line():
    stem = crack("C1", [(0, 0), (50, 0), (100, 0)], ("edge", "junction"))
    straight = crack("C2", [(100, 0), (150, 0), (200, 0)], ("junction", "tip"))
    branch = crack("C3", [(100, 0), (140, 30)], ("junction", "tip"))
    lines = join_cracks((stem, branch, straight), 8.0)
    assert sorted(line.cracks for line in lines) == [("C1", "C2"), ("C3",)]
    main = next(line for line in lines if len(line.cracks) == 2)
    assert main.length == pytest.approx(200.0)  # geometric: two straight pieces of 100 mm
    assert main.ends == ("edge", "tip")
    assert (main.crack_at(40.0), main.crack_at(160.0)) == ("C1", "C2")


def test_order_and_direction_of_the_pieces_do_not_matter():
    far = crack("C1", [(200, 0), (150, 0), (100, 0)], ("tip", "junction"))
    near = crack("C2", [(100, 0), (50, 0), (0, 0)], ("junction", "edge"))
    (line,) = join_cracks((far, near), 8.0)
    assert line.cracks == ("C2", "C1")  # from the open end
    assert line.points[0] == pytest.approx([0, 0])
    assert line.points[-1] == pytest.approx([200, 0])


@pytest.mark.parametrize(("gap", "aside", "joined"), [(6.0, 0.0, True), (9.0, 0.0, False), (6.0, 5.0, False)])
def test_tips_that_face_each_other_across_a_short_gap_are_one_crack(gap: float, aside: float, joined: bool):
    first = crack("C1", [(0, 0), (60, 0)], ("edge", "tip"))
    second = crack("C2", [(60 + gap, aside), (160 + gap, aside)], ("tip", "tip"))
    lines = join_cracks((first, second), 8.0)
    assert len(lines) == (1 if joined else 2)


def test_cracks_do_not_join_across_a_void():
    left = crack("C1", [(0, 0), (60, 0)], ("edge", "void"))
    right = crack("C2", [(61, 0), (160, 0)], ("void", "tip"))
    assert len(join_cracks((left, right), 8.0)) == 2


def test_a_ring_of_cracks_is_cut_somewhere():
    corners = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]
    # Each side bows out so that neighbours meet nearly straight.
    ring = tuple(crack(f"C{k}", _bow(corners[k], corners[(k + 1) % 4]), ("junction", "junction"))
                 for k in range(4))
    lines = join_cracks(ring, 8.0)
    assert sum(len(line.cracks) for line in lines) == 4


def _bow(a: tuple[float, float], b: tuple[float, float]) -> list[tuple[float, float]]:
    start, end = np.array(a), np.array(b)
    share = np.linspace(0, 1, 20)[:, None]
    chord = end - start
    return [tuple(p) for p in start + share * chord + np.sin(np.pi * share) * 0.3 * np.array([chord[1],
                                                                                              -chord[0]])]


def test_the_wider_half_comes_first_where_both_ends_are_tips():
    line, = join_cracks((straight_crack("C1", (100, 100), 80, lambda t: 1 + 4 * t, ends=("tip", "tip")),),
                        8.0)
    assert line.width[0] > line.width[-1]


def test_frames_of_a_quarter_circle():
    turn = np.linspace(0, np.pi / 2, 200)
    arc = Crack("C1", frozen_array(np.column_stack([200 * np.cos(turn), 200 * np.sin(turn)]), 2),
                frozen_array(np.full(200, 3.0)), ("edge", "tip"), 0.9)
    (line,) = join_cracks((arc,), 8.0)
    middle = np.array([line.length / 2])
    centre, direction = line.frames(middle, 10.0)
    # Geometric: half way round a quarter circle, the tangent is at 45 + 90 degrees; the mean of an arc of
    # half angle b lies at R sin(b)/b from the centre.
    assert direction[0] == pytest.approx(135.0, abs=0.2)
    assert np.hypot(*centre[0]) == pytest.approx(200 * np.sin(0.05) / 0.05, abs=0.05)
