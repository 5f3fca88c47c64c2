"""The printed scale markers, at true size, as a PDF."""

from __future__ import annotations

import io

import cv2
import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from crackmap.errors import SheetError
from crackmap.published import FLAT_SIZES
from crackmap.settings import MarkerSheetSettings
from crackmap.sheets.print_scale import (
    BOLD,
    FONT,
    MARGIN,
    draw_bar,
    fill_cells,
    new_canvas,
    page_size,
    write_lines,
)
from crackmap.units import MM_PER_INCH

DICTIONARY = cv2.aruco.DICT_4X4_50
IDS = 50  # in that dictionary
CELLS = 6  # along a side: 4 of code and the black border
QUIET_CELLS = 1  # of white border all round, which detection needs

# A smaller marker has cells of less than 6 px where the photo has 0.5 mm a pixel.
LEAST_SIZE = 20.0  # [mm]
_LABEL = 7.0  # strip below the white border that bears number and size [mm]
_HEAD = 57.0  # title and how to use them [mm]
_FOOT = 33.0  # check bar [mm]
_SIDE = 15.0  # upright check bar [mm]


def marker_sheet_pdf(settings: MarkerSheetSettings) -> bytes:
    """Scale markers to print, cut out and lay on the slab.

    Each has an id of its own, a white border, and a cross at its exact centre
    to prick through into the wood. Small ones share a page. A check bar along
    each side of the page shows what the printer did to the scale.

    Parameters
    ----------
    settings : MarkerSheetSettings
        Paper, side of the black square [mm], how many, first id.

    Returns
    -------
    bytes
        A PDF; the same settings give the same bytes.

    Raises
    ------
    SheetError
        If the size does not go on the paper or is too small to be read, or if
        the dictionary has not that many ids.
    """
    page = _checked(settings)
    piece = piece_size(settings.size)
    columns, rows = _fitting(page, piece)
    ids = settings.ids
    pages = [ids[start : start + columns * rows] for start in range(0, len(ids), columns * rows)]
    stream = io.BytesIO()
    canvas = new_canvas(stream, page, "Scale markers")
    for number, on_page in enumerate(pages, 1):
        canvas.scale(mm, mm)
        _draw_frame(canvas, page, settings, f"page {number} of {len(pages)}")
        corners = _piece_corners(page, piece, columns, len(on_page))
        _draw_cut_lines(canvas, corners, piece)
        for (x, y), marker_id in zip(corners, on_page, strict=True):
            _draw_piece(canvas, x, y, marker_id, settings)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def piece_size(size: float) -> tuple[float, float]:
    """Width and height of what is cut out for a marker of that size. [mm]"""
    bordered = size * (CELLS + 2 * QUIET_CELLS) / CELLS
    return bordered, bordered + _LABEL


def _room(page: tuple[float, float]) -> tuple[float, float]:
    return page[0] - 2 * MARGIN - _SIDE, page[1] - _HEAD - _FOOT


def _fitting(page: tuple[float, float], piece: tuple[float, float]) -> tuple[int, int]:
    room = _room(page)
    return int(room[0] // piece[0]), int(room[1] // piece[1])


def _piece_corners(
    page: tuple[float, float], piece: tuple[float, float], columns: int, count: int
) -> list[tuple[float, float]]:
    """Lower left corners of the pieces on a page, row by row from the top. [mm]"""
    left = MARGIN + (_room(page)[0] - min(columns, count) * piece[0]) / 2
    top = page[1] - _HEAD
    return [(left + place % columns * piece[0], top - (place // columns + 1) * piece[1])
            for place in range(count)]


def _checked(settings: MarkerSheetSettings) -> tuple[float, float]:
    """The page's size, once the settings are known to be possible. [mm]"""
    page = page_size(settings.paper)
    room = _room(page)
    most = min(room[0], room[1] - _LABEL) * CELLS / (CELLS + 2 * QUIET_CELLS)
    if not LEAST_SIZE <= settings.size <= most:
        raise SheetError(f"a marker of {settings.size:g} mm cannot be printed on the "
                         f"{FLAT_SIZES[settings.paper].name}; give {LEAST_SIZE:g}mm to {int(most)}mm.")
    if settings.count < 1:
        raise SheetError(f"{settings.count} markers cannot be printed; ask for 1 or more.")
    if settings.first_id < 0 or settings.ids[-1] >= IDS:
        raise SheetError(f"markers {settings.first_id} to {settings.ids[-1]} were asked for, but there are only "
                         f"0 to {IDS - 1}; ask for fewer or begin lower.")
    return page


def _draw_frame(
    canvas: Canvas, page: tuple[float, float], settings: MarkerSheetSettings, number: str
) -> None:
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 6.0)
    canvas.drawString(MARGIN, page[1] - 17, "Scale markers")
    canvas.setFont(FONT, 2.8)
    canvas.drawRightString(page[0] - MARGIN, page[1] - 17, number)
    bars = "the bars are 100 mm and 4 in long" if settings.paper == "letter" else "both bars are 100 mm long"
    write_lines(canvas, MARGIN, page[1] - 25, [
        f"1   Print at 100 %, no scaling or fitting. Lay a rule on the bars: {bars}.",
        "     If yours are not, measure the side of a printed black square and tell the program:",
        "     --marker-size 99.4mm. If the two bars disagree, use another printer.",
        "2   Cut along the dashed lines and leave the white border on. Tape two or more of them flat",
        "     on the top face of the slab, near its ends and clear of cracks. One alone gives a poor scale.",
        "3   Photograph from straight above. Before taking a marker off, prick through the middle of its",
        "     cross into the wood: the marks put the slab in place on the machine.",
    ])
    draw_bar(canvas, MARGIN, 18, settings.paper)
    draw_bar(canvas, page[0] - MARGIN - 2, _FOOT, settings.paper, upright=True)


def _draw_cut_lines(canvas: Canvas, corners: list[tuple[float, float]], piece: tuple[float, float]) -> None:
    """Each line once: two dashed lines on top of each other make a solid one."""
    width, height = piece
    lines = set()
    for x, y in corners:
        lines |= {(x, y, x + width, y), (x, y + height, x + width, y + height),
                  (x, y, x, y + height), (x + width, y, x + width, y + height)}
    canvas.setStrokeGray(0.45)
    canvas.setLineWidth(0.2)
    canvas.setDash([2.0, 1.5])
    canvas.lines(sorted({tuple(round(v, 6) for v in line) for line in lines}))
    canvas.setDash()


def _draw_piece(canvas: Canvas, x: float, y: float, marker_id: int, settings: MarkerSheetSettings) -> None:
    """One marker with its white border and label; lower left corner at (x, y)."""
    width, _ = piece_size(settings.size)
    quiet = settings.size / CELLS * QUIET_CELLS
    draw_marker(canvas, x + quiet, y + _LABEL + quiet, settings.size, marker_id)
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 3.6)
    canvas.drawString(x + 3, y + 2.6, f"Marker {marker_id}")
    canvas.setFont(FONT, 2.8)
    canvas.drawRightString(x + width - 3, y + 2.6, _spoken_size(settings))


def _spoken_size(settings: MarkerSheetSettings) -> str:
    if settings.paper == "letter":
        return f"{settings.size:g} mm ({settings.size / MM_PER_INCH:.3f} in)"
    return f"{settings.size:g} mm"


def draw_marker(canvas: Canvas, x: float, y: float, size: float, marker_id: int) -> None:
    """A marker with its lower left corner at (x, y), and its cross. [mm]"""
    bits = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(DICTIONARY), marker_id, CELLS)
    cell = size / CELLS
    fill_cells(canvas, [
        (x + column * cell, y + (CELLS - 1 - row) * cell, x + (column + 1) * cell, y + (CELLS - row) * cell)
        for row, column in np.argwhere(bits < 128)])
    _draw_cross(canvas, x + size / 2, y + size / 2, cell)


def _draw_cross(canvas: Canvas, x: float, y: float, cell: float) -> None:
    """A black cross in a white band, to be seen on black and on white.

    It lies along the borders of the four middle cells and stays shorter than a
    cell, so that it takes no more than a tenth of any.
    """
    arm = min(8.0, 0.6 * cell)
    for grey, width, reach in ((1.0, min(1.5, 0.15 * cell), arm), (0.0, min(0.3, 0.03 * cell), arm - 0.4)):
        canvas.setStrokeGray(grey)
        canvas.setLineWidth(width)
        canvas.line(x - reach, y, x + reach, y)
        canvas.line(x, y - reach, x, y + reach)
