"""Widths of gaps drawn to an exact width."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.survey.profile import Path, normals_of, resampled, smoothed_path
from crackmap.survey.width import linear_light, measure_widths

LENGTH = 80


def picture_of_gap(width: float, blur: float = 0.8, floor: float = 0.01, centre: float = 40.0) -> np.ndarray:
    """A straight gap along x in even wood, blurred in light, sRGB-coded; exact by integration."""
    fine = np.arange(0, 80, 0.01)
    light = np.where(np.abs(fine - centre) < width / 2, floor * 0.4, 0.4)
    t = np.arange(-5, 5, 0.01)
    kernel = np.exp(-(t**2) / (2 * blur**2))
    seen = np.convolve(np.pad(light, len(t) // 2, mode="edge"), kernel / kernel.sum(), mode="same")
    rows = np.interp(np.arange(5, 75), fine, seen[len(t) // 2 : len(t) // 2 + len(fine)])
    coded = 1.055 * rows ** (1 / 2.4) - 0.055
    return np.repeat(np.rint(coded * 255).astype(np.uint8)[:, None], LENGTH, axis=1)


def along(row: float) -> Path:
    points = np.stack([np.arange(2, LENGTH - 2.0), np.full(LENGTH - 4, row)], 1)
    return Path(points, normals_of(points))


# The measure's own spread on made profiles, from its training script: a few tenths of a pixel.
@pytest.mark.parametrize("width", [0.7, 1.0, 1.5, 2.5, 4.0, 7.0, 12.0])
def test_width_of_a_dark_gap(width: float):
    measured = measure_widths(picture_of_gap(width), along(35.0), np.full(LENGTH - 4, max(1.3 * width, 2.0)))
    assert np.median(measured.width) == pytest.approx(width, abs=0.25 + 0.04 * width)  # geometric [px]
    assert np.median(measured.sigma) < 0.5 + 0.2 * width


@pytest.mark.parametrize("guess", [0.6, 1.0, 1.8])
def test_the_first_guess_matters_little(guess: float):
    picture = picture_of_gap(5.0)
    measured = measure_widths(picture, along(35.0), np.full(LENGTH - 4, 5.0 * guess))
    assert np.median(measured.width) == pytest.approx(5.0, abs=0.6)


@pytest.mark.parametrize("off", [-1.5, 0.0, 1.0])
def test_the_middle_is_found_beside_the_path(off: float):
    picture = picture_of_gap(5.0, centre=40.0 + off)
    measured = measure_widths(picture, along(35.0), np.full(LENGTH - 4, 6.0))
    assert np.median(measured.shift) == pytest.approx(off, abs=0.3)  # geometric: normals of a path along +x are +y


def test_linear_light_at_the_ends_and_middle():
    light = linear_light()
    # published: IEC 61966-2-1, 0 -> 0, 255 -> 1, and about 0.214 at half the code
    assert light[0] == 0 and light[255] == pytest.approx(1)
    assert light[128] == pytest.approx(0.2158, abs=1e-3)


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 2 * np.pi), st.floats(20, 300), st.floats(0, 4))
def test_a_straight_path_stays_straight_and_keeps_its_ends(angle: float, length: float, sigma: float):
    end = length * np.array([np.cos(angle), np.sin(angle)])
    path = smoothed_path(np.array([[0.0, 0.0], end / 3, end]), sigma)
    assert np.allclose(path.points[0], 0, atol=1e-6) and np.allclose(path.points[-1], end, atol=1e-6)
    assert np.abs(path.points @ [-np.sin(angle), np.cos(angle)]).max() < 1e-6  # geometric
    assert np.allclose(np.hypot(*path.normals.T), 1)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.5, 3))
def test_resampling_is_even(step: float):
    points = resampled(np.array([[0.0, 0], [30, 0], [30, 40]]), step)
    gaps = np.hypot(*np.diff(points, axis=0).T)
    assert gaps.max() <= step * 1.1 and gaps.sum() == pytest.approx(70, abs=step)  # geometric, corner cut a little


def test_a_path_that_turns_back_on_itself_has_unit_normals():
    there_and_back = np.array([[0.0, 0], [1, 0], [2, 0], [1, 0], [0, 0]])
    assert np.allclose(np.hypot(*normals_of(there_and_back).T), 1)
