"""Made-up strips: what is drawn is where the truth says."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.survey.width_inputs import ACROSS
from tests.benchmarks.width_network.gap import Gap, Lighting, gap_cover, gap_light
from tests.benchmarks.width_network.noise import smooth_line, smooth_sheet
from tests.benchmarks.width_network.strips import COLUMNS, make_strip


def straight_gap(width: float, count: int = 12) -> Gap:
    half = np.full(count, width / 2)
    return Gap(0.3 - half, 0.3 + half, np.full(count, 30.0), 1.0, 0.0, (0.0, 0.0, 1.0, 1.0), 0.0)


@pytest.mark.parametrize("width", [0.3, 1.0, 4.7])
def test_the_cover_of_a_gap_adds_up_to_its_width(width: float) -> None:
    step = 0.25
    y = (np.arange(80) + 0.5) * step - 10
    cover = gap_cover(straight_gap(width), y, step)
    assert cover.sum(0) * step == pytest.approx(width)  # geometric


def test_a_deep_gap_is_dark_inside_and_darkest_below_its_middle() -> None:
    gap, y = straight_gap(6.0), (np.arange(80) + 0.5) * 0.25 - 10
    cover = gap_cover(gap, y, 0.25)
    lamp = Lighting(lamp=0.0, sharp=0.0, soft=0.2, sight=0.0)
    light = gap_light(np.random.default_rng(1), gap, y, cover, lamp, np.array([0.4, 0.3, 0.2]))
    inside = light[cover[:, 0] > 0.99].mean((1, 2))
    assert inside.max() < 0.3 and inside[len(inside) // 2] < 0.3 * inside[[0, -1]].mean()


def test_a_seed_makes_the_same_strip_again() -> None:
    one, other = (make_strip(np.random.default_rng(7)) for _ in range(2))
    assert (one.root == other.root).all() and (one.width == other.width).all()
    assert one.root.shape == (COLUMNS, len(ACROSS), 3)


def test_the_true_gap_is_darker_than_what_lies_beside_it() -> None:
    darker = []
    for seed in range(12):
        strip = make_strip(np.random.default_rng(seed))
        place = ACROSS * strip.reach[:, None]
        inside = np.abs(place - strip.middle[:, None]) < 0.4 * strip.width[:, None]
        outside = np.abs(place - strip.middle[:, None]) > strip.width[:, None] / 2 + 2
        grey = strip.root.mean(2)
        wide = strip.counts & (strip.width > 2)
        if wide.sum() > 20:
            darker.append(grey[wide][inside[wide]].mean() < grey[wide][outside[wide]].mean())
    assert len(darker) >= 3 and np.mean(darker) > 0.7


def test_noise_has_unit_spread() -> None:
    rng = np.random.default_rng(0)
    lines = np.array([smooth_line(rng, 200, 10) for _ in range(200)])
    sheets = np.array([smooth_sheet(rng, (60, 60), (6, 9)) for _ in range(40)])
    assert lines.std() == pytest.approx(1, abs=0.1) and sheets.std() == pytest.approx(1, abs=0.1)
    assert smooth_line(rng, 4096, 20).std() == pytest.approx(1, abs=0.25)
