"""The bench sheet with set-ups, read back by pdfplumber; the files of a job with a small bed."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import numpy as np
import pdfplumber
import pytest

from crackmap.keys.outline import bounding_box
from crackmap.pipeline import draw_for_machine
from crackmap.records import Plan, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.bench_tables import hold_sentences
from crackmap.sheets.bench_words import order_of_work, time_sentences
from crackmap.sheets.setting_out import setting_out_pdf
from crackmap.sheets.words import slab_corners
from crackmap.shop import Bed, KeyChoice, Shop, StockBoard
from tests.builders import a_cut_plan, a_survey
from tests.sheets.dxf_groups import chorded, read_groups

SHOP = Shop(bed=Bed(700.0, 450.0, ("left", "right", "front", "back"), 0.0, ((0.0, 0.0, 60.0, 40.0),)),
            stock=(StockBoard(600, 120, 25), StockBoard(500, 140, 21)))
CASES = [(1, "letter", "mm"), (30, "letter", "in"), (30, "a4", "mm")]


def _records(keys: int) -> tuple[Survey, Plan]:
    survey = a_survey(1800.0, 600.0, 10)
    return survey, a_cut_plan(survey, keys, SHOP)


@pytest.mark.parametrize("case", CASES)
def test_no_text_overlaps_on_the_setups_pages(case: tuple[int, str, str]) -> None:
    """A word's box is its font's; letters fill about the middle six tenths of its height."""
    survey, plan = _records(case[0])
    content = setting_out_pdf(survey, plan, SHOP, SheetSettings(paper=case[1], units=case[2]))
    sheet = pdfplumber.open(io.BytesIO(content))
    text = " ".join(" ".join(w["text"] for w in page.extract_words()) for page in sheet.pages)
    for setup in plan.setups:
        assert f"Set-up {setup.number}" in text
    assert "Machine time" in text and ("mm/min" in text) is (case[2] == "mm")
    for page in sheet.pages:
        words = page.extract_words()
        low = np.array([(word["x0"] + 0.3, word["top"] + _spare(word)) for word in words])
        high = np.array([(word["x1"] - 0.3, word["bottom"] - _spare(word)) for word in words])
        over = ((low[:, None] < high[None]) & (low[None] < high[:, None])).all(axis=2)
        pairs = np.argwhere(np.triu(over, 1))
        assert not len(pairs), [(words[a]["text"], words[b]["text"]) for a, b in pairs]


def _spare(word: dict[str, Any]) -> float:
    return float(0.2 * (word["bottom"] - word["top"]))


def test_the_files_of_a_job_with_a_small_bed() -> None:
    """Geometric: the underside's pockets are the show face's with y turned to -y."""
    survey, plan = _records(12)
    settings = SheetSettings(with_underside=True, stroke_texts=True, dxf_version="R12", drawing_units="in")
    files = draw_for_machine(survey, plan, SHOP, settings)
    assert files == draw_for_machine(survey, plan, SHOP, settings)  # the bytes repeat
    names = {f"setup-{setup.number}{end}" for setup in plan.setups for end in ("-in.dxf", ".svg")}
    assert names | {"slab-underside-in.dxf", "slab-underside.svg"} <= set(files)
    _, entities = read_groups(files["slab-underside-in.dxf"])
    assert not any(entity.kind == "TEXT" for entity in entities)  # all texts are lines
    boxes = [bounding_box(key.pocket) for key in plan.keys]
    wanted = sorted((x0, -y1, x1, -y0) for x0, y0, x1, y1 in boxes)
    pockets = [np.array(chorded(e.rows)) * 25.4 for e in entities if e.layer == "POCKET" and e.closed]
    found = sorted((*points.min(axis=0), *points.max(axis=0)) for points in pockets)
    assert np.array(found) == pytest.approx(np.array(wanted), abs=0.01)


def test_the_corners_of_a_slab_are_those_of_its_drawing() -> None:
    """Geometric: a rectangle's own corners, its x axis along its length."""
    survey = a_survey()
    named = dict(slab_corners(survey))
    low, high = survey.outline.min(axis=0), survey.outline.max(axis=0)
    assert named["lower left"][0] == pytest.approx(low[0], abs=5.0) and named["upper right"][1] > 0.8 * high[1]


def test_what_holds_the_keys_is_said_for_each_board() -> None:
    _, plan = _records(12)
    assert plan.stock is not None
    lines = " ".join(hold_sentences(plan.stock, SheetSettings()))
    assert "cut 21.0 mm deep; the 4.0 mm left under the keys hold them" in lines and "leave a tab" in lines


def test_square_corners_are_to_be_chiselled() -> None:
    shop = Shop(keys=KeyChoice(shape="straight", corners="chisel"))
    _, plan = _records(2)
    assert not any("chisel" in line for line in order_of_work(plan))
    keys = tuple(replace(k, shape=replace(k.shape, corners=shop.keys.corners)) for k in plan.keys)
    assert any("Square the inside corners of every pocket with a chisel" in line
               for line in order_of_work(replace(plan, keys=keys)))


def test_machine_time_is_a_range_in_words() -> None:
    _, plan = _records(4)
    lines = time_sentences(plan, "in")
    assert lines[0].startswith("4 pockets: about ") and "between" in lines[0] and "in/min" in lines[2]
