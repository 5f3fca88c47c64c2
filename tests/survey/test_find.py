"""Cracks on drawn pictures whose answers are known by construction."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from crackmap import find_cracks
from crackmap.errors import SurveyError
from crackmap.survey.profile import normals_of, resampled
from crackmap.survey.trace import trace

MM_PER_PX = 0.5


def board(height: int = 260, width: int = 420, seed: int = 0) -> np.ndarray:
    """Pale wood with faint grain along x, linear light, (H, W, 3)."""
    rng = np.random.default_rng(seed)
    rows = cv2.GaussianBlur(rng.standard_normal((height, 1)), (1, 15), sigmaX=0.01, sigmaY=2.0)
    grain = 1 + 0.05 * rows / rows.std() + 0.01 * rng.standard_normal((height, width))
    return grain[:, :, None] * np.array([0.55, 0.42, 0.27])


def with_gap(light: np.ndarray, points: np.ndarray, width: float) -> np.ndarray:
    """A black gap of known width about `points`, tapering over its last fifth, drawn eight times as large."""
    times = 8
    even = resampled(points, 1.0)
    left = np.linspace(1, 0, len(even))
    widths = width * np.minimum(1.0, 5 * left) * (1 + 0.25 * np.sin(np.arange(len(even)) / 5))
    normal = normals_of(even)
    outline = np.vstack([even + normal * widths[:, None] / 2, (even - normal * widths[:, None] / 2)[::-1]])
    large = np.zeros((light.shape[0] * times, light.shape[1] * times), np.uint8)
    cv2.fillPoly(large, [np.rint((outline + 0.5) * times - 0.5).astype(np.int32)], 255)
    cover = cv2.resize(large, None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA)[..., None] / 255
    return light * (1 - cover) + 0.004 * cover


def torn(points: np.ndarray, seed: int = 3) -> np.ndarray:
    """`points` with the small steps of torn fibre, a pixel or so."""
    even = resampled(points, 1.0)
    rng = np.random.default_rng(seed)
    for sigma in (2.0, 6.0):
        steps = cv2.GaussianBlur(rng.standard_normal((len(even), 1)), (1, 41), sigmaX=0.01, sigmaY=sigma)
        even[:, 1] += (steps / steps.std()).ravel() * 0.2 * sigma
    return even


def picture(light: np.ndarray, seed: int = 1) -> np.ndarray:
    """sRGB 8-bit after a lens blur of 0.8 px and a little noise."""
    seen = cv2.GaussianBlur(light, (0, 0), 0.8)
    coded = 1.055 * np.clip(seen, 1e-6, 1) ** (1 / 2.4) - 0.055
    return np.clip(coded * 255 + np.random.default_rng(seed).normal(0, 1.5, light.shape), 0, 255).astype(np.uint8)


WAVY = torn(np.stack([np.arange(60, 360.0, 2), 130 + 8 * np.sin(np.arange(60, 360.0, 2) / 40)], 1))


def far_from(points: np.ndarray, line: np.ndarray) -> np.ndarray:
    return np.array([np.hypot(*(line - p).T).min() for p in points])


@pytest.mark.parametrize("width", [2.0, 4.0, 9.0])
def test_a_drawn_crack_is_found_where_it_is(width: float):
    cracks = find_cracks(picture(with_gap(board(), WAVY, width)), MM_PER_PX)
    assert len(cracks) >= 1
    crack = cracks[0]
    assert crack.length == pytest.approx(300, rel=0.1)  # geometric: 300 px, a little more for waves, less for the tip
    assert np.median(far_from(crack.centreline, WAVY)) < 1.2
    assert crack.confidence > 0.7
    assert np.median(crack.width[60:-60]) == pytest.approx(
        width, abs=0.35 + 0.05 * width
    )  # [px] the measure's own error


def test_clean_wood_has_no_cracks():
    assert find_cracks(picture(board(400, 600)), MM_PER_PX) == []


def test_brown_lines_are_not_cracks():
    light = board()
    for row in (60, 140, 200):
        light[row - 2 : row + 3] *= np.array([0.8, 0.7, 0.6])
    assert find_cracks(picture(light), MM_PER_PX) == []


def test_branches_share_an_exact_point():
    twig = torn(np.array([[180.0, 126], [240, 150], [300, 180]]), 5)
    light = with_gap(with_gap(board(), WAVY, 5.0), twig, 3.0)
    cracks = find_cracks(picture(light), MM_PER_PX)
    ends = [tuple(end) for crack in cracks for end in (crack.centreline[0], crack.centreline[-1])]
    assert max(ends.count(end) for end in ends) == 3


def test_end_check_reaches_the_edge_of_the_mask_and_the_edge_is_no_crack():
    line = torn(np.stack([np.arange(0, 200.0, 2), np.full(100, 120.0)], 1))
    light = with_gap(board(), line, 4.0)
    light[:, :40] = 0.02  # dark bench
    wood = np.zeros(light.shape[:2], bool)
    wood[:, 41:] = True
    cracks = find_cracks(picture(light), MM_PER_PX, wood)
    assert len(cracks) == 1
    assert cracks[0].centreline[:, 0].min() < 45
    assert np.median(far_from(cracks[0].centreline, line)) < 1.2


def test_nothing_is_found_outside_the_mask():
    wood = np.zeros((260, 420), bool)
    wood[170:, :] = True
    assert find_cracks(picture(with_gap(board(), WAVY, 4.0)), MM_PER_PX, wood) == []


def test_a_lower_confidence_finds_no_less():
    light = with_gap(board(), WAVY, 1.0)
    lengths = [sum(c.length for c in find_cracks(picture(light), MM_PER_PX, None, least)) for least in (0.2, 0.5, 0.9)]
    assert lengths == sorted(lengths, reverse=True)


def test_an_empty_mask_and_a_black_picture_have_no_cracks():
    black = np.zeros((200, 300, 3), np.uint8)
    assert find_cracks(black, MM_PER_PX) == []
    assert find_cracks(picture(board()), MM_PER_PX, np.zeros((260, 420), bool)) == []


def test_the_picture_is_left_as_it_was():
    image = picture(with_gap(board(), WAVY, 4.0))
    image.setflags(write=False)
    assert find_cracks(image, MM_PER_PX)


@pytest.mark.parametrize(
    ("image", "mm_per_px", "wood", "least"),
    [
        (np.zeros((50, 50), np.uint8), 0.5, None, 0.5),
        (np.zeros((50, 50, 3), np.float32), 0.5, None, 0.5),
        (np.zeros((50, 50, 3), np.uint8), 0.0, None, 0.5),
        (np.zeros((50, 50, 3), np.uint8), 0.5, np.ones((40, 50), bool), 0.5),
        (np.zeros((50, 50, 3), np.uint8), 0.5, None, 1.5),
    ],
)
def test_wrong_input_is_one_clear_error(image, mm_per_px, wood, least):
    with pytest.raises(SurveyError):
        find_cracks(image, mm_per_px, wood, least)


def test_trace_follows_the_crack_between_two_clicks():
    image = picture(with_gap(board(), WAVY, 3.0))
    crack = trace(image, MM_PER_PX, [[62, 140], [352, 125]])
    assert np.median(far_from(crack.centreline, WAVY)) < 1.2
    assert np.median(crack.width) == pytest.approx(3.0, abs=0.5)
    assert crack.confidence == 1.0


def test_trace_needs_two_points_inside_the_picture():
    image = picture(board())
    with pytest.raises(SurveyError, match="two points"):
        trace(image, MM_PER_PX, [[5, 5]])
    with pytest.raises(SurveyError, match="outside"):
        trace(image, MM_PER_PX, [[5, 5], [1000, 5]])


def test_trace_over_several_clicks_and_a_long_hop_follows_the_crack():
    line = torn(np.stack([np.arange(40, 940.0, 2), 150 + 30 * np.sin(np.arange(40, 940.0, 2) / 150)], 1))
    image = picture(with_gap(board(300, 1000), line, 3.0))
    for clicks in (line[[5, 600]], line[[5, 300, 450, 600]]):
        crack = trace(image, MM_PER_PX, clicks)
        assert np.median(far_from(crack.centreline, line)) < 1.5
        # geometric: the path starts and ends where the clicks are, but for the snap
        assert far_from(crack.centreline[[0, -1]], clicks[[0, -1]]).max() < 12
