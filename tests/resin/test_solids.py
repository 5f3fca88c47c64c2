"""Volumes against solids whose volume geometry knows."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.resin.solids import prismoid_volume, tapered_volume, tapered_volume_above


def test_prismoid_rule():
    # Geometric: box, pyramid, wedge, half ball.
    assert prismoid_volume(12.0, 12.0, 12.0, 5.0) == pytest.approx(60.0)
    assert prismoid_volume(9.0, 9.0 / 4, 0.0, 4.0) == pytest.approx(9.0 * 4 / 3)
    assert prismoid_volume(10.0, 5.0, 0.0, 6.0) == pytest.approx(30.0)
    r = 3.0
    assert prismoid_volume(np.pi * r**2, np.pi * (r**2 - (r / 2) ** 2), 0.0,
                           r) == pytest.approx(2 / 3 * np.pi * r**3)


@pytest.mark.parametrize("share", [0.5, 0.75, 0.9, 1.0, 1.05])
def test_tapered_volume_is_the_prismoid_rule(share: float):
    area, depth = np.array([7.0]), np.array([11.0])
    bottom = 2 * share - 1
    expected = prismoid_volume(7.0, 7.0 * (1 + bottom) / 2, 7.0 * bottom, 11.0)  # independent: prismoid rule
    assert tapered_volume(area, depth, share)[0] == pytest.approx(expected)


@pytest.mark.parametrize("cut", [0.0, 2.0, 8.0, 20.0])
def test_the_part_above_a_cut_by_slicing(cut: float):
    area, depth, share = np.array([7.0]), np.array([8.0]), 0.6
    z = np.linspace(0, min(cut, 8.0), 4001)
    slices = 7.0 * (1 - 2 * (1 - share) * z / 8.0)
    expected = np.trapezoid(slices, z)  # independent: numerical integral of the straight taper
    assert tapered_volume_above(area, depth, share, cut)[0] == pytest.approx(expected, rel=1e-6)
