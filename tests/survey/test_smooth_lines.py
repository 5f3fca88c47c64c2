"""Many lines smoothed at once, against one at a time by another routine."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.survey.profile import smoothed_paths
from crackmap.survey.smooth_lines import smooth_lines


@pytest.mark.parametrize("sigma", [2.0, 6.0])
def test_agrees_with_the_sum_over_shifted_points(sigma: float) -> None:
    rng = np.random.default_rng(0)
    lines = [np.cumsum(rng.normal(0.7, 0.3, (count, 2)), 0) for count in (2, 3, 12, 90)]
    for ours, theirs in zip(smooth_lines(lines, sigma), smoothed_paths(lines, sigma), strict=True):
        assert ours.points == pytest.approx(theirs.points, abs=1e-9)  # independent: an explicit sum
        assert ours.normals == pytest.approx(theirs.normals, abs=1e-9)


def test_ends_stay_and_a_straight_line_stays_straight() -> None:
    line = np.stack([np.arange(40.0), np.full(40, 7.0)], 1)
    (path,) = smooth_lines([line], 3.0)
    assert path.points == pytest.approx(line, abs=1e-9)  # geometric
    assert np.abs(path.normals[:, 1]) == pytest.approx(np.ones(40))
