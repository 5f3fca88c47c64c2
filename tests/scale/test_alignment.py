"""Slab to machine: the transform, the distance check, and likely mistakes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crackmap.errors import ScaleError
from crackmap.scale.alignment import LEAST_DISTANCE, LEAST_LIMIT, align

coordinate = st.floats(-3000, 3000)
A, B = np.array([0.0, 0.0]), np.array([1200.0, 0.0])


def moved(points: np.ndarray, angle_deg: float, shift: tuple[float, float]) -> np.ndarray:
    a = math.radians(angle_deg)
    return points @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]) + shift


@given(angle=st.floats(-180, 180), x=coordinate, y=coordinate, length=st.floats(50, 3000),
       point=st.tuples(coordinate, coordinate))
def test_a_rigid_move_is_found_again(angle: float, x: float, y: float, length: float,
                                     point: tuple[float, float]) -> None:
    marks = np.array([[10.0, 20.0], [10.0 + length, 25.0]])
    on_machine = moved(np.vstack([marks, point]), angle, (x, y))
    found = align(marks[0], marks[1], on_machine[0], on_machine[1], 0.05)
    # geometric: exact by construction
    np.testing.assert_allclose(found.to_machine(point)[0], on_machine[2], atol=1e-6)
    assert found.difference == pytest.approx(0, abs=1e-8) and found.agrees
    turned = found.matrix[:2, :2]
    np.testing.assert_allclose(turned @ turned.T, np.eye(2), atol=1e-12)  # never stretches
    assert math.remainder(found.rotation_deg - angle, 360) == pytest.approx(0, abs=1e-6)


@given(more=st.floats(-50, 50))
def test_a_difference_is_shared_between_both_ends(more: float) -> None:
    found = align(A, B, (100, 50), (1300 + more, 50), 0.05)
    assert found.difference == pytest.approx(more, abs=1e-9)
    left, right = found.to_machine([A, B])
    assert left[0] == pytest.approx(100 + more / 2) and right[0] == pytest.approx(1300 + more / 2)


def test_known_quarter_turn() -> None:
    found = align(A, B, (500, 100), (500, 1300), 0.02)
    # geometric: x of the slab runs along Y of the machine
    assert found.rotation_deg == pytest.approx(90)
    np.testing.assert_allclose(found.to_machine([[300, 40]])[0], [460, 400], atol=1e-9)


@pytest.mark.parametrize(("scale_percent", "jog", "limit"), [
    (0.0, 0.0, LEAST_LIMIT),
    (0.0, 0.1, LEAST_LIMIT),  # 3 * sqrt(2) * 0.1 = 0.42 mm, less than half a millimetre
    (0.0, 1.0, 3 * math.sqrt(2)),  # geometric: two independent readings along the line
    (0.1, 0.0, 3.6),  # 0.1 % of 1200 mm, three times
    (0.1, 1.0, 3 * math.hypot(math.sqrt(2), 1.2)),
])
def test_limit_is_three_sigma_or_half_a_millimetre(scale_percent: float, jog: float, limit: float) -> None:
    assert align(A, B, A, B, scale_percent, jog).limit == pytest.approx(limit)
    assert align(A, B, A, B + [limit * 0.99, 0], scale_percent, jog).agrees
    assert not align(A, B, A, B + [limit * 1.01, 0], scale_percent, jog).agrees


def test_three_sigma_is_three_sigma() -> None:
    """By simulation: the difference's spread is the claimed sigma (independent of the formula)."""
    rng = np.random.default_rng(3)
    jog, scale_percent = 0.3, 0.05
    differences = []
    for _ in range(2000):
        true_length = 1200 * (1 + rng.normal(0, scale_percent / 100))
        readings = np.array([[0, 0], [true_length, 0]]) + rng.normal(0, jog, (2, 2))
        differences.append(align(A, B, *readings, scale_percent, jog).difference)
    claimed = align(A, B, A, B, scale_percent, jog).difference_sigma
    assert np.std(differences) == pytest.approx(claimed, rel=0.06)  # 2000 draws: 1.6 % one sigma


@pytest.mark.parametrize(("factor", "word"), [
    (1 / 25.4, "inches"), (25.4, "millimetres"), (0.1, "centimetres"), (1.01, "--marker-size"),
    (1.7, "another mark")])
def test_likely_mistake_is_named(factor: float, word: str) -> None:
    found = align(A, B, A, B * factor, 0.05)
    assert not found.agrees and word in found.hint


def test_no_hint_where_all_is_well() -> None:
    assert align(A, B, A, B + [0.3, 0], 0.05).hint == ""


@pytest.mark.parametrize("readings", [
    ((5, 5), (5, 5)), ((0, 0), (LEAST_DISTANCE - 1, 0)), ((0, 0), (math.nan, 0)), ((0, 0), (math.inf, 0))])
def test_readings_that_give_no_direction(readings: tuple[tuple[float, float], tuple[float, float]]) -> None:
    with pytest.raises(ScaleError) as caught:
        align(A, B, *readings, 0.05)
    assert str(caught.value).endswith(("again.", "40.25"))


def test_datum_marks_too_near() -> None:
    with pytest.raises(ScaleError, match="datum marks"):
        align(A, (1, 0), A, B, 0.05)


@pytest.mark.parametrize("far", [1e7, 1e200, -1e308, float("inf"), float("nan")])
def test_a_reading_that_no_machine_shows(far: float) -> None:
    """Such readings once gave a matrix that was not finite."""
    with pytest.raises(ScaleError, match="no number below a kilometre"):
        align((0, 0), (500, 0), (0, 0), (far, 0), 0.1)
    with pytest.raises(ScaleError, match="no number below a kilometre"):
        align((0, far), (500, 0), (0, 0), (500, 0), 0.1)
