"""The benchmark's own arithmetic: a table that cannot be trusted is worse than none."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.benchmarks.crack_confidence import reliability
from tests.benchmarks.crack_judge.calibrate import rising_curve
from tests.benchmarks.crack_score import CrackScore
from tests.benchmarks.crack_tables import together, worsened

PLAIN = CrackScore(0.9, 0.8, 0.7, 2.0, 0.2, 0.0, 0.4, 50.0, 1000.0, 800.0, 200.0, 4, 1.0)


def test_what_falls_by_more_than_a_tenth_is_named_and_what_falls_by_less_is_not() -> None:
    worse = dataclasses.replace(PLAIN, precision=0.82, wide_recall=0.68, false_per_m2=60.0)  # -9 %, -15 %, +20 %
    assert worsened(worse, PLAIN) == ["wide R -15%", "false/m2 +20%"]


def test_better_figures_and_figures_that_nothing_was_asked_of_are_not_named() -> None:
    better = dataclasses.replace(PLAIN, precision=1.0, tip_median=0.5, hairline_recall=np.nan)
    assert worsened(better, PLAIN) == []


def test_shares_are_weighed_by_length_and_false_lines_by_area() -> None:
    other = dataclasses.replace(PLAIN, precision=0.5, found_mm=3000.0, false_per_m2=10.0, area_m2=3.0)
    both = together([PLAIN, other])
    assert both.precision == pytest.approx((0.9 * 1000 + 0.5 * 3000) / 4000)  # geometric
    assert both.false_per_m2 == pytest.approx((50 * 1 + 10 * 3) / 4)
    assert both.area_m2 == 4.0 and both.tips == 8


def test_a_photo_without_cracks_takes_no_share_in_recall() -> None:
    clean = dataclasses.replace(PLAIN, wide_recall=np.nan, hairline_recall=np.nan, wide_mm=0.0, hairline_mm=0.0)
    assert together([PLAIN, clean]).wide_recall == pytest.approx(PLAIN.wide_recall)


def test_reliability_counts_segments_in_their_band() -> None:
    said = np.array([0.9, 0.9, 0.9, 0.9, 0.02])
    (low, high) = reliability(said, np.array([1.0, 0.9, 0.6, 0.1, 0.0]))
    assert low.split()[:2] == ["0.02", "0.00"] and low.split()[-1] == "1"
    assert high.split()[:2] == ["0.90", "0.75"] and high.split()[-1] == "4"  # three of four are cracks for half or more


@given(st.floats(0.3, 3.0), st.floats(-2.0, 2.0), st.integers(0, 1000))
def test_the_curve_rises_and_finds_a_known_law(slope: float, shift: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    odds = rng.uniform(-3, 3, 6000)
    truth = 1 / (1 + np.exp(-(slope * odds + shift)))  # independent: the law that the cases were drawn from
    curve = rising_curve(odds, (rng.random(6000) < truth).astype(float))
    assert (np.diff(curve[0]) > 0).all() and (np.diff(curve[1]) >= 0).all()
    found = 1 / (1 + np.exp(-np.interp(odds, *curve)))
    assert np.abs(found - truth).mean() < 0.04
