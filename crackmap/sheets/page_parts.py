"""What the pages of the bench sheet are made of: titles, lists, tables, styles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Table, TableStyle

INK, GREY, PALE = Color(0, 0, 0), Color(0.45, 0.45, 0.45), Color(0.93, 0.93, 0.93)
TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=10, leading=13)
STEP = ParagraphStyle("step", parent=TEXT, leftIndent=16, firstLineIndent=-16, spaceAfter=1.5)
TITLE = ParagraphStyle(
    "title", parent=TEXT, fontName="Helvetica-Bold", fontSize=13, leading=17, spaceBefore=7, spaceAfter=3
)
GATE = ParagraphStyle("gate", parent=TEXT, fontName="Helvetica-Bold", fontSize=12, leading=15.5)


def section(title: str, sentences: Sequence[str], numbered: bool = False) -> list[Flowable]:
    """A title with its sentences, the first of which stays with the title; nothing where there are none."""
    if not sentences:
        return []
    lines = bullets(sentences, numbered)
    return [KeepTogether([Paragraph(title, TITLE), *lines[:2]]), *lines[2:]]


def bullets(sentences: Sequence[str], numbered: bool = False) -> list[Flowable]:
    """Sentences as a list."""
    marks = [f"{n}." if numbered else "\u2022" for n in range(1, len(sentences) + 1)]
    return [
        Paragraph(f"{mark}&nbsp; {escape(sentence)}", STEP)
        for mark, sentence in zip(marks, sentences, strict=True)
    ]


def table_of(
    rows: list[list[Any]],
    size: float,
    left: tuple[int, ...] = (),
    widths: tuple[float | None, ...] | None = None,
    close: bool = False,
) -> Table:
    """A table with its head on every page; figures to the right, the columns of `left` to the left.

    `size` is the type's. [PDF points]
    """
    above, below = (0.6, 1.8) if close else (2.2, 3.6)
    table = Table(rows, colWidths=widths, repeatRows=1, hAlign="LEFT")
    style = [
        ("FONT", (0, 0), (-1, -1), "Helvetica", size),
        ("FONT", (0, 0), (-1, 0), "Helvetica-Bold", size),
        ("FONT", (0, 1), (0, -1), "Helvetica-Bold", size),
        ("ALIGN", (0, 0), (-1, -1), "RIGHT"),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LINEBELOW", (0, 0), (-1, 0), 1.0, INK),
        ("LINEBELOW", (0, 1), (-1, -1), 0.3, GREY),
        ("ROWBACKGROUNDS", (0, 1), (-1, -1), (Color(1, 1, 1), PALE)),
        ("TOPPADDING", (0, 0), (-1, -1), above),
        ("BOTTOMPADDING", (0, 0), (-1, -1), below),
        ("LEFTPADDING", (0, 0), (-1, -1), 5),
        ("RIGHTPADDING", (0, 0), (-1, -1), 7),
        *(("ALIGN", (column, 0), (column, -1), "LEFT") for column in left),
    ]
    table.setStyle(TableStyle(style))
    return table
