"""SVG drawings, read back by svgelements."""

from __future__ import annotations

import io

import numpy as np
import pytest
import svgelements

from crackmap.keys.outline import bounding_box
from crackmap.records import Plan, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.drawing import Drawing, Outline
from crackmap.sheets.keys_drawing import keys_drawing
from crackmap.sheets.slab_drawing import slab_drawing
from crackmap.sheets.svg import as_svg, keys_svg, slab_svg
from crackmap.shop import Shop
from tests.builders import a_cut_plan, a_survey

WITHIN = 0.01  # [mm]


@pytest.fixture(scope="module")
def records() -> tuple[Survey, Plan]:
    survey = a_survey()
    return survey, a_cut_plan(survey, 9)


def _read(content: bytes) -> svgelements.SVG:
    # ppi 25.4: the reader's pixel is then a millimetre.
    return svgelements.SVG.parse(io.StringIO(content.decode()), ppi=25.4)


def _drawn(drawing: Drawing) -> list[Outline]:
    return [shape for shape in drawing.shapes if isinstance(shape, Outline)]


@pytest.mark.parametrize("name", ["slab", "keys"])
def test_every_outline_is_where_it_was_drawn(records: tuple[Survey, Plan], name: str) -> None:
    """Independent: svgelements' own arcs. Their origin is the view box's corner."""
    survey, plan = records
    options, shop = SheetSettings(), Shop()
    drawing = slab_drawing(survey, plan, options) if name == "slab" else keys_drawing(plan, shop, options)
    content = slab_svg(survey, plan, options) if name == "slab" else keys_svg(plan, shop, options)
    picture = _read(content)
    left, top = (float(v) for v in content.decode().split('viewBox="')[1].split()[:2])
    closed_paths = [
        p
        for p in picture.elements()
        if isinstance(p, svgelements.Path) and isinstance(p[-1], svgelements.Close)
    ]
    drawn = sorted(_drawn(drawing), key=lambda o: drawing.layers.index(o.layer))
    assert len(closed_paths) == len(drawn)
    for path, outline in zip(closed_paths, drawn, strict=True):
        x0, y0, x1, y1 = path.bbox()
        ours = bounding_box(outline.rows)
        assert (x0 + left, -(y1 + top), x1 + left, -(y0 + top)) == pytest.approx(ours, abs=WITHIN)


def test_the_page_is_in_true_millimetres(records: tuple[Survey, Plan]) -> None:
    text = slab_svg(*records, SheetSettings()).decode()
    width, height = (float(text.split(f'{side}="')[1].split("mm")[0]) for side in ("width", "height"))
    box = [float(v) for v in text.split('viewBox="')[1].split('"')[0].split()]
    assert (width, height) == pytest.approx(box[2:])  # geometric: a user unit is a millimetre
    outline = records[0].outline
    assert box[0] < outline[:, 0].min() and box[0] + box[2] > outline[:, 0].max()
    assert box[1] < -outline[:, 1].max() and box[1] + box[3] > -outline[:, 1].min()


def test_large_arcs_go_the_long_way_round() -> None:
    """Geometric: three quarters of a circle of radius 10 about the origin, closed by its chord."""
    rows = np.array([[10.0, 0.0, np.tan(np.radians(270) / 4)], [0.0, -10.0, 0.0]])
    picture = _read(as_svg(Drawing("arc", (Outline("POCKET", rows),))))
    (path,) = [p for p in picture.elements() if isinstance(p, svgelements.Path)]
    x0, y0, x1, y1 = path.bbox()
    assert (x1 - x0, y1 - y0) == pytest.approx((20.0, 20.0), abs=WITHIN)


def test_texts_are_escaped_and_bytes_are_fixed(records: tuple[Survey, Plan]) -> None:
    survey, plan = records
    assert slab_svg(survey, plan, SheetSettings()) == slab_svg(survey, plan, SheetSettings())
    drawing = Drawing("a <b> & c", ())
    assert b"a &lt;b&gt; &amp; c" in as_svg(drawing)
