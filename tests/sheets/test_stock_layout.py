"""Keys on boards."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from crackmap.keys.outline import moved, to_polygon
from crackmap.settings import SheetSettings
from crackmap.sheets.stock_layout import StockLayout, lay_out_keys
from crackmap.shop import KeyChoice, Shop, StockBoard
from tests.builders import a_plan, a_survey


def _outlines(layout: StockLayout) -> list[list[Polygon]]:
    return [
        [to_polygon(moved(k.shape.key, 0.0, k.centre), 0.01) for k in laid.keys] for laid in layout.boards
    ]


BOARDS = st.lists(
    st.builds(
        StockBoard,
        st.floats(60, 900),
        st.floats(25, 200),
        st.sampled_from([18.0, 21.0, 27.0]),
        st.sampled_from(["", "walnut", "oak"]),
        st.booleans(),
    ),
    max_size=5,
)


@settings(max_examples=30, deadline=None)
@given(BOARDS, st.integers(0, 12), st.integers(0, 1))
def test_keys_are_apart_inside_and_accounted_for(boards: list[StockBoard], keys: int, spares: int) -> None:
    """Independent: shapely distances. Every key is on one board or left over with a reason."""
    shop = Shop(stock=tuple(boards), keys=KeyChoice(key_wood="walnut"))
    options = SheetSettings(spare_keys=spares)
    plan = a_plan(a_survey(), keys, shop)
    layout = lay_out_keys(plan, shop, options)
    for laid, outlines in zip(layout.boards, _outlines(layout), strict=True):
        edge = options.board_edge
        free = box(edge, edge, laid.board.length - edge, laid.board.width - edge).buffer(1e-6)
        assert all(free.contains(outline) for outline in outlines)
        for i, first in enumerate(outlines):
            for second in outlines[:i]:
                assert first.distance(second) >= shop.bit.diameter + options.key_gap - 1e-3
        assert laid.board.wood in ("", "walnut")
        assert all(laid.board.thickness >= k.shape.thickness - 1e-9 for k in laid.keys)
    names = [k.name for laid in layout.boards for k in laid.keys] + [name for name, _ in layout.left_over]
    kinds = {k.size_name for k in plan.keys}
    assert sorted(names) == sorted([k.id for k in plan.keys] + [f"spare {kind}" for kind in kinds] * spares)


def test_offcuts_come_first() -> None:
    shop = Shop(stock=(StockBoard(800, 120, 25), StockBoard(300, 80, 25, "", True)))
    layout = lay_out_keys(a_plan(a_survey(), 2, shop), shop, SheetSettings())
    assert [laid.number for laid in layout.boards] == [2]


@pytest.mark.parametrize(
    ("board", "why"),
    [
        (StockBoard(800, 120, 15), "thick"),
        (StockBoard(90, 120, 25), "room"),
        (StockBoard(800, 120, 25, "oak"), "walnut"),
    ],
)
def test_a_key_that_fits_nowhere_is_named_with_a_reason(board: StockBoard, why: str) -> None:
    shop = Shop(stock=(board,), keys=KeyChoice(key_wood="walnut"))
    layout = lay_out_keys(a_plan(a_survey(), 1, shop), shop, SheetSettings())
    ((name, reason),) = layout.left_over
    assert name == "K1" and why in reason


def test_without_stock_boards_are_proposed() -> None:
    plan = a_plan(a_survey(), 30)
    layout = lay_out_keys(plan, Shop(), SheetSettings())
    assert not layout.left_over and {laid.number for laid in layout.boards} == {0}
    assert all(laid.board.thickness == pytest.approx(21.0) for laid in layout.boards)  # 20 deep, 1 proud
