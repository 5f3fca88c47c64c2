"""Set-ups as drawings: read back by our own group-code reader."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import numpy as np
import pytest

from crackmap.keys.outline import bounding_box
from crackmap.records import Plan, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.dxf import VERSIONS, setup_dxf
from crackmap.sheets.setup_drawing import on_machine, setup_drawing
from crackmap.sheets.setup_pages import general_sentences, mark_rows, setup_sentences
from crackmap.shop import Bed, Shop
from crackmap.units import MM_PER_INCH
from tests.builders import a_cut_plan, a_survey
from tests.sheets.dxf_groups import chorded, read_groups

BED = Bed(700.0, 450.0, ("left", "right", "front", "back"), 0.0, ((0.0, 0.0, 60.0, 40.0),))
WITHIN = 0.01  # [mm]


@pytest.fixture(scope="module")
def records() -> tuple[Survey, Plan]:
    survey = a_survey(1800.0, 600.0, 8)
    plan = a_cut_plan(survey, 12, Shop(bed=BED))
    assert len(plan.setups) >= 2
    return survey, plan


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_setups_file_turned_back_is_the_slab(
    records: tuple[Survey, Plan], version: str, unit: str, tmp_path: Path
) -> None:
    """Geometric: the inverse of the set-up's matrix takes every pocket back to its place."""
    survey, plan = records
    options = SheetSettings(dxf_version=version, drawing_units=unit)
    mm = MM_PER_INCH if unit == "in" else 1.0
    boxes = {key.id: np.array(bounding_box(key.pocket)) for key in plan.keys}
    seen = 0
    for setup in plan.setups:
        content = setup_dxf(survey, plan, setup, BED, options)
        (tmp_path / "setup.dxf").write_bytes(content)
        assert not ezdxf.readfile(tmp_path / "setup.dxf").audit().errors
        back = np.linalg.inv(setup.matrix)
        for entity in (e for e in read_groups(content)[1] if e.layer.startswith("POCKET") and e.closed):
            points = np.array(chorded(entity.rows)) * mm
            assert (points >= -WITHIN).all() and (points <= np.array([BED.x, BED.y]) + WITHIN).all()
            returned = points @ back[:2, :2].T + back[:2, 2]
            box = np.r_[returned.min(axis=0), returned.max(axis=0)]
            name = min(setup.keys, key=lambda k: float(np.abs(boxes[k] - box).max()))
            assert box == pytest.approx(boxes[name], abs=WITHIN)
            seen += 1
    assert seen == len(plan.keys)


def test_marks_bed_and_clamps_are_drawn_and_named(records: tuple[Survey, Plan]) -> None:
    survey, plan = records
    for setup in plan.setups:
        drawing = setup_drawing(survey, plan, setup, BED, SheetSettings())
        assert {"BED_EDGE", "CLAMP", "DATUM", "SLAB_EDGE"} <= set(drawing.layers)
        _, entities = read_groups(setup_dxf(survey, plan, setup, BED, SheetSettings()))
        points = [(float(e.first(10)), float(e.first(20))) for e in entities if e.kind == "POINT"]
        wanted = [on_machine(mark, setup.matrix) for mark in (*setup.marks, *setup.to_drill)]
        assert np.array(sorted(points)) == pytest.approx(np.array(sorted(wanted)), abs=1e-4)
        texts = {e.first(1) for e in entities if e.kind == "TEXT"}
        assert {mark.name for mark in setup.marks} <= texts
        assert any(text.startswith(f"SET-UP {setup.number} OF {len(plan.setups)}. UNITS: MILLI") for text in texts)


def test_as_jogged_it_shows_no_bed_and_says_so(records: tuple[Survey, Plan]) -> None:
    survey, plan = records
    drawing = setup_drawing(survey, plan, plan.setups[0], None, SheetSettings(), np.eye(3))
    assert "BED_EDGE" not in drawing.layers
    content = setup_dxf(survey, plan, plan.setups[0], None, SheetSettings(), np.eye(3))
    assert any("AS JOGGED ON THE MACHINE" in e.first(1) for e in read_groups(content)[1] if e.kind == "TEXT")


def test_the_bytes_repeat(records: tuple[Survey, Plan]) -> None:
    survey, plan = records
    first, second = (setup_dxf(survey, plan, plan.setups[0], BED, SheetSettings()) for _ in range(2))
    assert first == second


def test_what_the_page_says_of_a_setup(records: tuple[Survey, Plan]) -> None:
    survey, plan = records
    for setup in plan.setups:
        rows = mark_rows(survey, setup, SheetSettings())
        assert [row[0] for row in rows] == [mark.name for mark in (*setup.marks, *setup.to_drill)]
        a, b = (np.array(mark.at) for mark in setup.marks[:2])
        lines = setup_sentences(survey, setup, SheetSettings())
        # Independent of the page's code: the distance worked out here.
        assert any(f"{np.hypot(*(a - b)):.1f} mm" in line for line in lines)
        assert all(key in lines[0] for key in setup.keys)
    assert "700 mm x 450 mm" in general_sentences(plan, BED, SheetSettings())[0]
