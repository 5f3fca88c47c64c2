"""The test cut as a DXF: millimetres, true arcs, closed outlines, one layer a kind."""

from __future__ import annotations

import io
from typing import Any

import ezdxf
import numpy as np

from crackmap.keys.ladder import Ladder
from crackmap.keys.strokes import strokes
from crackmap.records import FloatArray

# Layer names are ours; the colours are the DXF index numbers of screens, told apart by name first.
LAYERS = {"TEST_POCKET": 5, "TEST_KEY": 30, "TEST_FIGURES": 3, "OFFCUT": 8, "CHECK_BAR": 6}
BAR_LENGTH = 100.0  # [mm]
_BAR_TICK = 3.0
_MILLIMETRES, _METRIC = 4, 1  # values of $INSUNITS and $MEASUREMENT


def ladder_dxf(ladder: Ladder) -> bytes:
    """The file's bytes; the same ladder always gives the same bytes."""
    document = _new_document()
    space = document.modelspace()
    _outline(space, [(x, y, 0.0) for x, y in ladder.offcut.tolist()], "OFFCUT")
    for pocket in ladder.pockets:
        _outline(space, pocket.tolist(), "TEST_POCKET")
    _outline(space, ladder.key.tolist(), "TEST_KEY")
    for label in ladder.labels:
        for line in label:
            _line(space, line, "TEST_FIGURES")
    _check_bar(space, float(ladder.key[:, 1].min()) - 15.0)
    return _as_bytes(document)


def _new_document() -> Any:
    document = ezdxf.new("R2010", setup=False, units=_MILLIMETRES)
    document.header["$INSUNITS"] = _MILLIMETRES
    document.header["$MEASUREMENT"] = _METRIC
    for name, colour in LAYERS.items():
        document.layers.add(name, color=colour)
    return document


def _outline(space: Any, rows: list[Any], layer: str) -> None:
    space.add_lwpolyline([tuple(row) for row in rows], format="xyb", close=True, dxfattribs={"layer": layer})


def _line(space: Any, points: FloatArray, layer: str) -> None:
    closed = bool(np.all(points[0] == points[-1]))
    chain = points[:-1] if closed else points
    space.add_lwpolyline([tuple(point) for point in chain.tolist()], format="xy", close=closed,
                         dxfattribs={"layer": layer})


def _check_bar(space: Any, y: float) -> None:
    """A bar to lay a rule on once the program has opened the file: wrong units show at once."""
    for x in (0.0, BAR_LENGTH):
        space.add_line((x, y), (x, y + _BAR_TICK), dxfattribs={"layer": "CHECK_BAR"})
    space.add_line((0.0, y), (BAR_LENGTH, y), dxfattribs={"layer": "CHECK_BAR"})
    for line in strokes(f"{BAR_LENGTH:.0f}", 5.0):
        _line(space, line + np.array([BAR_LENGTH / 2.0, y + _BAR_TICK]), "CHECK_BAR")


def _as_bytes(document: Any) -> bytes:
    """The document without dates and random ids."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        stream = io.StringIO()
        document.write(stream)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
    return stream.getvalue().encode(document.output_encoding, errors="replace")
