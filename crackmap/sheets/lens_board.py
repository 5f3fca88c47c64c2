"""The printed sheet from which a camera's lens is measured, at true size, as a PDF."""

from __future__ import annotations

import io

import cv2
import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from crackmap.errors import SheetError
from crackmap.settings import (
    LENS_BOARDS,
    LENS_DICTIONARY,
    LENS_MARKER_SHARE,
    LENS_SQUARE,
    LensBoardLayout,
    LensBoardSettings,
)
from crackmap.sheets.print_scale import BOLD, MARGIN, draw_bar, fill_cells, new_canvas, page_size, write_lines

_HEAD = 7.0  # above the board [mm]
_BAR_LENGTH = 100.0
_TEXT_GAP = 11.0  # between the bar and the text [mm]
_LINE_SIZE = 2.5  # [mm]

_HOW = [
    "Print at 100 %, no scaling. Glue or tape it to a flat board or a pane of glass: it must not curl.",
    "Take 8 to 12 sharp photos at the zoom used for slabs, the sheet large in the picture: tilt it 20 to 40",
    "degrees, another way each time, and reach every corner. Then: crackmap lens fit PHOTOS --out lens.json",
]


def lens_board_pdf(settings: LensBoardSettings) -> bytes:
    """A chessboard with a marker in each white square, in the layout of `LENS_BOARDS`.

    Parameters
    ----------
    settings : LensBoardSettings
        The paper.

    Returns
    -------
    bytes
        A PDF of one page; the same settings give the same bytes.

    Raises
    ------
    SheetError
        If there is no layout for the paper.
    """
    if settings.paper not in LENS_BOARDS:
        raise SheetError(f"there is no lens sheet for paper {settings.paper!r}; "
                         f"choose {', '.join(LENS_BOARDS)}.")
    layout = LENS_BOARDS[settings.paper]
    page = page_size(settings.paper, landscape=True)
    width, height = layout.columns * LENS_SQUARE, layout.rows * LENS_SQUARE
    left, bottom = (page[0] - width) / 2, page[1] - _HEAD - height
    stream = io.BytesIO()
    canvas = new_canvas(stream, page, "Lens sheet")
    canvas.scale(mm, mm)
    _draw_board(canvas, layout, left, bottom)
    _draw_foot(canvas, settings.paper, left)
    canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _draw_board(canvas: Canvas, layout: LensBoardLayout, left: float, bottom: float) -> None:
    """Black squares where row and column add up to an even number, markers in the others."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, LENS_DICTIONARY))
    squares = [(row, column) for row in range(layout.rows) for column in range(layout.columns)]
    top = bottom + layout.rows * LENS_SQUARE
    black = [(left + c * LENS_SQUARE, top - r * LENS_SQUARE) for r, c in squares if (r + c) % 2 == 0]
    fill_cells(canvas, [(x, y - LENS_SQUARE, x + LENS_SQUARE, y) for x, y in black])
    side = LENS_SQUARE * LENS_MARKER_SHARE
    inset = (LENS_SQUARE - side) / 2
    white = [(r, c) for r, c in squares if (r + c) % 2]
    for marker_id, (r, c) in enumerate(white, layout.first_id):
        x, y = left + c * LENS_SQUARE + inset, top - (r + 1) * LENS_SQUARE + inset
        _draw_code(canvas, dictionary, marker_id, x, y, side)


def _draw_code(canvas: Canvas, dictionary: cv2.aruco.Dictionary, marker_id: int, x: float, y: float,
               side: float) -> None:
    cells = dictionary.markerSize + 2
    bits = cv2.aruco.generateImageMarker(dictionary, marker_id, cells)
    step = side / cells
    fill_cells(canvas, [(x + c * step, y + (cells - 1 - r) * step, x + (c + 1) * step, y + (cells - r) * step)
                        for r, c in np.argwhere(bits < 128)])


def _draw_foot(canvas: Canvas, paper: str, left: float) -> None:
    inches = 4.0 if paper == "letter" else 0.0  # room for the second scale below the bar [mm]
    x = max(left, MARGIN)
    draw_bar(canvas, x, 8.5 + 1.75 * inches, paper)
    x += _BAR_LENGTH + _TEXT_GAP
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 3.6)
    canvas.drawString(x, 17.4 + inches, f"Lens sheet, squares of {LENS_SQUARE:g} mm")
    write_lines(canvas, x, 13.6 + inches, _HOW, _LINE_SIZE)
