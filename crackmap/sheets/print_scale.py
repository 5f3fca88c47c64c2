"""What the sheets that must print at true size have in common.

Pages are drawn in millimetres, origin at the lower left corner. Black shapes
are drawn as outlines of whole regions, never as rows of touching rectangles,
between which a printer leaves hairlines.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from shapely import MultiPolygon, Polygon, box, unary_union

from crackmap.published import FLAT_SIZES
from crackmap.units import MM_PER_INCH

Cell = tuple[float, float, float, float]  # left, bottom, right, top [mm]

FONT, BOLD = "Helvetica", "Helvetica-Bold"
MARGIN = 10.0  # printers leave about 5 mm unprinted [mm]
_EVEN_ODD = 0  # reportlab's code for the fill rule that leaves holes open


def page_size(paper: str, landscape: bool = False) -> tuple[float, float]:
    """Width and height of a named paper. [mm]"""
    sheet = FLAT_SIZES[paper]
    return (sheet.long_side, sheet.short_side) if landscape else (sheet.short_side, sheet.long_side)


def new_canvas(stream: Any, size_mm: tuple[float, float], title: str) -> Canvas:
    """A canvas whose bytes depend on what is drawn alone, not on the day."""
    canvas = Canvas(stream, pagesize=(size_mm[0] * mm, size_mm[1] * mm), invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setAuthor("crackmap")
    canvas.setCreator("crackmap")
    # A reader's print dialogue starts with "actual size" where it honours this.
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas


def fill_cells(canvas: Canvas, cells: Iterable[Cell]) -> None:
    """Fill the union of rectangles in black."""
    region = unary_union([box(*cell) for cell in cells])
    parts = region.geoms if isinstance(region, MultiPolygon) else [region]
    path = canvas.beginPath()
    for part in parts:
        assert isinstance(part, Polygon)
        for ring in (part.exterior, *part.interiors):
            corners = list(ring.coords)[:-1]
            path.moveTo(*corners[0])
            for corner in corners[1:]:
                path.lineTo(*corner)
            path.close()
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1, fillMode=_EVEN_ODD)


def draw_bar(canvas: Canvas, x: float, y: float, paper: str, upright: bool = False) -> None:
    """A bar to lay a rule on: 100 mm, on Letter paper 4 in on its other side.

    Its foot is at (x, y); it runs to the right, or up if `upright`.
    """
    canvas.saveState()
    canvas.translate(x, y)
    if upright:
        canvas.rotate(90)
    canvas.setFillGray(0)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.15)
    canvas.line(0, 0, 100, 0)
    for tick in range(101):
        long = 4.0 if tick % 50 == 0 else 3.0 if tick % 10 == 0 else 2.2 if tick % 5 == 0 else 1.4
        canvas.line(tick, 0, tick, long)
    canvas.setFont(FONT, 2.8)
    for tick, label in ((0, "0"), (50, "50"), (100, "100 mm")):
        canvas.drawCentredString(tick, 4.8, label)
    if paper == "letter":
        _draw_inches(canvas)
    canvas.restoreState()


def _draw_inches(canvas: Canvas) -> None:
    canvas.line(0, -1.2, 4 * MM_PER_INCH, -1.2)
    for tick in range(33):
        long = 4.0 if tick % 16 == 0 else 3.0 if tick % 8 == 0 else 2.2 if tick % 4 == 0 else 1.4
        canvas.line(tick * MM_PER_INCH / 8, -1.2, tick * MM_PER_INCH / 8, -1.2 - long)
    for tick, label in ((0, "0"), (2, "2"), (4, "4 in")):
        canvas.drawCentredString(tick * MM_PER_INCH, -7.9, label)


def write_lines(canvas: Canvas, x: float, y: float, lines: Iterable[str], size: float = 3.3) -> float:
    """Lines of text downwards from baseline `y`; returns the next baseline. [mm]"""
    canvas.setFillGray(0)
    canvas.setFont(FONT, size)
    for line in lines:
        canvas.drawString(x, y, line)
        y -= 1.42 * size
    return y
