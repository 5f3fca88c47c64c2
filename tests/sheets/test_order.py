"""The order of outlines, and texts as strokes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from crackmap.errors import SheetError
from crackmap.settings import SheetSettings
from crackmap.sheets.drawing import Note, Outline, Path, closed, extent
from crackmap.sheets.order import made_ready, short_way
from crackmap.sheets.stroke_font import text_strokes, text_width

SQUARE = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])


def _square(layer: str, x: float, y: float, side: float) -> Outline:
    return closed(layer, SQUARE * side + [x, y])[0]


def _layers(order: str) -> list[str]:
    shapes = [_square("SLAB_EDGE", 0, 0, 100), _square("POCKET", 60, 10, 10), _square("VOID", 10, 10, 30),
              _square("POCKET_5MM", 15, 15, 5), _square("POCKET", 20, 60, 10)]
    return [shape.layer for shape in made_ready("t", shapes, SheetSettings(order=order)).shapes]


def test_inner_outlines_come_first_or_last() -> None:
    """Geometric: a square in a square in a square."""
    assert _layers("inner-first") == ["POCKET_5MM", "POCKET", "VOID", "POCKET", "SLAB_EDGE"]
    assert _layers("outer-first") == ["SLAB_EDGE", "POCKET", "VOID", "POCKET", "POCKET_5MM"]


def test_the_shortest_way_cuts_pockets_first_from_the_nearest_to_the_origin() -> None:
    assert _layers("shortest-way") == ["POCKET_5MM", "POCKET", "POCKET", "VOID", "SLAB_EDGE"]


@pytest.mark.parametrize("seed", range(5))
def test_a_short_way_is_nearly_the_shortest(seed: int) -> None:
    """Independent: all ways through seven points from the same first one."""
    points = np.random.default_rng(seed).uniform(0, 1000, (7, 2))

    def length(way: list[int]) -> float:
        return float(np.hypot(*np.diff(points[way], axis=0).T).sum())

    way = short_way(points)
    assert sorted(way) == list(range(7))
    best = min(length([way[0], *rest]) for rest in itertools.permutations(way[1:]))
    assert length(way) <= 1.1 * best


def test_an_unknown_order_is_refused() -> None:
    with pytest.raises(SheetError, match="inner-first"):
        made_ready("t", [], SheetSettings(order="inner-frist"))


def test_texts_become_lines_of_their_height_in_their_place() -> None:
    note = Note("NOTES", "K12 DEPTH 20.5 mm (0.807 in)", (100.0, 50.0), 6.0)
    drawing = made_ready("t", [note], SheetSettings(stroke_texts=True))
    assert drawing.shapes and all(isinstance(shape, Path) for shape in drawing.shapes)
    x0, y0, x1, y1 = extent(drawing.shapes)
    assert (x0, y0) == pytest.approx((100.0, 50.0)) and y1 == pytest.approx(56.0)
    assert x1 - x0 == pytest.approx(text_width(note.text, 6.0), abs=3.0)  # narrow letters at the ends
    middle = made_ready("t", [Note("NOTES", "HHH", (0.0, 0.0), 6.0, True)], SheetSettings(stroke_texts=True))
    x0, _, x1, _ = extent(middle.shapes)
    assert x0 == pytest.approx(-x1, abs=0.1)


def test_every_letter_stays_in_its_box_and_differs_from_the_others() -> None:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.,:;-+=/()'\"#%!?<>_*°&"
    drawn = {letter: tuple(map(lambda line: line.tobytes(), text_strokes(letter, 6.0))) for letter in letters}
    assert len(set(drawn.values())) == len(letters)
    for letter in letters:
        points = np.concatenate(text_strokes(letter, 6.0))
        assert (points >= 0).all() and (points <= [4.0, 6.0]).all()
    assert text_strokes("é", 6.0)[0].tolist() == text_strokes("E", 6.0)[0].tolist()
    assert len(text_strokes("木", 6.0)) == len(text_strokes("?", 6.0))
