"""Training pieces: their form, and the masks of traced boards."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np

from tests.benchmarks.crack_network.board_pieces import board_pictures, fitted_names
from tests.benchmarks.crack_network.patches import SIZE_PX, training_piece


def test_a_piece_is_a_picture_with_four_masks_and_as_seeded() -> None:
    piece = training_piece(1_000_003)
    assert piece.shape == (SIZE_PX, SIZE_PX, 7) and piece.dtype == np.uint8
    assert np.array_equal(piece, training_piece(1_000_003))


def _write_board(file: Path, row: int | None) -> None:
    picture = np.full((200, 300, 3), 190, np.uint8)
    picture[:, :40] = 5  # the conveyor
    if row is not None:
        picture[row - 2 : row + 3, 60:280] = 90
    cv2.imwrite(str(file), picture)


def test_half_of_the_boards_and_the_dark_core_beside_the_traced_line(tmp_path: Path) -> None:
    for kind in ("crack", "clean"):
        (tmp_path / kind).mkdir()
    for name in ("a", "b"):
        _write_board(tmp_path / "crack" / f"{name}.jpg", 100)
        cv2.imwrite(str(tmp_path / "crack" / f"{name}_ignore.png"), np.zeros((200, 300), np.uint8))
        _write_board(tmp_path / "clean" / f"{name}.jpg", None)
    lines = {name: [{"points": [[60, 103], [279, 103]]}] for name in ("a", "b")}  # traced 3 px beside the gap
    (tmp_path / "crack" / "centrelines.json").write_text(json.dumps(lines))
    assert [file.stem for file in fitted_names(list((tmp_path / "crack").glob("*.jpg")))] == ["a"]
    cracked, clean = board_pictures(tmp_path)
    crack = cracked[:, :, 3]
    assert (crack[100, 70:270] == 255).all()  # geometric: the gap's middle row
    assert not (crack[:90] == 255).any() and not (crack[112:] == 255).any()
    assert 0 < crack[112, 150] < 30  # near the line: left out of the fit
    assert not clean[:, :, 3].any()
