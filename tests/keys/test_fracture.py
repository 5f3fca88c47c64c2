"""Crack mechanics against the handbook's coefficients."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.errors import KeyShapeError
from crackmap.keys.fracture import (
    CrackedSlab,
    intensity_of_stress,
    keyed_crack,
    opening_of_stress,
    orthotropic_stiffness,
)
from crackmap.published import EDGE_CRACK_FACTOR, EDGE_CRACK_MOUTH

# The handbook is Tada, Paris, Irwin, The Stress Analysis of Cracks Handbook.
EDGE = CrackedSlab(length=305.0, thickness=44.0, stiffness=1800.0, from_edge=True)
INNER = CrackedSlab(length=600.0, thickness=44.0, stiffness=1800.0, from_edge=False)


def strips(length: float, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Key positions and widths that cover a crack without a gap."""
    width = length / count
    return (np.arange(count) + 0.5) * width, np.full(count, width)


def test_edge_crack_intensity_is_the_handbooks() -> None:
    """published: K = 1.1215 s sqrt(pi a)."""
    assert float(intensity_of_stress(EDGE, 2.0)) == pytest.approx(1.1215 * 2.0 * math.sqrt(math.pi * 305.0),
                                                                  rel=1e-4)


def test_edge_crack_mouth_opening_is_the_handbooks() -> None:
    """independent: our opening is an integral of K; the handbook's is 4 s a / E' times 1.454 (twice 2 v)."""
    opening = opening_of_stress(EDGE, 1.0, np.array([0.5]), np.array([1.0]))[0]
    assert opening == pytest.approx(4.0 * 305.0 / 1800.0 * EDGE_CRACK_MOUTH.value, rel=0.005)


def test_centre_crack_opening_is_the_handbooks() -> None:
    """published (from memory): a crack 2a in a wide plate is an ellipse, 4 s a / E' open at its middle."""
    at = np.array([300.0, 150.0, 60.0])
    openings = opening_of_stress(INNER, 1.0, at, np.full(3, 12.0))
    ellipse = 4.0 * 300.0 / 1800.0 * np.sqrt(1.0 - ((at - 300.0) / 300.0) ** 2)
    assert openings == pytest.approx(ellipse, rel=0.01)  # the mean over a key of 12 mm


def test_point_forces_all_along_the_crack_make_the_stress_they_amount_to() -> None:
    """independent: the point-force formulas, summed, against the formulas for an even stress."""
    for crack in (EDGE, INNER):
        at, width = strips(crack.length, 120)
        stiff = keyed_crack(crack, at, width, np.full(120, 1e-12))
        # Keys as stiff as that along the whole crack carry all of it and leave the tip nothing.
        carried = stiff.forces.sum() / (crack.length * crack.thickness)
        assert carried == pytest.approx(1.0, abs=0.03)
        assert stiff.intensity < 0.15 * stiff.intensity_without


def test_edge_factor_again_from_the_point_force() -> None:
    """independent: 2/sqrt(pi a) (1.3 - 0.3 u^1.25) / sqrt(1 - u^2) over the crack, by quadrature."""
    u = np.sin((np.arange(20_000) + 0.5) / 20_000 * math.pi / 2.0)  # takes the root at the tip out
    factor = 2.0 / math.pi * np.mean(1.3 - 0.3 * u**1.25) * math.pi / 2.0
    assert factor == pytest.approx(EDGE_CRACK_FACTOR.value, abs=0.001)


def test_isotropic_stiffness_is_youngs_modulus() -> None:
    """geometric: with G = E / 2 (1 + nu) the orthotropic form is isotropic and gives E."""
    assert orthotropic_stiffness(10_000.0, 10_000.0, 10_000.0 / 2.6, 0.3) == pytest.approx(10_000.0)


def test_orthotropic_stiffness_by_the_characteristic_roots() -> None:
    """independent: Lekhnitskii's roots of a11 m^4 + (2 a12 + a66) m^2 + a22 = 0."""
    a11, a22, a12, a66 = 1 / 13_000.0, 1 / 1_000.0, -0.4 / 13_000.0, 1 / 900.0
    m = np.roots([a11, 0.0, 2.0 * a12 + a66, 0.0, a22])
    upper = m[m.imag > 0.0]
    compliance = -a22 / 2.0 * ((upper[0] + upper[1]) / (upper[0] * upper[1])).imag
    assert orthotropic_stiffness(13_000.0, 1_000.0, 900.0) == pytest.approx(1.0 / compliance, rel=1e-6)


def test_no_keys_no_relief() -> None:
    bare = keyed_crack(EDGE, np.array([]), np.array([]), np.array([]))
    assert bare.intensity == bare.intensity_without == pytest.approx(float(intensity_of_stress(EDGE, 1.0)))


def test_a_key_off_the_crack_is_refused() -> None:
    with pytest.raises(KeyShapeError, match="lies off a crack 305 mm long"):
        keyed_crack(EDGE, np.array([310.0]), np.array([10.0]), np.array([1e-4]))


@settings(max_examples=60, deadline=None)
@given(st.floats(20.0, 150.0), st.floats(1e-6, 1e-2), st.booleans())
def test_keys_pull_relieve_and_leave_a_smaller_opening(first: float, flexibility: float,
                                                       from_edge: bool) -> None:
    crack = CrackedSlab(400.0, 44.0, 1800.0, from_edge)
    at, width = np.array([first, first + 120.0, first + 200.0]), np.full(3, 14.0)
    keyed = keyed_crack(crack, at, width, np.full(3, flexibility))
    free = opening_of_stress(crack, 1.0, at, width)
    assert np.all(keyed.forces > 0.0)
    assert keyed.intensity < keyed.intensity_without
    assert np.all(keyed.openings < free)
    softer = keyed_crack(crack, at, width, np.full(3, 3.0 * flexibility))
    assert softer.intensity > keyed.intensity


def test_an_inner_crack_is_the_same_from_either_end() -> None:
    at, width, soft = np.array([100.0, 250.0]), np.array([15.0, 12.0]), np.array([1e-4, 2e-4])
    one = keyed_crack(INNER, at, width, soft)
    other = keyed_crack(INNER, 600.0 - at, width, soft)
    assert one.forces == pytest.approx(other.forces) and one.intensity == pytest.approx(other.intensity)
