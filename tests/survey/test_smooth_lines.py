"""Many lines smoothed at once, against one at a time by another routine."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.survey.profile import FloatArray, Path
from crackmap.survey.smooth_lines import smooth_lines


def summed(lines: list[FloatArray], sigma: float) -> list[Path]:
    """The same by an explicit sum over shifted points, lines continued point-mirrored past their ends."""
    counts = np.array([len(line) for line in lines])
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    points = np.concatenate(lines)
    last = np.repeat(starts + counts - 1, counts)
    first = np.repeat(starts, counts)
    here = np.arange(len(points))
    reach = int(np.ceil(3 * sigma))
    weights = np.exp(-(np.arange(-reach, reach + 1) ** 2) / (2 * sigma**2))
    total = np.zeros_like(points)
    for step, weight in zip(range(-reach, reach + 1), weights / weights.sum(), strict=True):
        at = here + step
        before, after = at < first, at > last
        mirrored = np.clip(np.where(before, 2 * first - at, np.where(after, 2 * last - at, at)), first, last)
        value = points[mirrored]
        value[before] = 2 * points[first[before]] - value[before]
        value[after] = 2 * points[last[after]] - value[after]
        total += weight * value
    chord = total[np.minimum(here + 2, last)] - total[np.maximum(here - 2, first)]
    length = np.maximum(np.hypot(*chord.T), 1e-9)[:, None]
    normals = np.stack([-chord[:, 1], chord[:, 0]], 1) / length
    return [Path(total[a : a + n], normals[a : a + n]) for a, n in zip(starts, counts, strict=True)]


@pytest.mark.parametrize("sigma", [2.0, 6.0])
def test_agrees_with_the_sum_over_shifted_points(sigma: float) -> None:
    rng = np.random.default_rng(0)
    lines = [np.cumsum(rng.normal(0.7, 0.3, (count, 2)), 0) for count in (2, 3, 12, 90)]
    for ours, theirs in zip(smooth_lines(lines, sigma), summed(lines, sigma), strict=True):
        assert ours.points == pytest.approx(theirs.points, abs=1e-9)  # independent: an explicit sum
        assert ours.normals == pytest.approx(theirs.normals, abs=1e-9)


def test_ends_stay_and_a_straight_line_stays_straight() -> None:
    line = np.stack([np.arange(40.0), np.full(40, 7.0)], 1)
    (path,) = smooth_lines([line], 3.0)
    assert path.points == pytest.approx(line, abs=1e-9)  # geometric
    assert np.abs(path.normals[:, 1]) == pytest.approx(np.ones(40))
