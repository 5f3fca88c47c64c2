"""The setting-out sheet: what the maker holds at the bench, as a PDF."""

from __future__ import annotations

import io
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from crackmap.errors import SheetError
from crackmap.published import FLAT_SIZES
from crackmap.records import Plan, RectifiedPhoto, StockLayout, Survey
from crackmap.settings import SheetSettings, nearest_hint
from crackmap.sheets import bench_tables as tables
from crackmap.sheets import bench_words as words
from crackmap.sheets.face_picture import face_flowables
from crackmap.sheets.page_parts import GATE, GREY, INK, PALE, TEXT, TITLE, bullets, section, table_of
from crackmap.sheets.plan_mark import plan_mark
from crackmap.sheets.setup_pages import setup_flowables
from crackmap.sheets.slab_figure import SlabFigure
from crackmap.sheets.words import scale_sentence, size_sentence
from crackmap.shop import Shop
from crackmap.units import in_words_for, show_length

PAPERS = ("a4", "letter")
_MARGIN = 11.0 * mm
_HEAD = 9.0 * mm  # of every page: file, page number
_PAGE_NUMBER = 24.0 * mm  # room for it at the head's right end
_BETWEEN = 8.0 * mm  # columns
_ORDER = "Order of work"  # its sentences are numbered
_ROWS_WIDE = 24  # so many keys go on a page with wide rows; more are set closer


def setting_out_pdf(survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings,
                    rectified: RectifiedPhoto | None = None) -> bytes:
    """The bench sheet: slab drawing, key table, tape checks, tools, cut list, resin, order of work, cautions.

    Parameters
    ----------
    survey, plan, shop
        What was measured and decided, with whose figures.
    settings : SheetSettings
        Paper (a4 or letter) and the unit of the texts.
    rectified : RectifiedPhoto, optional
        For a small picture of the face, by which the slab is known again.

    Returns
    -------
    bytes
        A PDF, vectors only but for that picture; the same records give the same bytes.

    Raises
    ------
    SheetError
        If the paper is unknown.
    """
    if settings.paper not in PAPERS:
        raise SheetError(f"unknown paper {settings.paper!r}{nearest_hint(settings.paper, list(PAPERS))}")
    stream = io.BytesIO()
    document = _document(stream, survey, plan, settings)
    frame_height = document.pagesize[1] - 2.0 * _MARGIN - _HEAD
    story: list[Flowable] = [
        *_front(survey, plan, shop, settings, frame_height),
        NextPageTemplate("wide"),
        PageBreak(),
        *_key_table(survey, plan, settings),
        *_look_at(plan, settings),
        NextPageTemplate("columns"),
        PageBreak(),
        *_tape_checks(survey, plan, settings),
        *([] if rectified is None else face_flowables(rectified, survey, plan, _column_width(document.pagesize))),
        *_tools_and_stock(plan, shop, settings),
        *_texts(survey, plan, shop, settings.units),
        *setup_flowables(survey, plan, shop.bed, settings, _column_width(document.pagesize)),
    ]
    document.build(story, canvasmaker=_PagesCanvas)
    return stream.getvalue()


def _texts(survey: Survey, plan: Plan, shop: Shop, units: str) -> list[Flowable]:
    """The sections that are sentences, in the reader's unit whatever stage wrote them."""
    sections = {
        "Machine time": words.time_sentences(plan, units),
        "Resin": words.resin_sentences(plan, shop),
        "Tape and dams": words.dam_sentences(plan, units),
        "Keys or resin first": plan.resin.order,
        _ORDER: words.order_of_work(plan, words.first_look(survey, plan)),
        "Mass and lifting": words.mass_sentences(survey, plan, shop, units),
        "Cautions": words.CAUTIONS,
        "What the holding figures rest on": plan.basis,
        "How sure the scale is": [scale_sentence(survey, units), *survey.scale.notes],
    }
    return [part for title, sentences in sections.items()
            for part in section(title, [in_words_for(each, units) for each in sentences], title == _ORDER)]


class _PagesCanvas(Canvas):  # type: ignore[misc]
    """A canvas that knows the number of pages when it writes "page 1 of 3"."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:
        """Keep the page until the last is known."""
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Number the pages and write them."""
        for number, page in enumerate(self._kept, 1):
            self.__dict__.update(page)
            self.setFont("Helvetica", 9)
            self.setFillColor(GREY)
            width, height = self._pagesize
            self.drawRightString(width - _MARGIN, height - _MARGIN - 8, f"page {number} of {len(self._kept)}")
            super().showPage()
        super().save()


def _document(stream: io.BytesIO, survey: Survey, plan: Plan, settings: SheetSettings) -> BaseDocTemplate:
    sheet = FLAT_SIZES[settings.paper]
    size = sheet.long_side * mm, sheet.short_side * mm
    width, height = size[0] - 2.0 * _MARGIN, size[1] - 2.0 * _MARGIN - _HEAD

    def head(canvas: Canvas, _: Any) -> None:
        canvas.setFont("Helvetica-Bold", 11)
        canvas.setFillColor(INK)
        canvas.drawString(_MARGIN, size[1] - _MARGIN - 9, f"Setting-out sheet: {survey.photo.file}"[:100])
        canvas.drawRightString(size[0] - _MARGIN - _PAGE_NUMBER, size[1] - _MARGIN - 9, f"plan {plan_mark(plan)}")
        canvas.setStrokeColor(GREY)
        canvas.setLineWidth(0.5)
        canvas.line(_MARGIN, size[1] - _MARGIN - 15, size[0] - _MARGIN, size[1] - _MARGIN - 15)

    def frame(left: float, wide: float) -> Frame:
        return Frame(
            _MARGIN + left,
            _MARGIN,
            wide,
            height,
            leftPadding=0,
            rightPadding=0,
            topPadding=0,
            bottomPadding=0,
        )

    column = _column_width(size)
    document = BaseDocTemplate(
        stream,
        pagesize=size,
        invariant=1,
        title=f"Setting-out sheet: {survey.photo.file}",
        author="crackmap",
        creator="crackmap",
    )
    document.addPageTemplates(
        [
            PageTemplate("front", [frame(0.0, width)], onPage=head),
            PageTemplate("wide", [frame(0.0, width)], onPage=head),
            PageTemplate("columns", [frame(0.0, column), frame(column + _BETWEEN, column)], onPage=head),
        ]
    )
    return document


def _column_width(page: tuple[float, float]) -> float:
    return float((page[0] - 2.0 * _MARGIN - _BETWEEN) / 2.0)


def _front(survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings, height: float) -> list[Flowable]:
    """Page 1: the gate, the drawing, what it shows."""
    gate = words.moisture_gate(shop)
    box = Table([[Paragraph(escape(gate.text), GATE)]], colWidths=["100%"])
    box.setStyle(
        TableStyle(
            [
                ("BOX", (0, 0), (-1, -1), 2.2 if gate.passed is False else 1.2, INK),
                ("BACKGROUND", (0, 0), (-1, -1), PALE),
                ("TOPPADDING", (0, 0), (-1, -1), 4),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 6),
            ]
        )
    )
    facts = Paragraph(
        escape(
            f"{size_sentence(survey, plan, settings.units)}. Mark A: {survey.datum.a_name}. Mark B: "
            f"{survey.datum.b_name}. {scale_sentence(survey, settings.units)}"
        ),
        TEXT,
    )
    cautions = [
        Paragraph(f"<b>{escape(line)}</b>", TEXT)
        for line in words.setting_out_cautions(survey, plan, settings.units)
    ]
    figure = SlabFigure(survey, plan, settings.units, height)
    return [box, Spacer(1, 5), facts, *cautions, Spacer(1, 5), figure]


def _key_table(survey: Survey, plan: Plan, settings: SheetSettings) -> list[Flowable]:
    if not plan.keys:
        return [Paragraph("Keys", TITLE), Paragraph("No keys are suggested for this slab.", TEXT)]
    unit = "inches" if settings.units == "in" else "millimetres"
    about = Paragraph(
        f"Lengths in {unit}. x and y are the middle of the waist, from mark A, x toward mark B; the angle is "
        "the key's length and grain, anticlockwise from x. Tape: straight from the marks, and along the slab "
        "from its ends as the drawing lies.",
        TEXT,
    )
    rows = tables.key_rows(survey, plan, settings)
    table = table_of([tables.KEY_TABLE_HEAD, *rows], size=10, left=(0, 1, 12), close=len(rows) > _ROWS_WIDE)
    return [Paragraph("Keys", TITLE), about, Spacer(1, 4), table]


def _tape_checks(survey: Survey, plan: Plan, settings: SheetSettings) -> list[Flowable]:
    unit = "in" if settings.units == "in" else "mm"
    rows = [
        ["Measure", f"sheet [{unit}]", f"slab [{unit}]"],
        *([*row, ""] for row in tables.tape_rows(survey, plan, settings)),
    ]
    return [KeepTogether(
        [Paragraph("Tape checks", TITLE), table_of(rows, size=10, left=(0,), widths=(None, None, 70.0)),
         *bullets(words.tape_limits(survey, settings.units))])]


def _look_at(plan: Plan, settings: SheetSettings) -> list[Flowable]:
    """What is to be looked at before anything is cut."""
    looked_at = [
        *tables.failing_checks(plan, settings.units),
        *(in_words_for(words.as_sentence(warning), settings.units) for warning in plan.warnings),
        *(in_words_for(sentence, settings.units) for sentence in words.unheld_sentences(plan)),
    ]
    return section("Look at before cutting", looked_at) if looked_at else []


def _tools_and_stock(plan: Plan, shop: Shop, settings: SheetSettings) -> list[Flowable]:
    flow = section("Tools", words.tool_sentences(plan, shop, settings.units, settings.datum_ring))
    if not plan.keys:
        return flow
    layout = plan.stock or StockLayout(())
    unit = "in" if settings.units == "in" else "mm"
    kinds = table_of(
        [["Size", "Keys", f"Length [{unit}]", "Width", "Thickness"], *tables.cut_list(plan, settings)],
        size=10,
        left=(0,),
    )
    boards = [
        [*row[:2], Paragraph(escape(row[2]), TEXT), *row[3:5], Paragraph(escape(row[5]), TEXT)]
        for row in tables.board_rows(layout, settings)
    ]
    head = ["Board", "From", "Wood", f"Size [{unit}]", "Thick", "Keys"]
    board_table = table_of(
        [head, *boards], size=10, left=(0, 1, 2, 3, 5), widths=(42.0, 52.0, 56.0, 94.0, 44.0, None)
    )
    proud = show_length(shop.fit.proud, settings.units)
    note = Paragraph(
        f"Grain along the length of every key and every board. Keys are {proud} thicker than their "
        "pockets are deep, to be planed flush.",
        TEXT,
    )
    return [
        *flow,
        KeepTogether([Paragraph("Keys to cut", TITLE), note, Spacer(1, 3), kinds]),
        Spacer(1, 6),
        board_table,
        Spacer(1, 3),
        *bullets([*tables.hold_sentences(layout, settings), *tables.left_over_sentences(layout)]),
    ]
