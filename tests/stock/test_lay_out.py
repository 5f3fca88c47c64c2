"""Keys on boards."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from crackmap.errors import SettingsError
from crackmap.keys.outline import moved, to_polygon
from crackmap.records import StockLayout
from crackmap.settings import CuttingSettings
from crackmap.shop import KeyChoice, Shop, StockBoard
from crackmap.stock.lay_out import lay_out_keys
from tests.builders import a_key, a_plan, a_survey

USUAL = CuttingSettings()


def _outlines(layout: StockLayout) -> list[list[Polygon]]:
    return [[to_polygon(moved(k.shape.key, 0.0, k.centre), 0.01) for k in laid.keys] for laid in layout.boards]


BOARDS = st.lists(
    st.builds(
        StockBoard,
        st.floats(60, 900),
        st.floats(25, 200),
        st.sampled_from([18.0, 21.0, 27.0]),
        st.sampled_from(["", "walnut", "oak"]),
        st.booleans(),
        st.sampled_from([(), ((0.0, 0.0, 50.0, 40.0),), ((100.0, 20.0, 30.0, 200.0), (0.0, 0.0, 20.0, 300.0))]),
    ),
    max_size=5,
)


@settings(max_examples=30, deadline=None)
@given(BOARDS, st.integers(0, 12), st.integers(0, 1), st.floats(0.0, 8.0))
def test_keys_are_apart_inside_and_accounted_for(
    boards: list[StockBoard], keys: int, spares: int, gap: float
) -> None:
    """Independent: shapely distances. Every key is on one board or left over with a reason."""
    shop = Shop(stock=tuple(boards), keys=KeyChoice(key_wood="walnut"))
    options = CuttingSettings(spare_keys=spares, key_gap=gap)
    plan = a_plan(a_survey(), keys, shop)
    layout = lay_out_keys(plan.keys, shop, options)
    least = shop.bit.diameter + gap - 1e-3
    for laid, outlines in zip(layout.boards, _outlines(layout), strict=True):
        edge = options.board_edge
        free = box(edge, edge, laid.board.length - edge, laid.board.width - edge).buffer(1e-6)
        assert all(free.contains(outline) for outline in outlines)
        for i, first in enumerate(outlines):
            assert all(first.distance(second) >= least for second in outlines[:i])
            for x, y, length, width in laid.board.keep_free:
                assert first.distance(box(x, y, x + length, y + width)) >= least
        assert laid.board.wood in ("", "walnut")
        assert all(laid.board.thickness >= k.shape.thickness - 1e-9 for k in laid.keys)
    names = [k.name for laid in layout.boards for k in laid.keys] + [name for name, _ in layout.left_over]
    kinds = {k.size_name for k in plan.keys}
    assert sorted(names) == sorted([k.id for k in plan.keys] + [f"spare {kind}" for kind in kinds] * spares)


def test_rows_of_equal_keys_lie_head_to_waist() -> None:
    """Geometric: four rows of boxes are 4 x 40 + 3 x 9.35 = 188 mm, over 180; interlocked they go in."""
    keys = [a_key(n, "C1", (0.0, 0.0), 90.0) for n in range(1, 21)]  # 100 x 40 mm, waist 17
    shop = Shop(stock=(StockBoard(700.0, 200.0, 25.0),))
    layout = lay_out_keys(keys, shop, USUAL)
    assert not layout.left_over
    rows = {round(k.centre[1], 1) for k in layout.boards[0].keys}
    assert len(rows) >= 4


def test_an_order_is_laid_out_in_no_time_and_always_alike() -> None:
    plan = a_plan(a_survey(), 24)
    shop = Shop(stock=tuple(StockBoard(600.0, 130.0, 25.0) for _ in range(4)))
    start = time.process_time()
    first = lay_out_keys(plan.keys, shop, USUAL)
    assert time.process_time() - start < 5.0  # [s], a tenth is usual: only what runs away is caught
    again = lay_out_keys(plan.keys, shop, USUAL)
    assert [k.centre for b in first.boards for k in b.keys] == [k.centre for b in again.boards for k in b.keys]


def test_offcuts_come_first() -> None:
    shop = Shop(stock=(StockBoard(800, 120, 25), StockBoard(300, 80, 25, "", True)))
    layout = lay_out_keys(a_plan(a_survey(), 2, shop).keys, shop, USUAL)
    assert [laid.number for laid in layout.boards] == [2]


@pytest.mark.parametrize(
    ("board", "why"),
    [
        (StockBoard(800, 120, 15), "no board is 21.0 mm thick; the thickest is 15.0 mm"),
        (StockBoard(90, 120, 25), "every board is too small for 100.0 mm x 40.0 mm along the grain"),
        (StockBoard(800, 120, 25, "oak"), "no board of walnut"),
        (StockBoard(150, 80, 25, "", False, ((0.0, 0.0, 150.0, 40.0),)), "no room left"),
    ],
)
def test_a_key_that_fits_nowhere_is_named_with_a_reason(board: StockBoard, why: str) -> None:
    shop = Shop(stock=(board,), keys=KeyChoice(key_wood="walnut"))
    layout = lay_out_keys([a_key(1, "C1", (0.0, 0.0), 90.0)], shop, USUAL)
    ((name, reason),) = layout.left_over
    assert name == "K1" and why in reason


def test_without_stock_boards_are_proposed() -> None:
    layout = lay_out_keys(a_plan(a_survey(), 30).keys, Shop(), USUAL)
    assert not layout.left_over and {laid.number for laid in layout.boards} == {0}
    assert all(laid.board.thickness == pytest.approx(21.0) for laid in layout.boards)  # 20 deep, 1 proud


def test_a_thick_board_holds_keys_by_a_skin_and_a_thin_one_by_tabs() -> None:
    """Keys are 21 mm thick; a skin is 0.8 mm."""
    keys = [a_key(1, "C1", (0.0, 0.0), 90.0)]
    for thickness, hold, found in ((21.5, "auto", "tabs"), (22.0, "auto", "skin"), (40.0, "tabs", "tabs")):
        shop = Shop(stock=(StockBoard(300.0, 100.0, thickness),))
        layout = lay_out_keys(keys, shop, CuttingSettings(hold=hold))
        assert [laid.hold for laid in layout.boards] == [found]
    thin = lay_out_keys(keys, Shop(stock=(StockBoard(300.0, 100.0, 21.5),)), CuttingSettings(hold="skin"))
    assert "no board is 21.8 mm thick" in thin.left_over[0][1]


@pytest.mark.parametrize(
    ("options", "said"),
    [(CuttingSettings(hold="tab"), "tabs"), (CuttingSettings(key_gap=-1.0), "key gap is -1; give 0 or more")],
)
def test_choices_that_make_no_sense_are_refused(options: CuttingSettings, said: str) -> None:
    with pytest.raises(SettingsError, match=said):
        lay_out_keys([], Shop(), options)
