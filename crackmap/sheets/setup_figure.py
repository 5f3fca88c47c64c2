"""One set-up, small, for a printed page: the bed, the slab on it, what is cut and by which marks it is found."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from reportlab.lib.colors import Color
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable

from crackmap.keys.outline import to_points
from crackmap.records import FloatArray, Plan, Setup, Survey
from crackmap.sheets.label_places import LabelField
from crackmap.sheets.slab_figure import BOLD, FONT
from crackmap.shop import Bed

_NUMBER, _SIDE = 10.0, 8.0  # sizes of the keys' numbers and of the sides' names [pt]
_BEYOND = 0.18  # how much of the slab is shown past the bed, of the bed's longer side [-]
_ROOM = 12.0  # round the figure, for the sides' names [pt]
_INK, _GREY, _PALE, _DARK = Color(0, 0, 0), Color(0.55, 0.55, 0.55), Color(0.9, 0.9, 0.9), Color(0.35, 0.35, 0.35)


class SetupFigure(Flowable):  # type: ignore[misc]
    """A flowable as wide as its frame; the bed as the operator sees it, its front below."""

    def __init__(self, survey: Survey, plan: Plan, setup: Setup, bed: Bed, height: float) -> None:
        super().__init__()
        self._survey, self._plan, self._setup, self._bed = survey, plan, setup, bed
        self.height = height
        self.width = 0.0

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Take the whole width. [pt]"""
        self.width = available_width
        return self.width, self.height

    def _machine(self, points: ArrayLike) -> FloatArray:
        matrix = self._setup.matrix
        return np.asarray(np.asarray(points, float).reshape(-1, 2) @ matrix[:2, :2].T + matrix[:2, 2])

    def draw(self) -> None:
        """Draw on the canvas, origin at the figure's lower left corner."""
        bed = np.array([(0.0, 0.0), (self._bed.x, 0.0), (self._bed.x, self._bed.y), (0.0, self._bed.y)])
        slab = self._machine(self._survey.outline)
        self._low, high = _view(self._survey, self._setup, self._bed)
        span = high - self._low
        room = np.array([self.width, self.height]) - 2.0 * _ROOM
        self._factor = float((room / span).min())
        self._corner = np.array([_ROOM, _ROOM]) + (room - span * self._factor) / 2.0
        field = LabelField((self.width, self.height), 2.0)
        canvas = self.canv
        canvas.saveState()
        frame = canvas.beginPath()
        frame.rect(*(self._corner - 1.0), *(span * self._factor + 2.0))
        canvas.clipPath(frame, stroke=0, fill=0)
        self._draw_slab(field, slab)
        self._draw_pockets(field)
        canvas.restoreState()
        self._draw_bed(field, bed)
        self._draw_marks(field)
        self._label_pockets(field)

    def _page(self, points: FloatArray) -> FloatArray:
        return np.asarray((points - self._low) * self._factor + self._corner)

    def _outline(self, points: FloatArray, fill: Color | None) -> None:
        path = self.canv.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        path.close()
        if fill is not None:
            self.canv.setFillColor(fill)
        self.canv.drawPath(path, stroke=1, fill=int(fill is not None))

    def _draw_slab(self, field: LabelField, slab: FloatArray) -> None:
        canvas = self.canv
        canvas.setStrokeColor(_INK)
        canvas.setLineWidth(0.8)
        canvas.setLineJoin(1)
        points = self._page(slab)
        self._outline(points, _PALE)
        field.burden_line(points, 2.0, closed=True)

    def _draw_bed(self, field: LabelField, bed: FloatArray) -> None:
        """The working area dashed, the sides' names outside it, clamps crossed."""
        canvas = self.canv
        corners = self._page(bed)
        canvas.setLineWidth(1.2)
        canvas.setDash(7, 3)
        self._outline(corners, None)
        canvas.setDash()
        field.burden_line(corners, 2.0, closed=True)
        canvas.setLineWidth(0.6)
        for x, y, long, wide in self._bed.clamps:
            box = self._page(np.array([(x, y), (x + long, y), (x + long, y + wide), (x, y + wide)]))
            self._outline(box, Color(1, 1, 1))
            canvas.lines([(*box[0], *box[2]), (*box[1], *box[3])])
            field.burden_area(box, 3.0)
        (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
        for name, at in (("front", ((x0 + x1) / 2.0, y0 - 6.0)), ("back", ((x0 + x1) / 2.0, y1 + 6.0))):
            self._label(field, name, at, 0.0, _SIDE, FONT)
        self._label(field, "0,0", (x0 - 8.0, y0 - 6.0), 0.0, _SIDE, FONT)

    def _draw_pockets(self, field: LabelField) -> None:
        canvas = self.canv
        canvas.setLineWidth(0.6)
        for key in self._plan.keys:
            points = self._page(self._machine(to_points(key.pocket, 0.3)))
            is_cut = key.id in self._setup.keys
            canvas.setStrokeColor(_INK if is_cut else _GREY)
            self._outline(points, _DARK if is_cut else Color(1, 1, 1))
            field.burden_area(points, 2.0 if is_cut else 0.7)

    def _draw_marks(self, field: LabelField) -> None:
        canvas = self.canv
        canvas.setStrokeColor(_INK)
        marks = [(mark, False) for mark in self._setup.marks] + [(mark, True) for mark in self._setup.to_drill]
        for mark, is_drilled in marks:
            x, y = (float(v) for v in self._page(self._machine(mark.at))[0])
            canvas.setLineWidth(1.0)
            canvas.setFillColor(Color(1, 1, 1))
            canvas.circle(x, y, 3.5, stroke=1, fill=1)
            reach = 3.5 if is_drilled else 6.0
            canvas.line(x - reach, y, x + reach, y)
            canvas.line(x, y - reach, x, y + reach)
            field.burden_line([(x, y), (x, y)], 6.0, 10.0)
        for mark, _ in marks:
            x, y = (float(v) for v in self._page(self._machine(mark.at))[0])
            self._label(field, mark.name, (x, y), 7.0, _NUMBER, BOLD)

    def _label_pockets(self, field: LabelField) -> None:
        for key in (key for key in self._plan.keys if key.id in self._setup.keys):
            x, y = (float(v) for v in self._page(self._machine(key.centre))[0])
            self._label(field, key.id, (x, y), 0.3 * key.shape.length * self._factor, _NUMBER, BOLD)

    def _label(self, field: LabelField, text: str, at: tuple[float, float], clear: float, size: float,
               font: str) -> Any:
        """A text on white beside a point; left out where the figure has no room for it."""
        place = field.place(at, (stringWidth(text, font, size) + 2.5, size * 0.95), clear)
        if place is None:
            return
        canvas = self.canv
        canvas.setStrokeColor(_INK)
        if place.leader is not None:
            canvas.setLineWidth(0.5)
            canvas.line(*place.leader[0], *place.leader[1])
        x0, y0, x1, y1 = place.box
        canvas.setFillColor(Color(1, 1, 1))
        canvas.rect(x0, y0, x1 - x0, y1 - y0, stroke=0, fill=1)
        canvas.setFillColor(_INK)
        canvas.setFont(font, size)
        canvas.drawString(x0 + 1.2, (y0 + y1 - 0.72 * size) / 2.0, text)


def _view(survey: Survey, setup: Setup, bed: Bed) -> tuple[FloatArray, FloatArray]:
    """Lower left and upper right corner of what is shown: the bed, and of the slab what lies on it or near it. [mm]"""
    slab = survey.outline @ setup.matrix[:2, :2].T + setup.matrix[:2, 2]
    size = np.array([bed.x, bed.y])
    beyond = _BEYOND * max(bed.x, bed.y)
    low = np.minimum(0.0, np.maximum(slab.min(axis=0), -beyond))
    high = np.maximum(size, np.minimum(slab.max(axis=0), size + beyond))
    return low, high


def figure_height(survey: Survey, setup: Setup, bed: Bed, width: float) -> float:
    """Height that suits the figure in a column `width` wide: no more than it fills. [pt]

    Widths and heights in PDF points.
    """
    low, high = _view(survey, setup, bed)
    wanted = (width - 2.0 * _ROOM) * (high - low)[1] / (high - low)[0] + 2.0 * _ROOM
    return float(np.clip(wanted, 35.0 * mm, 66.0 * mm))
