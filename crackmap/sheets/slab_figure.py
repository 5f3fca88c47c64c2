"""The slab to a stated scale, for a printed page: edge, cracks, keys with numbers, datum marks."""

from __future__ import annotations

from typing import Any

import numpy as np
from reportlab.lib.colors import Color
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable

from crackmap.frames import turned
from crackmap.keys.outline import to_points
from crackmap.records import FloatArray, Plan, Survey
from crackmap.sheets.label_places import LabelField, LabelPlace
from crackmap.sheets.picture_view import lips
from crackmap.sheets.words import figure_turn, round_length
from crackmap.units import MM_PER_INCH, show_length

FONT, BOLD = "Helvetica", "Helvetica-Bold"
NUMBER = 12.0  # size of the keys' numbers: read at arm's length [pt]
SMALL = 9.0  # of other texts in the figure [pt]
# ISO 5455 recommends the first of each decade's 1, 2, 5; the others save paper.
SCALES = (1.0, 2.0, 2.5, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0)
_CAPITAL = 0.72  # height of a capital over the font's size
_DIMENSION = 22.0  # room for a dimension line and its figure [pt]
_INK, _GREY, _PALE = Color(0, 0, 0), Color(0.42, 0.42, 0.42), Color(0.88, 0.88, 0.88)


class SlabFigure(Flowable):  # type: ignore[misc]
    """A flowable of a given height, as wide as its frame; slab points turn to lie as in the photo."""

    def __init__(self, survey: Survey, plan: Plan, units: str, height: float) -> None:
        super().__init__()
        self._survey, self._plan, self._units = survey, plan, units
        self._turn = figure_turn(survey)
        self.height = height
        self.width = 0.0
        self.scale = 1.0  # 1 : scale

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Take the whole width; choose the largest scale of `SCALES` that fits. [pt]"""
        self.width, self.height = available_width, min(self.height, available_height)
        low, high = self._bounds()
        room = np.array([self.width - _DIMENSION - 12.0, self.height - 2.6 * _DIMENSION])
        needed = float(((high - low) * mm / room).max())
        self.scale = next((scale for scale in SCALES if scale >= needed), float(np.ceil(needed)))
        return self.width, self.height

    def draw(self) -> None:
        """Draw on the canvas, origin at the figure's lower left corner."""
        low, high = self._bounds()
        size = (high - low) * mm / self.scale
        self._low = low
        self._corner = np.array(
            [
                (self.width - _DIMENSION - size[0]) / 2.0,
                2.0 * _DIMENSION + max(0.0, (self.height - 2.6 * _DIMENSION - size[1]) / 2.0),
            ]
        )
        field = LabelField((self.width, self.height), 2.0)
        self._draw_slab(field)
        self._draw_keys(field)
        self._draw_dimensions(field)
        self._draw_foot(field)
        self._draw_datum(field)
        self._number_keys(field)

    def _bounds(self) -> tuple[FloatArray, FloatArray]:
        datum = np.array([self._survey.datum.a, self._survey.datum.b])
        points = turned(np.concatenate([self._survey.outline, datum]), self._turn)
        return points.min(axis=0), points.max(axis=0)

    def _page(self, points: Any) -> FloatArray:
        """Slab points to the figure. [mm] -> [pt]"""
        return np.asarray((turned(points, self._turn) - self._low) * mm / self.scale + self._corner)

    def _path(self, points: FloatArray, closed: bool = True) -> Any:
        path = self.canv.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if closed:
            path.close()
        return path

    def _draw_slab(self, field: LabelField) -> None:
        canvas = self.canv
        canvas.setLineJoin(1)
        outline = self._page(self._survey.outline)
        canvas.setStrokeColor(_INK)
        canvas.setLineWidth(1.3)
        canvas.drawPath(self._path(outline), stroke=1, fill=0)
        field.burden_line(outline, 3.0, closed=True)
        canvas.setLineWidth(0.5)
        for void in self._survey.voids:
            polygon = self._page(void.polygon)
            canvas.setFillColor(_PALE)
            canvas.drawPath(self._path(polygon), stroke=1, fill=1)
            self._hatch(polygon)
            field.burden_area(polygon, 1.0)
        canvas.setFillColor(_GREY)
        canvas.setStrokeColor(_GREY)
        for crack in self._survey.cracks:
            left, right = lips(crack.centreline, crack.width)
            canvas.drawPath(self._path(self._page(np.concatenate([left, right[::-1]]))), stroke=1, fill=1)
            field.burden_line(self._page(crack.centreline), 2.0)

    def _hatch(self, polygon: FloatArray) -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.clipPath(self._path(polygon), stroke=0, fill=0)
        (x0, y0), (x1, y1) = polygon.min(axis=0), polygon.max(axis=0)
        for start in np.arange(x0 - (y1 - y0), x1, 3.0):
            canvas.line(start, y0, start + (y1 - y0), y1)
        canvas.restoreState()

    def _draw_keys(self, field: LabelField) -> None:
        canvas = self.canv
        canvas.setLineWidth(1.0)
        canvas.setStrokeColor(_INK)
        outlines = [self._page(to_points(key.pocket, 0.1)) for key in self._plan.keys]
        for outline in outlines:
            canvas.setFillColor(Color(1, 1, 1, 0.45))
            canvas.drawPath(self._path(outline), stroke=1, fill=1)
            field.burden_area(outline, 2.5)
        for key in self._plan.keys:
            self._cross(self._page(key.centre)[0], 2.5)

    def _number_keys(self, field: LabelField) -> None:
        for key in self._plan.keys:
            middle = self._page(key.centre)[0]
            outline = self._page(to_points(key.pocket, 0.5))
            reach = 0.5 * float(np.hypot(*(outline - middle).T).mean())
            self._label(field, key.id, (float(middle[0]), float(middle[1])), reach, NUMBER, BOLD)

    def _label(
        self, field: LabelField, text: str, at: tuple[float, float], clear: float, size: float, font: str
    ) -> None:
        """A text on white beside a point, with a leader where it stands apart."""
        box = stringWidth(text, font, size) + 3.0, size * 0.95
        place = field.place(at, box, clear)
        if place is None:  # the page is full: better over a line than left out
            place = field.place(at, box, 0.0) or _forced(at, box)
        canvas = self.canv
        if place.leader is not None:
            canvas.setLineWidth(0.6)
            canvas.setStrokeColor(_INK)
            canvas.line(*place.leader[0], *place.leader[1])
        x0, y0, x1, y1 = place.box
        canvas.setFillColor(Color(1, 1, 1))
        canvas.rect(x0, y0, x1 - x0, y1 - y0, stroke=0, fill=1)
        canvas.setFillColor(_INK)
        canvas.setFont(font, size)
        canvas.drawString(x0 + 1.5, (y0 + y1 - _CAPITAL * size) / 2.0, text)

    def _draw_datum(self, field: LabelField) -> None:
        canvas = self.canv
        a, b = self._page([self._survey.datum.a, self._survey.datum.b])
        canvas.setStrokeColor(_GREY)
        canvas.setLineWidth(0.6)
        canvas.setDash(6, 3)
        canvas.line(*a, *b)
        canvas.setDash()
        field.burden_line([a, b], 0.6)
        self._draw_axes(field, a, b)
        outward = 9.0 * (b - a) / max(float(np.hypot(*(b - a))), 1e-9)  # marks may lie close: their letters part
        for name, at, beside in (("A", a, a - outward), ("B", b, b + outward)):
            canvas.setStrokeColor(_INK)
            canvas.setLineWidth(1.0)
            canvas.circle(*at, 4.0, stroke=1, fill=0)
            self._cross(at, 7.0)
            field.burden_line([at, at], 4.0, 10.0)
            self._label(field, name, (float(beside[0]), float(beside[1])), 2.0, NUMBER, BOLD)

    def _draw_axes(self, field: LabelField, a: FloatArray, b: FloatArray) -> None:
        """Which way x and y run from mark A."""
        along = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        for name, way in (("x", along), ("y", np.array([-along[1], along[0]]))):
            tip = a + 30.0 * way
            self._arrow(a, tip)
            field.burden_line([a, tip], 2.0, 4.0)
            self._label(field, name, (float(tip[0]), float(tip[1])), 1.0, SMALL + 1.0, FONT)

    def _arrow(self, foot: FloatArray, tip: FloatArray) -> None:
        canvas = self.canv
        canvas.setStrokeColor(_INK)
        canvas.setLineWidth(1.0)
        canvas.line(*foot, *tip)
        back = np.arctan2(*(foot - tip)[::-1])
        for side in (-0.45, 0.45):
            canvas.line(*tip, *(tip + 6.0 * np.array([np.cos(back + side), np.sin(back + side)])))

    def _cross(self, at: FloatArray, reach: float) -> None:
        x, y = (float(v) for v in at)
        self.canv.setStrokeColor(_INK)
        self.canv.line(x - reach, y, x + reach, y)
        self.canv.line(x, y - reach, x, y + reach)

    def _draw_dimensions(self, field: LabelField) -> None:
        """Length and width over all, under the slab and to its right."""
        (x0, y0), (x1, y1) = (f(self._page(self._survey.outline), axis=0) for f in (np.min, np.max))
        length, width = np.ptp(turned(self._survey.outline, self._turn), axis=0)
        canvas = self.canv
        canvas.setStrokeColor(_GREY)
        canvas.setFillColor(_INK)
        canvas.setLineWidth(0.5)
        canvas.setFont(FONT, SMALL)
        y, x = y0 - 12.0, x1 + 12.0
        canvas.lines(
            [
                (x0, y, x1, y),
                (x0, y - 4, x0, y0 - 3),
                (x1, y - 4, x1, y0 - 3),
                (x, y0, x, y1),
                (x - 9, y0, x + 4, y0),
                (x - 9, y1, x + 4, y1),
            ]
        )
        canvas.drawCentredString((x0 + x1) / 2.0, y - SMALL - 1.0, show_length(float(length), self._units, 0))
        field.take((x0, y - SMALL - 4.0, x1, y + 2.0))
        canvas.saveState()
        canvas.translate(x + SMALL + 1.0, (y0 + y1) / 2.0)
        canvas.rotate(90)
        canvas.drawCentredString(0, 0, show_length(float(width), self._units, 0))
        canvas.restoreState()
        field.take((x - 2.0, y0, min(self.width, x + SMALL + 4.0), y1))

    def _draw_foot(self, field: LabelField) -> None:
        """The scale in words and as a bar, and the grain."""
        canvas = self.canv
        bar_mm = self._bar()
        bar, y = bar_mm * mm / self.scale, 4.0
        canvas.setFillColor(_INK)
        canvas.setFont(BOLD, SMALL + 1.0)
        words = f"Scale 1 : {self.scale:g}"
        canvas.drawString(0, y, words)
        x = stringWidth(words, BOLD, SMALL + 1.0) + 14.0
        canvas.setLineWidth(0.8)
        canvas.setStrokeColor(_INK)
        for part in range(4):
            canvas.setFillColor(_INK if part % 2 == 0 else Color(1, 1, 1))
            canvas.rect(x + bar * part / 4.0, y, bar / 4.0, 5.0, stroke=1, fill=1)
        canvas.setFillColor(_INK)
        canvas.setFont(FONT, SMALL)
        canvas.drawString(x + bar + 6.0, y, round_length(bar_mm, self._units))
        self._draw_grain(x + bar + 110.0, y + 3.0)
        field.take((0.0, 0.0, self.width, 14.0))

    def _draw_grain(self, x: float, y: float) -> None:
        canvas = self.canv
        canvas.drawString(x, y - 3.0, "Grain")
        a = np.radians(self._survey.grain_deg + self._turn)
        ahead = np.array([np.cos(a), np.sin(a)]) * 20.0
        middle = np.array([x + 55.0, y])
        for sign in (-1.0, 1.0):
            self._arrow(middle, middle + sign * ahead)

    def _bar(self) -> float:
        """A round length of about a fifth of the page. [mm]"""
        unit = MM_PER_INCH if self._units == "in" else 10.0
        most = self.width / 5.0 * self.scale / mm
        return max((step * unit for step in (1, 2, 5, 10, 20, 50, 100) if step * unit <= most), default=unit)


def _forced(at: tuple[float, float], box: tuple[float, float]) -> LabelPlace:
    return LabelPlace((at[0] - box[0] / 2, at[1] - box[1] / 2, at[0] + box[0] / 2, at[1] + box[1] / 2), None)
