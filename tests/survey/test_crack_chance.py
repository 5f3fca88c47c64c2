"""The network's chance of crack, on drawn pictures whose answers are known by construction."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.demo.patches import random_patch
from crackmap.survey import crack_chance as module
from crackmap.survey.crack_chance import crack_chance
from tests.survey.test_find import board, with_gap

EVEN = 128  # even odds [1/255]


def picture(light: np.ndarray) -> np.ndarray:
    """Linear light as 8-bit sRGB, near enough."""
    return np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)


def level_line(row: float) -> np.ndarray:
    return np.stack([np.linspace(40, 360, 81), np.full(81, row)], 1)


def test_a_drawn_crack_is_likely_and_the_wood_round_it_is_not() -> None:
    points = np.stack([np.linspace(40, 360, 81), 130 + 6 * np.sin(np.linspace(0, 6, 81))], 1)
    chance = crack_chance(picture(with_gap(board(), points, 5.0)), 0.5)
    row, column = np.rint(points[10:60, 1]).astype(int), np.rint(points[10:60, 0]).astype(int)
    assert chance.dtype == np.uint8
    assert np.median(chance[row, column]) > EVEN  # geometric: the middle of the drawn gap
    assert (chance[:90] > EVEN).mean() < 0.001  # geometric: nothing was drawn there
    assert (chance[170:] > EVEN).mean() < 0.001


def test_plain_wood_gives_no_line() -> None:
    assert (crack_chance(picture(board()), 0.5) > EVEN).mean() < 0.001


def test_made_pieces_it_was_not_fitted_on_agree_with_their_truth() -> None:
    inside, outside = [], []
    for seed in (11, 12, 15, 18):  # the fit's seeds begin at a million
        patch = random_patch(seed, 256, mm_per_px=0.5, near_crack=1.0, markers=0)
        chance = crack_chance(patch.pixels, 0.5)
        inside.append(chance[patch.crack > 0.95])
        outside.append(chance[patch.crack == 0])
    assert (np.concatenate(inside) > EVEN).mean() > 0.6
    assert (np.concatenate(outside) > EVEN).mean() < 0.02


@pytest.mark.parametrize("mm_per_px", [0.25, 0.6])
def test_tiles_agree_with_one_look_at_the_whole(mm_per_px: float) -> None:
    seen = picture(with_gap(board(), level_line(130.0), 4.0))
    whole = crack_chance(seen, mm_per_px).astype(int)
    tiled = crack_chance(seen, mm_per_px, tile_px=336).astype(int)
    # independent: one forward of the same network; the overlap leaves only what it sees farther off
    assert (np.abs(whole - tiled) > 38).mean() < 0.003
    assert ((whole > EVEN) != (tiled > EVEN)).sum() < 0.1 * (whole > EVEN).sum()


def test_off_the_wood_the_chance_is_nought() -> None:
    wood = np.zeros((260, 420), bool)
    wood[:, :200] = True
    chance = crack_chance(picture(with_gap(board(), level_line(130.0), 4.0)), 0.5, wood)
    assert not chance[:, 200:].any()
    assert chance[:, :200].max() > EVEN


def test_two_looks_at_one_picture_agree_to_the_bit() -> None:
    seen = picture(with_gap(board(), level_line(130.0), 4.0))
    assert np.array_equal(crack_chance(seen, 0.5), crack_chance(seen, 0.5))


def test_the_weights_are_small() -> None:
    assert module.NETWORK_FILE.stat().st_size < 1_000_000
