"""Edges in linear light: steps drawn at known places (geometric)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from crackmap.scale.edges import LINEAR_LIGHT, measure_edges, normal_share


def drawn_step(angle: float, offset: float, blur: float, dark: float = 0.03, light: float = 0.75) -> np.ndarray:
    """An sRGB picture, 60 px square, of a blurred step whose normal has `angle`, through its middle plus `offset`."""
    y, x = np.mgrid[:60, :60].astype(float)
    across = (x - 29.5) * np.cos(angle) + (y - 29.5) * np.sin(angle) - offset
    linear = dark + (light - dark) * ndtr(across / blur)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(coded * 255).astype(np.uint8)


def measured_step(picture: np.ndarray, angle: float) -> tuple[float, float, bool]:
    normal = np.array([[np.cos(angle), np.sin(angle)]])
    along = np.array([[-np.sin(angle), np.cos(angle)]])
    found = measure_edges(picture, 29.5 - 12 * along, 29.5 + 12 * along, normal, 6.0)
    return float(found.offset[0]), float(found.blur[0]), bool(found.ok[0])


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 2 * np.pi), st.floats(-2, 2), st.floats(0.5, 1.5))
def test_step_is_found_where_it_was_drawn(angle: float, offset: float, blur: float) -> None:
    found, width, ok = measured_step(drawn_step(angle, offset, blur), angle)
    assert ok
    assert found == pytest.approx(offset, abs=0.02)  # [px]; geometric; rounding to 8 bits is the rest
    assert width == pytest.approx(blur, abs=0.03)


def test_falling_step_is_found_too() -> None:
    found, _, ok = measured_step(drawn_step(0.3, 0.4, 0.8, dark=0.75, light=0.03), 0.3)
    assert ok and found == pytest.approx(0.4, abs=0.01)  # [px], geometric


def test_plain_picture_has_no_edge() -> None:
    rng = np.random.default_rng(0)
    picture = np.clip(rng.normal(128, 6, (60, 60)), 0, 255).astype(np.uint8)
    assert not measured_step(picture, 0.3)[2]


def test_half_height_in_coded_values_is_biased_and_ours_is_not() -> None:
    """Why linear light: the half-height place in coded values lies half a blur inside the dark side."""
    picture = drawn_step(0.0, 0.0, 1.0)
    row = picture[30].astype(float)
    half = (row[5] + row[-5]) / 2
    crossing = np.interp(half, row[24:36], np.arange(24, 36)) - 29.5
    assert crossing < -0.3
    assert abs(measured_step(picture, 0.0)[0]) < 0.02


@pytest.mark.parametrize(("coded", "linear"), [(0, 0.0), (255, 1.0), (188, 0.5)])
def test_linear_light_table(coded: int, linear: float) -> None:
    """sRGB (IEC 61966-2-1, from memory): half of full light is coded 188."""
    assert LINEAR_LIGHT[coded] == pytest.approx(linear, abs=0.003)


def test_normal_share_agrees_with_scipy() -> None:
    z = np.linspace(-9, 9, 5001)
    assert np.abs(normal_share(z) - ndtr(z)).max() < 5e-8  # independent: scipy's own function
