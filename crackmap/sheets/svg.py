"""The same drawings as SVG in true millimetres."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape

from numpy.typing import ArrayLike

from crackmap.keys.outline import take_apart
from crackmap.records import Plan, Setup, Survey
from crackmap.settings import SheetSettings
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
    POCKET,
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
from crackmap.sheets.slab_drawing import slab_drawing
from crackmap.shop import Bed, Shop

_MARGIN = 10.0  # [mm]
_LINE = 0.25  # width of a line [mm]
_COLOURS = {
    KEY: "#a04000",
    SLAB_EDGE: "#606060",
    VOID: "#1f5fa8",
    CRACK: "#b07800",
    DATUM: "#008040",
    CHECK_BAR: "#a000a0",
    NOTES: "#404040",
    BOARD: "#606060",
    GRAIN: "#b07800",
    TAB: "#c01010",
    BED_EDGE: "#3050a0",
    WITNESS: "#007a7a",
    CLAMP: "#c01010",
    POCKET: "#7010a0",
}
_TEXT_WIDTH = 0.85  # of a character over the height of a capital, to keep long notes in the picture
_CAPITAL = 0.72  # height of a capital over the font's size


def slab_svg(survey: Survey, plan: Plan, settings: SheetSettings, transform: ArrayLike | None = None) -> bytes:
    """The slab drawing as SVG; y runs down there, so that it looks as from above. `transform` as for `slab_dxf`."""
    return as_svg(slab_drawing(survey, plan, settings, transform))


def keys_svg(plan: Plan, shop: Shop, settings: SheetSettings) -> bytes:
    """The keys on their boards as SVG."""
    return as_svg(keys_drawing(plan, shop, settings))


def setup_svg(survey: Survey, plan: Plan, setup: Setup, bed: Bed | None, settings: SheetSettings) -> bytes:
    """One set-up as SVG, as planned."""
    return as_svg(setup_drawing(survey, plan, setup, bed, settings))


def as_svg(drawing: Drawing) -> bytes:
    """A drawing as SVG, a user unit a millimetre, a group a layer. Arcs stay arcs.

    The slab frame's point (x, y) is at (x, -y): SVG's y axis points down.
    """
    x0, y0, x1, y1 = _extent_with_notes(drawing)
    width, height = x1 - x0, y1 - y0
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_n(width)}mm" '
        f'height="{_n(height)}mm" '
        f'viewBox="{_n(x0)} {_n(-y1)} {_n(width)} {_n(height)}">',
        f"<title>{escape(drawing.title)}</title>",
    ]
    for layer in drawing.layers:
        colour = _COLOURS.get(layer, _COLOURS[POCKET])
        lines.append(f'<g id="{escape(layer)}" fill="none" stroke="{colour}" stroke-width="{_LINE}">')
        lines += [_element(shape, colour) for shape in drawing.shapes if shape.layer == layer]
        lines.append("</g>")
    return ("\n".join([*lines, "</svg>"]) + "\n").encode("utf-8")


def _element(shape: Shape, colour: str) -> str:
    if isinstance(shape, Outline):
        return f'<path d="{outline_path(shape)}"/>'
    if isinstance(shape, Mark):
        x, y, r = shape.at[0], -shape.at[1], shape.ring / 2.0
        return (
            f'<path d="M{_n(x - r)} {_n(y)}H{_n(x + r)}M{_n(x)} {_n(y - r)}V{_n(y + r)}"/>'
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}"/>'
        )
    if isinstance(shape, Note):
        anchor = ' text-anchor="middle"' if shape.centred else ""
        return (
            f'<text x="{_n(shape.at[0])}" y="{_n(-shape.at[1])}" font-size="{_n(shape.height / _CAPITAL)}" '
            f'font-family="sans-serif" fill="{colour}" stroke="none"{anchor}>{escape(shape.text)}</text>'
        )
    points = " ".join(f"{_n(x)},{_n(-y)}" for x, y in shape.points.tolist())
    return f'<polyline points="{points}"/>'


def outline_path(outline: Outline) -> str:
    """An outline as SVG path commands, y down; closed."""
    s = take_apart(outline.rows)
    commands = [f"M{_n(s.start[0, 0])} {_n(-s.start[0, 1])}"]
    for (x, y), bulge, radius, angle in zip(
        s.end.tolist(), s.bulge.tolist(), s.radius.tolist(), s.angle.tolist(), strict=True
    ):
        if bulge == 0.0:
            commands.append(f"L{_n(x)} {_n(-y)}")
        else:
            large, sweep = int(abs(angle) > math.pi), int(bulge < 0.0)  # y down turns left into right
            commands.append(f"A{_n(radius)} {_n(radius)} 0 {large} {sweep} {_n(x)} {_n(-y)}")
    return "".join(commands) + "Z"


def _extent_with_notes(drawing: Drawing) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = extent(drawing.shapes)
    for note in (shape for shape in drawing.shapes if isinstance(shape, Note)):
        width = _TEXT_WIDTH * note.height * len(note.text)
        left = note.at[0] - (width / 2.0 if note.centred else 0.0)
        x0, x1 = min(x0, left), max(x1, left + width)
        y0, y1 = min(y0, note.at[1] - note.height / 3.0), max(y1, note.at[1] + note.height)
    return x0 - _MARGIN, y0 - _MARGIN, x1 + _MARGIN, y1 + _MARGIN


def _n(value: float) -> str:
    """A number without a tail of zeros, to a tenth of a micrometre."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
