"""Skeletons small enough to read; answers known by geometry."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import skan
from skimage.morphology import skeletonize

from crackmap.survey.graph import Branch, branches_of, degrees, merge_through, path_length, prune_spurs, thin
from crackmap.survey.thinning import thinned


def raster(text: str) -> np.ndarray:
    return np.array([[c == "#" for c in row] for row in text.split()], np.uint8)


def test_straight_line_is_one_branch_of_its_length():
    branches = branches_of(raster("........ .######. ........"))
    assert len(branches) == 1
    assert branches[0].length == pytest.approx(5.0)  # geometric: six pixels in a row


def test_diagonal_length():
    branches = branches_of(np.eye(5, dtype=np.uint8))
    assert branches[0].length == pytest.approx(4 * np.sqrt(2))  # geometric


def test_y_has_three_branches_that_share_one_point():
    branches = branches_of(
        raster("#.......# .#.....#. ..#...#.. ...#.#... ....#.... ....#.... ....#.... ....#.... ....#....")
    )
    assert len(branches) == 3
    ends = [tuple(p) for b in branches for p in (b.points[0], b.points[-1])]
    shared = max(set(ends), key=ends.count)
    assert ends.count(shared) == 3
    assert max(degrees(branches).values()) == 3


def test_ring_is_kept():
    ring = np.zeros((12, 12), np.uint8)
    ring[2, 3:9] = ring[9, 3:9] = 1
    ring[3:9, 2] = ring[3:9, 9] = 1
    branches = branches_of(ring)
    assert len(branches) == 1
    assert branches[0].length > 20


def test_spur_goes_and_the_line_is_whole():
    line = np.zeros((12, 40), np.uint8)
    line[6, 2:38] = 1
    line[3:6, 20] = 1
    branches = branches_of(line)
    assert len(branches) == 3
    pruned = prune_spurs(branches, {node: 6.0 for node in degrees(branches)})
    assert len(pruned) == 1
    assert pruned[0].length == pytest.approx(
        35, abs=1.5
    )  # geometric; the junction's centre bends it a little


def test_merge_through_turns_branches_as_needed():
    first = Branch(np.array([[0.0, 0], [5, 0]]), 1, 2)
    second = Branch(np.array([[9.0, 0], [5, 0]]), 3, 2)
    merged = merge_through([first, second])
    assert len(merged) == 1
    assert path_length(merged[0].points) == pytest.approx(9.0)


def test_thin_takes_each_component_to_its_own_line():
    mask = np.zeros((40, 60), np.uint8)
    mask[5:11, 5:50] = 1
    mask[20:35, 30:33] = 1
    thin_lines = thin(mask, mask * np.uint8(100), 50, 5)
    assert np.array_equal(thin_lines, thinned(mask))
    assert cv2.connectedComponents(thin_lines)[0] == 3  # geometric: the ground and two lines


def test_a_ring_and_a_pixel_alone():
    raster_of_both = raster(".###.. .#.#.. .###.. ...... .....#".replace(".###..", "..#...", 1))
    branches = branches_of(raster_of_both)
    assert all(len(branch.points) > 1 for branch in branches)  # geometric: one pixel makes no line


def test_thin_leaves_out_what_is_weak_or_small():
    mask = np.zeros((40, 60), np.uint8)
    mask[5:8, 5:50] = 1
    mask[20, 5:8] = 1
    strength = mask * np.uint8(20)
    strength[20] *= 4
    assert thin(mask, strength, 50, 5).sum() == 0


def test_lengths_agree_with_skan() -> None:
    """Independent: skan's graph of the same skeleton, made by skimage."""
    canvas = np.zeros((120, 160), np.uint8)
    cv2.polylines(canvas, [np.array([[10, 60], [80, 62], [150, 20]], np.int32)], False, 1, 3)
    cv2.line(canvas, (80, 62), (140, 110), 1, 3)
    skeleton = skeletonize(canvas > 0)
    theirs = float(skan.Skeleton(skeleton).path_lengths().sum())
    ours = sum(branch.length for branch in branches_of(skeleton.astype(np.uint8)))
    assert ours == pytest.approx(theirs, abs=4.0)  # [px], the three paths meet within two pixels of each other
