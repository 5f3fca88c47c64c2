"""The 1:1 template, read back by pdfplumber."""

from __future__ import annotations

import io
from itertools import pairwise
from typing import Any

import networkx
import numpy as np
import pdfplumber
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.errors import SheetError
from crackmap.keys.outline import bounding_box, to_points
from crackmap.records import Plan, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.template import OVERLAP, Tiling, lay_tiles, template_pdf
from crackmap.sheets.words import turned
from tests.builders import a_key, a_plan, a_survey

MM = 72.0 / 25.4  # points in a millimetre; PDF 32000-1, 8.3.2.3: the default unit is 1/72 in (from memory)


def _read(survey: Survey, plan: Plan, paper: str = "a4") -> Any:
    return pdfplumber.open(io.BytesIO(template_pdf(survey, plan, SheetSettings(paper=paper))))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_bar_and_the_pockets_measure_true(paper: str) -> None:
    """Geometric: 100 mm in the file's own units, and a pocket's own bounding box."""
    survey = a_survey()
    plan = Plan((a_key(1, "C1", (0.0, -60.0), 90.0),), (), a_plan(survey, 0).resin, 45.0)
    pages = _read(survey, plan, paper).pages[1:]
    for page in pages:
        longest = max(
            line["x1"] - line["x0"]
            for line in page.lines
            if abs(line["y1"] - line["y0"]) < 0.01 and line["y0"] < 60.0
        )
        assert longest == pytest.approx((101.6 if paper == "letter" else 100.0) * MM, abs=0.01 * MM)
    box = bounding_box(plan.keys[0].pocket)
    whole = [
        (c["x1"] - c["x0"], c["y1"] - c["y0"]) for page in pages for c in page.curves if len(c["pts"]) > 100
    ]
    assert any(
        w / MM == pytest.approx(box[2] - box[0], abs=0.05)
        and h / MM == pytest.approx(box[3] - box[1], abs=0.05)
        for w, h in whole
    )


def _boxes(tiling: Tiling) -> list[Any]:
    width, height = tiling.window
    return [shapely.box(*t.low, t.low[0] + width, t.low[1] + height) for t in tiling.tiles]


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 14), st.floats(400, 2600), st.floats(250, 900), st.sampled_from(["a4", "letter"]))
def test_every_pocket_and_mark_is_on_paper_and_the_paper_hangs_together(
    keys: int, length: float, width: float, paper: str
) -> None:
    """Independent: shapely's union of the tiles, and networkx on tiles that share a whole side's crosses."""
    survey = a_survey(length, width, 6)
    plan = a_plan(survey, keys)
    tiling = lay_tiles(survey, plan, SheetSettings(paper=paper))
    paper_area = shapely.union_all(_boxes(tiling)).buffer(1e-6)
    for key in plan.keys:
        assert paper_area.contains(shapely.Polygon(turned(to_points(key.pocket, 0.1), tiling.turn)))
    for mark in (survey.datum.a, survey.datum.b):
        assert paper_area.contains(shapely.Point(*turned(mark, tiling.turn)[0]))
    places = {(t.column, t.row) for t in tiling.tiles}
    graph = networkx.grid_2d_graph(max(c for c, _ in places) + 1, max(r for _, r in places) + 1).subgraph(
        places
    )
    assert networkx.is_connected(graph)


def test_neighbours_show_the_same_crosses() -> None:
    """Geometric: a tile's step is its window less the overlap, so crosses half an overlap in coincide."""
    tiling = lay_tiles(a_survey(1500.0, 300.0), a_plan(a_survey(), 12), SheetSettings())
    row = sorted((t for t in tiling.tiles if t.row == tiling.tiles[0].row), key=lambda t: t.column)
    for left, right in pairwise(row):
        if right.column == left.column + 1:
            assert left.low[0] + tiling.window[0] - OVERLAP / 2 == pytest.approx(right.low[0] + OVERLAP / 2)


def test_names_are_unique_and_bytes_repeat() -> None:
    survey = a_survey()
    plan = a_plan(survey, 6)
    names = [t.name for t in lay_tiles(survey, plan, SheetSettings()).tiles]
    assert len(set(names)) == len(names)
    assert template_pdf(survey, plan, SheetSettings()) == template_pdf(survey, plan, SheetSettings())
    text = [page.extract_text() for page in _read(survey, plan).pages]
    assert all(name in text[0] for name in names) and np.all(
        [n in t for n, t in zip(names, text[1:], strict=True)]
    )


def test_an_unknown_paper_is_refused() -> None:
    survey = a_survey()
    with pytest.raises(SheetError, match="a4"):
        template_pdf(survey, a_plan(survey, 1), SheetSettings(paper="a44"))
