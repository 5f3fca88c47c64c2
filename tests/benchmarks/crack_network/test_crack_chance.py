"""The chance of crack on drawn pictures whose answers are known by construction."""

from __future__ import annotations

import numpy as np

from crackmap.survey.graph import Branch
from crackmap.survey.ridge import LineMap
from tests.benchmarks.crack_network.chance_lines import (
    chance_branches,
    line_confidences,
    within_rim,
    without_edge_lines,
)
from tests.benchmarks.crack_network.crack_chance import crack_chance
from tests.survey.test_find import board, with_gap


def picture(light: np.ndarray) -> np.ndarray:
    """Linear light as 8-bit sRGB, near enough."""
    return np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)


def test_a_drawn_crack_is_likely_and_the_wood_round_it_is_not() -> None:
    points = np.stack([np.linspace(40, 360, 81), 130 + 6 * np.sin(np.linspace(0, 6, 81))], 1)
    chance = crack_chance(picture(with_gap(board(), points, 5.0)))
    row, column = np.rint(points[10:60, 1]).astype(int), np.rint(points[10:60, 0]).astype(int)
    assert np.median(chance[row, column]) > 0.7  # geometric: the middle of the drawn gap
    assert (chance[:90] > 0.5).mean() < 0.001  # geometric: nothing was drawn there
    assert (chance[170:] > 0.5).mean() < 0.001


def test_plain_wood_gives_no_line() -> None:
    chance = crack_chance(picture(board()))
    assert (chance > 0.5).mean() < 0.001


def test_tiles_agree_with_one_look_at_the_whole() -> None:
    points = np.stack([np.linspace(40, 360, 81), np.full(81, 130.0)], 1)
    seen = picture(with_gap(board(), points, 4.0))
    whole, tiled = crack_chance(seen), crack_chance(seen, tile_px=256)
    # independent: one forward of the same network; the overlap leaves only what it sees farther off
    assert np.abs(whole - tiled).max() < 0.1
    assert np.abs(whole - tiled).mean() < 1e-3


def test_off_the_wood_the_chance_is_nought() -> None:
    wood = np.zeros((260, 420), bool)
    wood[:, :200] = True
    points = np.stack([np.linspace(40, 360, 81), np.full(81, 130.0)], 1)
    chance = crack_chance(picture(with_gap(board(), points, 4.0)), wood)
    assert not chance[:, 200:].any()
    assert chance[:, :200].max() > 0.5


def test_a_likely_line_is_surer_than_a_doubtful_one_and_an_edge_line_is_dropped() -> None:
    chance = np.zeros((100, 300), np.float32)
    chance[40, 20:220] = 0.95
    chance[70, 20:50] = 0.7
    lines = LineMap(np.zeros((100, 300), np.uint8), np.zeros((100, 300), np.uint8))
    long, short = sorted(chance_branches(chance, lines), key=lambda b: -b.length)
    assert 195 <= long.length <= 200  # geometric: 200 px drawn
    sure = line_confidences(chance, [long, short])
    assert sure[0] > 0.5 > sure[1]
    wood = np.zeros((100, 300), bool)
    wood[35:] = True  # its edge runs 5 px above the long line
    assert [b.length for b in without_edge_lines([long, short], wood)] == [short.length]
    assert not within_rim(wood)[36].any() and within_rim(wood)[45].all()
    square = Branch(np.stack([np.full(40, 100.0), np.arange(35.0, 75.0)], 1), 0, 1)
    assert without_edge_lines([square], wood) == [square]  # a crack that runs out over the edge stays
