"""DXF files for the CAM program.

Only points, lines, circles, closed polylines with bulges and texts; no splines,
ellipses or blocks, over which programs stumble. The same drawing always gives
the same bytes: dates and ids in the header are fixed, so that a shop can keep
its drawings in git.
"""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import ezdxf
from ezdxf.document import Drawing as DxfDocument
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import Modelspace
from numpy.typing import ArrayLike

from crackmap.errors import SheetError
from crackmap.records import Key, Plan, Setup, Survey
from crackmap.settings import SheetSettings, nearest_hint
from crackmap.sheets.drawing import (
    BED_EDGE,
    BOARD,
    CHECK_BAR,
    CLAMP,
    CRACK,
    DATUM,
    GRAIN,
    KEY,
    NOTES,
    SLAB_EDGE,
    TAB,
    VOID,
    WITNESS,
    Drawing,
    Mark,
    Note,
    Outline,
    Shape,
    extent,
)
from crackmap.sheets.keys_drawing import keys_drawing
from crackmap.sheets.setup_drawing import setup_drawing
from crackmap.sheets.slab_drawing import pocket_drawing, slab_drawing
from crackmap.shop import Bed, Shop
from crackmap.units import MM_PER_INCH

VERSIONS = ("R12", "R2000", "R2010")
MOST_WIDER = 2.0  # a key that is tighter than this is another key [mm]
_UNITS = {"mm": (1.0, 4, 1), "in": (1.0 / MM_PER_INCH, 1, 0)}  # factor, $INSUNITS, $MEASUREMENT
_DECIMALS = {"mm": 4, "in": 6}  # a tenth of a micrometre and less
# Colour numbers of the format, so that layers can be told apart on a dark and a light screen.
_COLOURS = {
    KEY: 30,
    SLAB_EDGE: 8,
    VOID: 140,
    CRACK: 40,
    DATUM: 3,
    CHECK_BAR: 6,
    NOTES: 9,
    BOARD: 8,
    GRAIN: 34,
    TAB: 1,
    BED_EDGE: 5,
    WITNESS: 4,
    CLAMP: 1,
}
_POCKET_COLOURS = (210, 170, 20, 90)
_FIXED_DATES = threading.Lock()  # the switch for fixed dates belongs to the whole library


def slab_dxf(
    survey: Survey, plan: Plan, settings: SheetSettings, transform: ArrayLike | None = None
) -> bytes:
    """The pockets in the slab frame, with reference outlines, datum marks and a check bar.

    Parameters
    ----------
    survey, plan, settings
        What was measured and decided; version, unit and what to include.
    transform : array_like, shape (3, 3), optional
        Rigid: to a machine's frame or, mirrored, to the underside. [mm]

    Raises
    ------
    SheetError
        If version or unit are unknown, or the transform stretches.
    """
    return as_dxf(slab_drawing(survey, plan, settings, transform), settings)


def setup_dxf(
    survey: Survey, plan: Plan, setup: Setup, bed: Bed | None, settings: SheetSettings,
    slab_to_machine: ArrayLike | None = None,
) -> bytes:
    """One set-up in machine coordinates, as planned or as jogged; see `setup_drawing`.

    Raises
    ------
    SheetError
        If version, unit or order are unknown, or the transform stretches.
    """
    return as_dxf(setup_drawing(survey, plan, setup, bed, settings, slab_to_machine), settings)


def pocket_dxf(survey: Survey, key: Key, wider_by: float, settings: SheetSettings) -> bytes:
    """One pocket alone, made wider, for a key that sits too tight: cut it again from the same zero.

    Parameters
    ----------
    survey, key, settings
        The slab with its marks; the key; version and unit.
    wider_by : float
        On every side. [mm]

    Raises
    ------
    KeyShapeError
        If the pocket has sharp corners, which have no exact offset.
    SheetError
        If `wider_by` is not above zero and at most 2 mm, or version or unit are unknown.
    """
    if not 0.0 < wider_by <= MOST_WIDER:
        raise SheetError(
            f"a pocket cannot be made {wider_by:g} mm wider a side; give more than 0 and at most "
            f"{MOST_WIDER:g} mm."
        )
    return as_dxf(pocket_drawing(survey, key, wider_by, settings), settings)


def drawing_file(stem: str, settings: SheetSettings) -> str:
    """Name of a drawing's file; in R12, which has no field for the unit, it names the unit: slab-mm.dxf."""
    return f"{stem}-{settings.drawing_units}.dxf" if settings.dxf_version == "R12" else f"{stem}.dxf"


def keys_dxf(plan: Plan, shop: Shop, settings: SheetSettings) -> bytes:
    """The keys laid out on the boards, grain along each key's length.

    Raises
    ------
    SheetError
        If version or unit are unknown.
    """
    return as_dxf(keys_drawing(plan, shop, settings), settings)


def as_dxf(drawing: Drawing, settings: SheetSettings) -> bytes:
    """A drawing as a DXF file; see `slab_dxf`."""
    _check(settings)
    with _fixed_dates():
        document = _new_document(settings)
        for number, layer in enumerate(drawing.layers):
            colour = _COLOURS.get(layer, _POCKET_COLOURS[number % len(_POCKET_COLOURS)])
            document.layers.add(layer, color=colour)
        space = document.modelspace()
        for shape in drawing.shapes:
            _add(space, shape, settings)
        _set_extent(document, drawing, settings)
        for kind in sorted(document.entitydb.dxf_types_in_use()):  # ezdxf takes them in a set's order, another each run
            document.classes.add_class(kind)
        stream = io.StringIO()
        document.write(stream)
    return bytes(document.encode(stream.getvalue()))


def _check(settings: SheetSettings) -> None:
    for what, value, known in (
        ("DXF version", settings.dxf_version, VERSIONS),
        ("drawing unit", settings.drawing_units, tuple(_UNITS)),
    ):
        if value not in known:
            raise SheetError(f"unknown {what} {value!r}{nearest_hint(value, list(known))}")


@contextmanager
def _fixed_dates() -> Iterator[None]:
    with _FIXED_DATES:
        before = ezdxf.options.write_fixed_meta_data_for_testing
        ezdxf.options.write_fixed_meta_data_for_testing = True
        try:
            yield
        finally:
            ezdxf.options.write_fixed_meta_data_for_testing = before


def _new_document(settings: SheetSettings) -> DxfDocument:
    _, code, metric = _UNITS[settings.drawing_units]
    # ezdxf.new would set a unit in R12 as well, which has no field for it, and warn of that.
    document = DxfDocument.new(settings.dxf_version)
    if settings.dxf_version != "R12":
        document.units = code
        document.header["$LUNITS"] = 2  # decimal
    document.header["$MEASUREMENT"] = metric
    return document


def _add(space: Modelspace, shape: Shape, settings: SheetSettings) -> None:
    factor, decimals = _UNITS[settings.drawing_units][0], _DECIMALS[settings.drawing_units]

    def at(x: float, y: float) -> tuple[float, float]:
        return round(x * factor, decimals) + 0.0, round(y * factor, decimals) + 0.0

    layer = {"layer": shape.layer}
    if isinstance(shape, Outline):
        rows = [(*at(x, y), round(bulge, 9)) for x, y, bulge in shape.rows.tolist()]
        _add_polyline(space, rows, True, layer)
    elif isinstance(shape, Note):
        where = TextEntityAlignment.BOTTOM_CENTER if shape.centred else TextEntityAlignment.LEFT
        text = space.add_text(shape.text, height=round(shape.height * factor, decimals), dxfattribs=layer)
        text.set_placement(at(*shape.at), align=where)
    elif isinstance(shape, Mark):
        space.add_point(at(*shape.at), dxfattribs=layer)
        space.add_circle(at(*shape.at), round(shape.ring / 2.0 * factor, decimals), dxfattribs=layer)
    else:
        points = [at(x, y) for x, y in shape.points.tolist()]
        if len(points) == 2:
            space.add_line(*points, dxfattribs=layer)
        else:
            _add_polyline(space, [(x, y, 0.0) for x, y in points], False, layer)


def _add_polyline(
    space: Modelspace, rows: list[tuple[float, float, float]], close: bool, layer: dict[str, str]
) -> None:
    if space.doc.dxfversion == "AC1009":  # R12 knows the older form alone
        space.add_polyline2d(rows, format="xyb", close=close, dxfattribs=layer)
    else:
        space.add_lwpolyline(rows, format="xyb", close=close, dxfattribs=layer)


def _set_extent(document: DxfDocument, drawing: Drawing, settings: SheetSettings) -> None:
    """The drawing's limits, so that it opens in view."""
    factor = _UNITS[settings.drawing_units][0]
    x0, y0, x1, y1 = (round(value * factor, 4) for value in extent(drawing.shapes))
    space = document.modelspace()
    space.reset_extents((x0, y0, 0.0), (x1, y1, 0.0))
    space.reset_limits((x0, y0), (x1, y1))
    document.set_modelspace_vport(
        height=max(y1 - y0, (x1 - x0) / 1.6, 1e-3) * 1.1, center=((x0 + x1) / 2.0, (y0 + y1) / 2.0)
    )
