"""DXF files, read back by ezdxf, by GDAL and by a reader of our own without a library."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.errors import SheetError
from crackmap.keys.outline import bounding_box, outline_area
from crackmap.records import Plan, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.drawing import Drawing, Outline, closed, open_path, transformed
from crackmap.sheets.dxf import VERSIONS, as_dxf, drawing_file, keys_dxf, pocket_dxf, slab_dxf
from crackmap.sheets.slab_drawing import slab_drawing
from crackmap.shop import Shop
from crackmap.units import MM_PER_INCH
from tests.builders import a_cut_plan, a_plan, a_survey
from tests.sheets.dxf_groups import Entity, chorded, read_groups

WITHIN = (
    0.01  # [mm]; what the drawing must keep, a fifth of a router's repeatability (common practice, no source)
)
FORMS = [(version, unit) for version in VERSIONS for unit in ("mm", "in")]


@pytest.fixture(scope="module")
def records() -> tuple[Survey, Plan]:
    survey = a_survey()
    return survey, a_cut_plan(survey, 12)


def _files(records: tuple[Survey, Plan], options: SheetSettings) -> dict[str, bytes]:
    survey, plan = records
    return {"slab": slab_dxf(survey, plan, options), "keys": keys_dxf(plan, Shop(), options)}


def _polylines(entities: list[Entity]) -> list[Entity]:
    return [e for e in entities if e.kind in ("LWPOLYLINE", "POLYLINE")]


@pytest.mark.parametrize(("version", "unit"), FORMS)
def test_the_audit_is_clean(records: tuple[Survey, Plan], version: str, unit: str, tmp_path: Path) -> None:
    for name, content in _files(records, SheetSettings(dxf_version=version, drawing_units=unit)).items():
        (tmp_path / name).write_bytes(content)
        audit = ezdxf.readfile(tmp_path / name).audit()
        assert not audit.errors and not audit.fixes


@pytest.mark.parametrize(("version", "unit"), FORMS)
def test_every_outline_is_where_it_was_drawn_for_three_readers(
    records: tuple[Survey, Plan], version: str, unit: str, tmp_path: Path
) -> None:
    """Independent: our group-code reader and GDAL. Number, closedness and bounding boxes."""
    options = SheetSettings(dxf_version=version, drawing_units=unit)
    mm = MM_PER_INCH if unit == "in" else 1.0
    drawn = [s for s in slab_drawing(*records, options).shapes if isinstance(s, Outline)]
    path = tmp_path / "slab.dxf"
    path.write_bytes(slab_dxf(*records, options))

    own = [e for e in _polylines(read_groups(path.read_bytes())[1]) if e.closed]
    assert [e.layer for e in own] == [s.layer for s in drawn]
    for entity, shape in zip(own, drawn, strict=True):
        points = np.array(chorded(entity.rows)) * mm
        box = (*points.min(axis=0), *points.max(axis=0))
        assert box == pytest.approx(bounding_box(shape.rows), abs=WITHIN)

    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.5"})
    _, _, geometries, fields = pyogrio.raw.read(path, columns=["Layer"])
    shapes = shapely.from_wkb(geometries)
    rings = [g for g in shapes if g.geom_type == "LineString" and g.is_ring and len(g.coords) > 3]
    circles = sum(e.kind == "CIRCLE" for e in read_groups(path.read_bytes())[1])
    assert len(rings) == len(drawn) + circles
    for shape in drawn:
        nearest = min(rings, key=lambda r: np.abs(np.array(r.bounds) * mm - bounding_box(shape.rows)).max())
        assert np.array(nearest.bounds) * mm == pytest.approx(bounding_box(shape.rows), abs=WITHIN)


@pytest.mark.parametrize("version", VERSIONS)
def test_header_and_numbers_agree_on_the_unit(records: tuple[Survey, Plan], version: str) -> None:
    """Published: DXF reference, $INSUNITS 1 inch, 4 millimetre; $MEASUREMENT 0 inch, 1 metric (memory)."""
    for unit, code, metric in (("mm", "4", "1"), ("in", "1", "0")):
        header, entities = read_groups(
            slab_dxf(*records, SheetSettings(dxf_version=version, drawing_units=unit))
        )
        if version == "R12":
            assert "$INSUNITS" not in header
        else:
            assert header["$INSUNITS"].strip() == code and header["$MEASUREMENT"].strip() == metric
        bar = max(
            (float(e.first(11)) - float(e.first(10)) for e in entities if e.layer == "CHECK_BAR"), key=abs
        )
        # geometric: the bar is drawn 100 mm long
        assert bar == pytest.approx(100.0 if unit == "mm" else 100.0 / 25.4, abs=1e-4)
        texts = " ".join(e.first(1) for e in entities if e.kind == "TEXT")
        assert ("UNITS: MILLIMETRES" if unit == "mm" else "UNITS: INCHES") in texts


@pytest.mark.parametrize(("version", "unit"), FORMS)
def test_the_same_records_give_the_same_bytes(records: tuple[Survey, Plan], version: str, unit: str) -> None:
    options = SheetSettings(dxf_version=version, drawing_units=unit)
    assert _files(records, options) == _files(records, options)


@pytest.mark.parametrize(("version", "unit"), FORMS)
def test_nothing_that_programs_stumble_over(records: tuple[Survey, Plan], version: str, unit: str) -> None:
    for content in _files(records, SheetSettings(dxf_version=version, drawing_units=unit)).values():
        _, entities = read_groups(content)
        kinds = {"LINE", "LWPOLYLINE", "POINT", "CIRCLE", "TEXT"}
        assert {e.kind for e in entities} <= kinds | {"POLYLINE"} - (
            {"LWPOLYLINE"} if version == "R12" else set()
        )
        cut = [e for e in entities if e.layer.startswith(("POCKET", "KEY"))]
        assert cut and all(e.closed for e in cut)
        seen = set()
        for entity in _polylines(entities):
            rows = entity.rows
            steps = [np.hypot(b[0] - a[0], b[1] - a[1]) for a, b in zip(rows, rows[1:], strict=False)]
            last = [np.hypot(rows[0][0] - rows[-1][0], rows[0][1] - rows[-1][1])] if entity.closed else []
            assert min(steps + last) > 0.0
            key = (entity.layer, tuple(sorted(rows)))
            assert key not in seen
            seen.add(key)


def test_each_pocket_has_its_depth_in_words(records: tuple[Survey, Plan]) -> None:
    survey, plan = records
    _, entities = read_groups(slab_dxf(survey, plan, SheetSettings()))
    texts = [e.first(1) for e in entities if e.kind == "TEXT" and e.layer == "NOTES"]
    for key in plan.keys:
        assert f"{key.id} DEPTH {key.shape.depth:.1f} mm" in texts


def test_two_depths_are_two_layers() -> None:
    survey = a_survey()
    plan = a_plan(survey, 4, depths=(20.0, 15.5))
    _, entities = read_groups(slab_dxf(survey, plan, SheetSettings()))
    layers = [e.layer for e in entities if e.layer.startswith("POCKET")]
    assert sorted(layers) == ["POCKET_15_5MM"] * 2 + ["POCKET_20MM"] * 2


def test_marks_are_points_at_the_datum(records: tuple[Survey, Plan]) -> None:
    survey, plan = records
    _, entities = read_groups(slab_dxf(survey, plan, SheetSettings()))
    points = [(float(e.first(10)), float(e.first(20))) for e in entities if e.kind == "POINT"]
    assert points == [(0.0, 0.0), (float(survey.datum.b[0]), 0.0)]


def test_reference_layers_can_be_left_out(records: tuple[Survey, Plan]) -> None:
    _, entities = read_groups(slab_dxf(*records, SheetSettings(with_reference=False)))
    assert {e.layer for e in entities} == {"POCKET", "DATUM", "CHECK_BAR", "NOTES"}


def test_a_slab_without_keys_is_drawn(tmp_path: Path) -> None:
    survey = a_survey(cracks=0)
    plan = a_plan(survey, 0)
    for name, content in _files((survey, plan), SheetSettings()).items():
        (tmp_path / name).write_bytes(content)
        assert not ezdxf.readfile(tmp_path / name).audit().errors


@pytest.mark.parametrize(
    ("field", "value", "near"), [("dxf_version", "R-12", "R12"), ("drawing_units", "mn", "mm")]
)
def test_an_unknown_form_is_refused(records: tuple[Survey, Plan], field: str, value: str, near: str) -> None:
    with pytest.raises(SheetError, match=near):
        slab_dxf(*records, SheetSettings().with_changes(**{field: value}))


@settings(max_examples=60, deadline=None)
@given(st.floats(-180, 180), st.floats(-3000, 3000), st.floats(-3000, 3000), st.booleans())
def test_a_moved_drawing_put_back_is_the_drawing(angle: float, x: float, y: float, flip: bool) -> None:
    """Geometric: a rigid map and its inverse; areas keep their sign, so outlines stay anticlockwise."""
    plan = a_plan(a_survey(), 3)
    drawing = Drawing("pockets", tuple(o for k in plan.keys for o in closed("POCKET", k.pocket)))
    a = np.radians(angle)
    matrix = np.array([[np.cos(a), -np.sin(a), x], [np.sin(a), np.cos(a), y], [0, 0, 1]])
    matrix = matrix @ np.diag([1.0, -1.0, 1.0]) if flip else matrix
    there = transformed(drawing, matrix)
    back = transformed(there, np.linalg.inv(matrix))
    for first, moved, last in zip(drawing.shapes, there.shapes, back.shapes, strict=True):
        assert isinstance(first, Outline) and isinstance(moved, Outline) and isinstance(last, Outline)
        assert outline_area(moved.rows) == pytest.approx(outline_area(first.rows), rel=1e-9)
        assert bounding_box(last.rows) == pytest.approx(bounding_box(first.rows), abs=WITHIN)


def test_a_turned_or_mirrored_drawing_says_so_and_its_texts_stay_apart(records: tuple[Survey, Plan]) -> None:
    survey, plan = records
    quarter = np.array([[0.0, -1.0, 500.0], [1.0, 0.0, 40.0], [0.0, 0.0, 1.0]])
    for matrix, said in ((quarter, "SHOW FACE"), (quarter @ np.diag([1.0, -1.0, 1.0]), "UNDERSIDE")):
        _, entities = read_groups(slab_dxf(survey, plan, SheetSettings(), matrix))
        texts = {e.first(1): (float(e.first(10)), float(e.first(20))) for e in entities if e.kind == "TEXT"}
        assert any("MARK A IS AT 500.00, 40.00" in text for text in texts)  # geometric: A is the origin
        assert any(text.startswith(said) for text in texts) and not any("ORIGIN" in text for text in texts)
        heights = sorted(y for text, (_, y) in texts.items() if "DEPTH" not in text and len(text) > 20)
        assert min(np.diff(heights)) > 5.0  # the letters are 5 mm high


def test_one_pocket_alone_and_wider(records: tuple[Survey, Plan]) -> None:
    """Geometric: 0.2 mm wider on every side."""
    survey, plan = records
    key = plan.keys[2]
    _, entities = read_groups(pocket_dxf(survey, key, 0.2, SheetSettings()))
    (pocket,) = [e for e in entities if e.layer == "POCKET"]
    points = np.array(chorded(pocket.rows))
    x0, y0, x1, y1 = bounding_box(key.pocket)
    grown = (x0 - 0.2, y0 - 0.2, x1 + 0.2, y1 + 0.2)
    assert (*points.min(axis=0), *points.max(axis=0)) == pytest.approx(grown, abs=WITHIN)
    for wrong in (0.0, -0.1, 5.0, float("nan")):
        with pytest.raises(SheetError, match="at most 2 mm"):
            pocket_dxf(survey, key, wrong, SheetSettings())


def test_r12_names_its_unit_in_the_file_name() -> None:
    assert drawing_file("slab", SheetSettings()) == "slab.dxf"
    assert drawing_file("slab", SheetSettings(dxf_version="R12", drawing_units="in")) == "slab-in.dxf"


def test_a_stretching_transform_is_refused(records: tuple[Survey, Plan]) -> None:
    with pytest.raises(SheetError, match="stretches"):
        slab_dxf(*records, SheetSettings(), np.diag([2.0, 1.0, 1.0]))


_ANOTHER_RUN = """
from hashlib import sha256
from crackmap.settings import SheetSettings
from crackmap.sheets.dxf import slab_dxf
from tests.builders import a_plan, a_survey
survey = a_survey()
print(sha256(b"".join(slab_dxf(survey, a_plan(survey, 4), SheetSettings(dxf_version=version))
                      for version in ("R12", "R2000", "R2010"))).hexdigest())
"""


def test_another_run_writes_the_same_bytes() -> None:
    """Names are hashed anew in every run, and sets of them come in another order."""
    written = {subprocess.run([sys.executable, "-c", _ANOTHER_RUN], cwd=Path(__file__).parents[2], check=True,
                              capture_output=True, text=True, env=os.environ | {"PYTHONHASHSEED": seed}).stdout
               for seed in ("1", "2", "3", "4")}
    assert len(written) == 1


def test_repeats_and_scraps_are_dropped() -> None:
    square = [[0, 0], [0, 0], [10, 0], [10, 10], [10, 10.0000001], [0, 10], [0, 0]]
    (outline,) = closed("SLAB_EDGE", square)
    assert len(outline.rows) == 4
    assert closed("VOID", [[0, 0], [1, 0]]) == [] and open_path("CRACK", [[5, 5], [5, 5]]) == []
    content = as_dxf(Drawing("one", (outline,)), SheetSettings())
    assert len([e for e in read_groups(content)[1] if e.closed]) == 1
