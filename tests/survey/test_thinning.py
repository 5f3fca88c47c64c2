"""Thinning: what it must keep is known by geometry and topology, and skimage is a second method."""

from __future__ import annotations

import cv2
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.morphology import skeletonize

from crackmap.survey.thinning import thinned


def blots(seed: int, sigma: float, share: float) -> np.ndarray:
    """Blots of any shape, 0 or 1."""
    rng = np.random.default_rng(seed)
    field = cv2.GaussianBlur(rng.normal(0, 1, (50, 70)).astype(np.float32), (0, 0), sigma)
    return (field > np.quantile(field, 1 - share)).astype(np.uint8)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.6, 4.0), st.floats(0.1, 0.7))
def test_pieces_and_holes_stay_as_many(seed: int, sigma: float, share: float) -> None:
    mask = blots(seed, sigma, share)
    thin = thinned(mask)
    assert not (thin > mask).any()
    assert np.array_equal(thinned(thin), thin)
    assert cv2.connectedComponents(thin)[0] == cv2.connectedComponents(mask)[0]
    holes = [cv2.connectedComponents(np.pad(1 - m, 1, constant_values=1), connectivity=4)[0] for m in (mask, thin)]
    assert holes[0] == holes[1]  # geometric: background apart by four-neighbours


def test_a_bar_becomes_its_middle_line() -> None:
    mask = np.zeros((30, 80), np.uint8)
    mask[10:17, 10:70] = 1
    rows, columns = np.nonzero(thinned(mask))
    assert set(rows) <= {12, 13, 14}  # geometric: middle row 13
    assert columns.max() - columns.min() >= 60 - 7 - 1  # geometric: half the breadth lost at either end
    assert len(rows) <= 62


def test_a_slanting_line_two_pixels_wide_keeps_its_length() -> None:
    mask = np.zeros((40, 40), np.uint8)
    for k in range(5, 35):
        mask[k, k : k + 2] = 1
    assert thinned(mask).sum() >= 30  # geometric: thirty steps along the diagonal


def test_lies_where_skimage_puts_it() -> None:
    """Independent: skimage's thinning by another rule; both run within 1.5 px of each other but for spurs."""
    canvas = np.zeros((120, 160), np.uint8)
    cv2.polylines(canvas, [np.array([[10, 60], [80, 62], [150, 20]], np.int32)], False, 1, 5)
    cv2.line(canvas, (80, 62), (140, 110), 1, 3)
    ours, theirs = thinned(canvas), skeletonize(canvas > 0)
    for one, other in ((ours > 0, theirs), (theirs, ours > 0)):
        away = cv2.distanceTransform((~other).astype(np.uint8), cv2.DIST_L2, 5)
        assert np.mean(away[one] <= 1.5) > 0.95


def test_nothing_stays_nothing() -> None:
    assert not thinned(np.zeros((9, 9), np.uint8)).any()
