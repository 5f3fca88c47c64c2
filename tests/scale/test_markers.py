"""Finding and measuring markers."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from crackmap.errors import ScaleError
from crackmap.scale.markers import CELLS, DICTIONARY, detect, edge_pieces, find_markers, marker_cells
from crackmap.scale.target import rectangle_corners
from tests.scale.drawn import camera_above, photo_of_markers

SIZE = 60.0
PLACES = {3: (-250.0, 60.0, 0.3), 17: (240.0, -90.0, 2.0)}


def luma(photo: object) -> np.ndarray:
    return cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)  # type: ignore[attr-defined]


@pytest.fixture(scope="module")
def drawn():
    camera = camera_above(k1=-0.02)
    return camera, photo_of_markers(camera, PLACES, SIZE)


def test_corners_lie_where_they_were_drawn(drawn) -> None:
    camera, photo = drawn
    found = find_markers(luma(photo), SIZE, 0.0)
    assert [t.id for t in found] == [3, 17]
    for target in found:
        x, y, turn = PLACES[target.id]
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        corners = rectangle_corners(SIZE, SIZE) @ rotation.T + [x, y]
        true = camera.see(np.c_[corners, np.zeros(4)])
        assert np.abs(target.corners_px - true).max() < 0.08  # [px]; geometric; noise and the lens within the marker


def test_cells_are_the_dictionarys() -> None:
    """Independent: OpenCV draws the same marker at 10 px a cell."""
    drawn = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(DICTIONARY), 7, 10 * CELLS)
    assert (drawn[5::10, 5::10] > 127).tolist() == marker_cells(7)[1:-1, 1:-1].tolist()


@pytest.mark.parametrize("marker_id", [0, 7, 26, 49])
def test_edge_pieces_part_black_from_white(marker_id: int) -> None:
    starts, ends, normals = edge_pieces(marker_id)
    cells = marker_cells(marker_id)

    def is_white(points: np.ndarray) -> np.ndarray:
        col = np.floor(points[:, 0] + CELLS / 2).astype(int) + 1
        row = np.floor(CELLS / 2 - points[:, 1]).astype(int) + 1
        return cells[row, col]

    middles = (starts + ends) / 2
    assert is_white(middles + 0.3 * normals).all() and not is_white(middles - 0.3 * normals).any()
    assert np.allclose(np.hypot(*(ends - starts).T), 1)
    assert not (np.abs(np.concatenate([starts, ends])).max(axis=1) < 1e-9).any()  # none touches the centre cross


def test_mirrored_photo_is_named(drawn) -> None:
    with pytest.raises(ScaleError, match="mirrored"):
        find_markers(np.ascontiguousarray(luma(drawn[1])[:, ::-1]), SIZE, 0.0)


def test_same_id_twice_is_named(drawn) -> None:
    grey = luma(drawn[1])
    with pytest.raises(ScaleError, match="marker 3 is in view 2 times"):
        find_markers(np.hstack([grey, grey[:, :800]]), SIZE, 0.0)


def test_half_hidden_marker_is_not_guessed(drawn) -> None:
    camera, _ = drawn
    grey = luma(photo_of_markers(camera, {3: PLACES[3]}, SIZE)).copy()
    x, y = camera.see(np.array([[*PLACES[3][:2], 0.0]]))[0].astype(int)
    grey[y:, :] = 128
    assert find_markers(grey, SIZE, 0.0) == []


def test_nothing_in_wood_grain() -> None:
    rng = np.random.default_rng(4)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (900, 1200)), (0, 0), sigmaX=25, sigmaY=1.5)
    assert find_markers(np.clip(120 + 60 * grain / grain.std(), 0, 255).astype(np.uint8), SIZE, 0.0) == []


def test_targets_are_records(drawn) -> None:
    target = find_markers(luma(drawn[1]), SIZE, 0.0)[0]
    assert target.name == "marker 3"
    assert replace(target, kind="a4").name == "the A4 sheet"


@pytest.mark.parametrize("sides", [(220, 90), (100, 60), (70, 34), (34,)])
def test_large_photo_hides_no_small_marker(sides: tuple[int, ...]) -> None:
    """A look at a reduced copy first loses no marker of about one size (geometric: drawn where they are expected)."""
    photo = np.full((2400, 3600), 190, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    for number, side in enumerate(sides):
        drawn = cv2.aruco.generateImageMarker(dictionary, 3 + number, side)
        photo[300 : 300 + side, 400 + 900 * number : 400 + 900 * number + side] = drawn
    photo = cv2.GaussianBlur(photo, (0, 0), 0.7)
    found = {s.id: s.corners for s in detect(photo)}
    assert set(found) == {3 + number for number in range(len(sides))}
    for number, side in enumerate(sides):
        left = 400 + 900 * number
        square = np.array([[left, 300], [left + side, 300], [left + side, 300 + side], [left, 300 + side]]) - 0.5
        assert np.abs(found[3 + number] - square).max() < 2.5  # geometric; the edges are measured afterwards [px]
