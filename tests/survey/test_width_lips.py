"""Widths read off the straightened picture: gaps drawn to an exact width, in colour."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from crackmap.survey.profile import Path, normals_of
from crackmap.survey.width import Widths, measure_widths
from crackmap.survey.width_inputs import ACROSS, CHANNELS, reach_of, read_answers, strip_inputs
from crackmap.survey.width_lips import measure_lips
from crackmap.survey.width_tips import run_to_border, without_empty_ends

LENGTH, HEIGHT, MIDDLE = 90, 100, 50.0
WOOD = np.array([0.45, 0.31, 0.19])


def picture_of_gap(
    width: float, blur: float = 0.8, floor: float = 0.03, middle: float = MIDDLE, stain: float = 0.0
) -> NDArray[np.uint8]:
    """A straight gap along x in even wood, blurred in light, sRGB-coded; perhaps in a soft stain 6 px wide."""
    fine = np.arange(-10, HEIGHT + 10, 0.02)
    light = np.where(np.abs(fine - middle) < width / 2, floor, 1 - stain * np.exp(-(((fine - middle) / 6) ** 2)))
    t = np.arange(-6, 6, 0.02)
    kernel = np.exp(-(t**2) / (2 * blur**2))
    seen = np.convolve(light, kernel / kernel.sum(), mode="same")
    rows = np.interp(np.arange(HEIGHT), fine, seen)[:, None] * WOOD
    coded = np.rint((1.055 * np.maximum(rows, 0.0031308) ** (1 / 2.4) - 0.055) * 255).astype(np.uint8)
    return np.repeat(coded[:, None], LENGTH, axis=1)


def along(row: float = MIDDLE) -> Path:
    points = np.stack([np.arange(2, LENGTH - 2.0), np.full(LENGTH - 4, row)], 1)
    return Path(points, normals_of(points))


def looked_twice(picture: NDArray[np.uint8], path: Path, guess: float) -> Widths:
    return measure_lips(picture, path, measure_lips(picture, path, np.full(len(path), guess)).width)


# Tolerance: a third of a pixel, and a twentieth for wide gaps, whose floor and walls the network can't know.
@pytest.mark.parametrize("width", [1.0, 1.5, 2.5, 4.0, 7.0, 12.0, 20.0])
@pytest.mark.parametrize("blur", [0.6, 1.1])
def test_width_of_a_dark_gap(width: float, blur: float) -> None:
    found = looked_twice(picture_of_gap(width, blur), along(), 1.3 * width)
    assert np.median(found.width) == pytest.approx(width, abs=0.35 + 0.05 * width)  # geometric [px]
    assert np.median(found.sigma) < 0.5 + 0.1 * width


@pytest.mark.parametrize("guess", [2.0, 4.0, 10.0])
def test_a_guess_off_by_a_factor_of_two_matters_little(guess: float) -> None:
    found = looked_twice(picture_of_gap(5.0), along(), guess)
    assert np.median(found.width) == pytest.approx(5.0, abs=0.6)  # geometric


@pytest.mark.parametrize("off", [-1.5, 0.0, 1.0])
def test_the_middle_is_found_beside_the_path(off: float) -> None:
    found = looked_twice(picture_of_gap(5.0, middle=MIDDLE + off), along(), 6.0)
    assert np.median(found.shift) == pytest.approx(off, abs=0.2)  # geometric: normals of a path along +x are +y


def test_wood_without_a_gap_has_no_width() -> None:
    found = looked_twice(picture_of_gap(0.0), along(), 3.0)
    assert np.median(found.width) < 0.25


def test_a_soft_stain_is_not_taken_for_the_gap() -> None:
    picture = picture_of_gap(2.5, stain=0.45)
    found = looked_twice(picture, along(), 4.0)
    single = measure_widths(picture.max(2), along(), np.full(LENGTH - 4, 4.0))
    error, single_error = (abs(float(np.median(w.width)) - 2.5) for w in (found, single))  # geometric
    assert error < 0.6 and error <= single_error + 0.1


def test_a_change_of_width_is_not_rounded_off() -> None:
    narrow, wide = picture_of_gap(2.0), picture_of_gap(6.0)
    picture = np.concatenate([narrow[:, : LENGTH // 2], wide[:, LENGTH // 2 :]], axis=1)
    found = looked_twice(picture, along(), 4.0)
    before, after = found.width[LENGTH // 2 - 10], found.width[LENGTH // 2 + 6]  # 8 px from the step, either side
    assert before < 3.0 and after > 5.0  # geometric: 2 and 6


def test_short_paths_and_paths_along_the_border_are_measured() -> None:
    picture = picture_of_gap(3.0)
    points = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]])
    found = measure_lips(picture, Path(points, normals_of(points)), np.full(3, 3.0))
    assert found.width.shape == found.sigma.shape == found.shift.shape == (3,)
    assert np.isfinite(found.width).all() and (found.sigma > 0).all()


@settings(max_examples=20, deadline=None)
@given(st.floats(0.05, 0.9), st.floats(0.3, 3.0))
def test_only_shares_of_the_wood_s_light_matter(light: float, gain: float) -> None:
    rng = np.random.default_rng(0)
    strip = light * rng.uniform(0.5, 1.0, (20, len(ACROSS), 3))
    reach = reach_of(np.full(20, 4.0))
    one, other = strip_inputs(strip, reach), strip_inputs(gain * strip, reach)
    assert one.shape == (CHANNELS, len(ACROSS), 20)
    assert np.allclose(one[:5], other[:5], atol=1e-4)  # geometric: a gain cancels


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-30, 30), min_size=4, max_size=4), st.floats(2, 60))
def test_answers_are_widths_and_doubts_above_nought(values: list[float], rough: float) -> None:
    width, _, doubt, middle_doubt = read_answers(np.array(values)[:, None], reach_of(np.array([rough])))
    assert width[0] >= 0 and doubt[0] > 0 and middle_doubt[0] > 0


def widths(*values: float) -> Widths:
    array = np.array(values)
    return Widths(array, np.full(len(array), 0.1), np.zeros(len(array)))


def test_empty_ends_are_cut_where_they_hang_on_nothing() -> None:
    measured = widths(0.1, 0.1, *[2.0] * 16, 0.0, 0.1)
    assert without_empty_ends(measured, (True, True)) == slice(2, 18)
    assert without_empty_ends(measured, (False, True)) == slice(0, 18)
    assert without_empty_ends(measured, (False, False)) == slice(0, 20)


def test_a_crack_that_hardly_shows_is_kept_whole() -> None:
    assert without_empty_ends(widths(*[0.1] * 15, 0.5, *[0.1] * 4), (True, True)) == slice(0, 20)
    assert without_empty_ends(widths(*[0.1] * 20), (True, True)) == slice(0, 20)


def test_an_end_that_hooks_along_the_border_runs_straight_out() -> None:
    wood = np.zeros((60, 100), bool)
    wood[:, :80] = True
    straight = np.stack([np.arange(20.0, 76.0), np.full(56, 30.0)], 1)
    hook = np.stack([np.full(10, 76.0), np.arange(31.0, 41.0)], 1)
    reached = run_to_border(wood, np.vstack([straight, hook]), (True, True))
    assert reached[-1] == pytest.approx([79.0, 30.0], abs=1.0)  # geometric: the wood ends at column 79
    assert reached[0] == pytest.approx([20.0, 30.0])
    kept = run_to_border(wood, np.vstack([straight, hook]), (True, False))
    assert kept[-1] == pytest.approx([76.0, 40.0])


def test_a_crack_along_the_border_is_left_alone() -> None:
    wood = np.zeros((60, 100), bool)
    wood[:50] = True
    points = np.stack([np.arange(20.0, 70.0), np.full(50, 46.0)], 1)
    assert (run_to_border(wood, points, (True, True)) == points).all()
