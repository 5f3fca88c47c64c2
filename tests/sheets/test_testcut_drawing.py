"""The test cut's file: clean, metric, and read alike by other programs."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import pyogrio
import pytest
import shapely

from crackmap.keys.ladder import CLEARANCES, make_ladder
from crackmap.keys.outline import bounding_box, to_polygon
from crackmap.settings import SheetSettings
from crackmap.sheets.dxf import as_dxf
from crackmap.sheets.testcut_drawing import testcut_drawing as draw_testcut
from crackmap.shop import Shop


def dxf_bytes() -> bytes:
    return as_dxf(draw_testcut(make_ladder(Shop()), SheetSettings()), SheetSettings())


def test_the_file_is_clean_metric_and_the_same_each_time(tmp_path: Path) -> None:
    made = dxf_bytes()
    assert made == dxf_bytes()
    path = tmp_path / "testcut.dxf"
    path.write_bytes(made)
    document = ezdxf.readfile(path)
    audit = document.audit()
    assert not audit.errors and not audit.fixes
    assert document.header["$INSUNITS"] == 4 and document.header["$MEASUREMENT"] == 1
    used = {entity.dxf.layer for entity in document.modelspace()}
    assert used == {"POCKET", "KEY", "FIGURES", "BOARD", "CHECK_BAR", "NOTES"}
    closed = [e for e in document.modelspace().query("LWPOLYLINE[layer=='POCKET']")]
    assert len(closed) == len(CLEARANCES) and all(e.closed for e in closed)


def test_a_reader_that_is_not_ezdxf_gets_the_same_arcs(tmp_path: Path) -> None:
    """independent: GDAL's DXF reader, which turns arcs into short chords."""
    ladder = make_ladder(Shop())
    path = tmp_path / "testcut.dxf"
    path.write_bytes(dxf_bytes())
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "1"})
    _, _, geometry, fields = pyogrio.raw.read(path, columns=["Layer"])
    shapes = shapely.from_wkb(geometry)
    read = [shape for shape, layer in zip(shapes, fields[0], strict=True) if layer == "POCKET"]
    assert len(read) == len(ladder.pockets)
    for line, pocket in zip(read, ladder.pockets, strict=True):
        assert line.is_closed or line.geom_type == "Polygon"
        assert line.bounds == pytest.approx(bounding_box(pocket), abs=0.01)  # [mm]
        outline = line.exterior if line.geom_type == "Polygon" else line
        assert outline.hausdorff_distance(to_polygon(pocket, 1e-3).exterior) < 0.01
