"""The setting-out sheet, read back by pdfplumber."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pdfplumber
import pytest

from crackmap.errors import SheetError
from crackmap.records import Check, Plan, Survey, Unheld, frozen_array
from crackmap.settings import CuttingSettings, SheetSettings
from crackmap.sheets import bench_tables as tables
from crackmap.sheets.bench_words import moisture_gate, setting_out_cautions, slab_mass, unheld_sentences
from crackmap.sheets.setting_out import setting_out_pdf
from crackmap.sheets.words import end_distances, figure_turn, over_all
from crackmap.shop import Shop, SlabWood, StockBoard
from tests.builders import a_cut_plan, a_plan, a_survey

POINT = 25.4 / 72.0  # [mm]; PDF 32000-1, 8.3.2.3: the default unit is 1/72 in (from memory)
CASES = [
    (0, "a4", "mm"),
    (1, "letter", "mm"),
    (1, "a4", "in"),
    (12, "a4", "mm"),
    (30, "letter", "in"),
    (30, "a4", "mm"),
]


def _records(keys: int, shop: Shop | None = None) -> tuple[Survey, Plan]:
    survey = a_survey(1800.0, 600.0, max(1, min(10, keys)))
    return survey, a_cut_plan(survey, keys, shop or Shop())


@pytest.fixture(scope="module")
def sheets() -> dict[tuple[int, str, str], Any]:
    opened = {}
    for keys, paper, units in CASES:
        content = setting_out_pdf(*_records(keys), Shop(), SheetSettings(paper=paper, units=units))
        opened[keys, paper, units] = pdfplumber.open(io.BytesIO(content))
    return opened


def _text(sheet: Any) -> str:
    return " ".join(" ".join(word["text"] for word in page.extract_words()) for page in sheet.pages)


@pytest.mark.parametrize("case", CASES)
def test_the_pages_are_the_papers(
    sheets: dict[tuple[int, str, str], Any], case: tuple[int, str, str]
) -> None:
    """Published: ISO 216 A4 297 x 210 mm; ANSI Y14.1 size A 11 x 8.5 in. Lying."""
    wanted = (297.0, 210.0) if case[1] == "a4" else (279.4, 215.9)
    assert 1 <= len(sheets[case].pages) <= 4
    for page in sheets[case].pages:
        assert (float(page.width) * POINT, float(page.height) * POINT) == pytest.approx(wanted, abs=0.01)


@pytest.mark.parametrize("case", CASES)
def test_no_text_overlaps_or_leaves_the_page(
    sheets: dict[tuple[int, str, str], Any], case: tuple[int, str, str]
) -> None:
    """A word's box is its font's; letters fill about the middle six tenths of its height."""
    for page in sheets[case].pages:
        boxes = []
        for word in page.extract_words(keep_blank_chars=False):
            spare = 0.2 * (word["bottom"] - word["top"])
            boxes.append(
                (
                    word["x0"] + 0.3,
                    word["top"] + spare,
                    word["x1"] - 0.3,
                    word["bottom"] - spare,
                    word["text"],
                )
            )
        for x0, y0, x1, y1, text in boxes:
            assert x0 > 20 and y0 > 20 and x1 < float(page.width) - 20 and y1 < float(page.height) - 20, text
        for (ax0, ay0, ax1, ay1, a), (bx0, by0, bx1, by1, b) in combinations(boxes, 2):
            assert ax1 <= bx0 or bx1 <= ax0 or ay1 <= by0 or by1 <= ay0, f"{a!r} over {b!r}"


@pytest.mark.parametrize("case", [c for c in CASES if c[0]])
def test_every_key_is_numbered_on_the_drawing_in_large_figures(
    sheets: dict[tuple[int, str, str], Any], case: tuple[int, str, str]
) -> None:
    words = sheets[case].pages[0].extract_words(extra_attrs=["size"])
    numbers = {word["text"]: word["size"] for word in words if word["upright"]}
    for number in range(1, case[0] + 1):
        assert numbers[f"K{number}"] >= 12.0
    assert {"A", "B"} <= numbers.keys()
    assert min(size for _, size in numbers.items()) >= 9.0


@pytest.mark.parametrize("case", [c for c in CASES if c[0]])
def test_the_table_holds_the_plans_figures(
    sheets: dict[tuple[int, str, str], Any], case: tuple[int, str, str]
) -> None:
    """Independent of the table's code: the figures are worked out from the records here."""
    survey, plan = _records(case[0])
    text = _text(sheets[case])
    inch = case[2] == "in"
    for key in plan.keys:
        for value in (*key.centre, key.shape.length, key.shape.depth):
            assert (f"{value / 25.4:.3f}" if inch else f"{value:.1f}") in text
        if not inch:
            assert (
                f"{np.hypot(*key.centre):.0f}" in text
                and f"{np.hypot(*(key.centre - survey.datum.b)):.0f}" in text
            )


def test_the_drawing_is_to_the_scale_it_states(sheets: dict[tuple[int, str, str], Any]) -> None:
    """Geometric: A and B stand as far apart on paper as the scale says."""
    page = sheets[12, "a4", "mm"].pages[0]
    words = [w["text"] for w in page.extract_words()]
    scale = float(words[words.index("Scale") + 3])  # the facts above say "Scale:"
    survey, _ = _records(12)
    rings = [c for c in page.curves if abs(c["width"] - 8.0) < 0.2 and abs(c["height"] - 8.0) < 0.2]
    assert len(rings) == 2
    apart = abs((rings[0]["x0"] + rings[0]["x1"]) / 2 - (rings[1]["x0"] + rings[1]["x1"]) / 2) * POINT * scale
    assert apart == pytest.approx(float(survey.datum.b[0]), abs=0.5)  # [mm], a tenth of a point on paper


def test_the_bytes_repeat() -> None:
    records = _records(12)
    assert setting_out_pdf(*records, Shop(), SheetSettings()) == setting_out_pdf(
        *records, Shop(), SheetSettings()
    )


def test_what_must_be_looked_at_is_said() -> None:
    shop = Shop(stock=(StockBoard(90.0, 90.0, 25.0),))
    survey, plan = _records(3, shop)
    key = replace(plan.keys[0], checks=(Check("floor", False, 3.0, 8.0, note="wood left"),))
    plan = replace(
        plan,
        keys=(key, *plan.keys[1:]),
        warnings=("the photo is blurred.",),
        unheld=(Unheld("C9", "a <void> is near & wide"),),
    )
    sheet = pdfplumber.open(io.BytesIO(setting_out_pdf(survey, plan, shop, SheetSettings())))
    text = _text(sheet)
    for said in (
        "floor, limit 8.0 mm: K1 (3.0 mm)",
        "The photo is blurred.",
        "C9 has no key: a <void> is near & wide",
        "No board for K1",
        "come before anything printed here",
    ):
        assert said in text


def test_a_long_list_of_cracks_without_keys_is_cut_short_but_names_all() -> None:
    _, plan = _records(1)
    plan = replace(plan, unheld=tuple(Unheld(f"C{n}", "too thin") for n in range(30)))
    lines = unheld_sentences(plan)
    assert len(lines) == 9 and all(f"C{n}" in " ".join(lines) for n in range(30))


def test_a_rough_scale_and_near_marks_are_said_on_page_one() -> None:
    """Geometric: marks 30 mm apart, 0.5 mm amiss, a key 1500 mm away: 25 mm."""
    survey, plan = _records(1)
    assert setting_out_cautions(survey, plan, "mm") == []
    near = replace(survey.datum, b=frozen_array([30.0, 0.0]))
    key = replace(plan.keys[0], centre=frozen_array([-900.0, 1200.0]))
    rough = replace(survey, datum=near, scale=replace(survey.scale, sigma_worst_mm=9.0))
    lines = setting_out_cautions(rough, replace(plan, keys=(key,)), "mm")
    assert len(lines) == 2 and "9.0 mm" in lines[0] and "25.0 mm" in lines[1]
    sheet = pdfplumber.open(io.BytesIO(setting_out_pdf(rough, plan, Shop(), SheetSettings())))
    assert "The scale is rough" in sheet.pages[0].extract_text()


def test_an_unknown_paper_is_refused() -> None:
    with pytest.raises(SheetError, match="letter"):
        setting_out_pdf(*_records(1), Shop(), SheetSettings(paper="leter"))


@pytest.mark.parametrize(
    ("moisture", "humidity", "passed"),
    [
        (None, 50.0, None),
        (14.0, None, None),
        (14.0, 50.0, False),
        (10.0, 50.0, True),
    ],
)
def test_the_moisture_gate(moisture: float | None, humidity: float | None, passed: bool | None) -> None:
    """Published: 9.2 % at 70 deg F and 50 % humidity, Wood Handbook, FPL-GTR-190, Table 4-2 (seen)."""
    gate = moisture_gate(Shop(wood=SlabWood("", moisture, humidity, 21.1)))
    assert gate.passed is passed
    assert ("WAIT" in gate.text) is (passed is False)
    if humidity:
        assert "9.2 %" in gate.text


def test_the_mass_of_a_known_slab() -> None:
    """Independent, by hand: 2400 x 800 x 50 mm is 0.096 m3; at 616 kg/m3 (walnut, SG 0.55 x 1.12) 59 kg.

    SG of black walnut: Wood Handbook, FPL-GTR-190 (2010), Table 5-3a.
    """
    survey = replace(a_survey(), voids=(), outline=frozen_array([[0, 0], [2400, 0], [2400, 800], [0, 800]]))
    plan = replace(a_plan(survey, 0), thickness_mm=50.0)
    least, most, _ = slab_mass(survey, plan, Shop(wood=SlabWood("black walnut")))
    assert least == most == pytest.approx(59.0, abs=0.6)
    least, most, _ = slab_mass(survey, plan, Shop())
    assert least < 59.0 < most


def test_distances_from_the_ends() -> None:
    """Geometric: in a 1000 x 300 rectangle, 200 from the left end and 800 from the right."""
    survey = replace(a_survey(), outline=frozen_array([[-100, -150], [900, -150], [900, 150], [-100, 150]]))
    assert end_distances(survey, frozen_array([100, 20])) == pytest.approx((200.0, 800.0))
    assert over_all(survey) == pytest.approx((1000.0, 300.0))
    assert figure_turn(survey) == pytest.approx(0.0)


def test_fractions_for_the_tape() -> None:
    assert tables.tape(25.4 * 1.75, "in") == "1-3/4" and tables.tape(44.4, "mm") == "44"  # geometric
    assert tables.figure(25.4, "in") == "1.000" and tables.tape_close(25.4 / 64, "in") == "1/64"


def test_as_many_spares_as_the_command_takes_fit_on_the_narrowest_page() -> None:
    """Fifty of each size once made a row of the table higher than the page."""
    survey = a_survey(1800.0, 600.0, 10)
    cut = a_cut_plan(survey, 30, Shop(), cutting=CuttingSettings(spare_keys=50))
    assert cut.stock is not None
    rows = tables.board_rows(cut.stock, SheetSettings(units="in"))
    told = ", ".join(row[5] for row in rows)
    on_boards = [key.name for board in cut.stock.boards for key in board.keys]
    assert len(on_boards) > 60
    assert all(told.count(f"{name}") >= 1 for name in set(on_boards))
    assert max(len(row[5].split(", ")) for row in rows) <= 16
    assert setting_out_pdf(survey, cut, Shop(), SheetSettings(paper="letter", units="in"))
