"""The underside with every place to tape or dam before the pour, as seen once the slab is turned over."""

from __future__ import annotations

import numpy as np
import shapely

from crackmap.records import Dam, FloatArray, ImageArray, Plan, RectifiedPhoto, Survey
from crackmap.scale.mapping import Mapping
from crackmap.settings import SheetSettings
from crackmap.sheets.label_places import LabelField
from crackmap.sheets.lettering import DARK, LIGHT, Lettering, plate_size, wrapped
from crackmap.sheets.palette import EDGE, INK, PAPER, QUIET, Colour
from crackmap.sheets.picture_view import View, crop_to_slab, fill, stroke
from crackmap.sheets.signs import line_width, text_size
from crackmap.sheets.words import dam_sentence

_WOOD: Colour = (226, 208, 178)  # of the plain slab where there is no photo
_WIDTH_PX = 1800
_MARGIN = 0.04  # round the slab, share of its longer side [-]
_END_BAR = 18.0  # of the sign for a dam at the slab's end, each way from the crack [mm]


def dam_map_picture(under: RectifiedPhoto | None, survey: Survey, plan: Plan, settings: SheetSettings) -> ImageArray:
    """Tape over every opening below and dams at the slab's ends, numbered, with a list.

    Parameters
    ----------
    under : RectifiedPhoto or None
        The underside's photo to scale; without it the slab is drawn plain,
        turned over its long side, with what may come out.
    survey, plan
        Of the show face; `plan.resin.dams` are drawn.
    settings : SheetSettings
        The unit of the texts.

    Returns
    -------
    picture : ndarray of uint8, shape (H, W, 3)
        RGB.
    """
    view, to_view = _ground(under, survey, settings)
    size = text_size(view)
    width = line_width(size)
    per_mm = view.px_per_mm()
    field = LabelField(view.size, size / 4.0)
    labels = []
    for dam in plan.resin.dams:
        line = to_view(dam.line)
        if dam.where == "below":
            tape = _tape(line, (dam.width / 2.0 + dam.margin) * per_mm)
            fill(view.pixels, tape, EDGE, 0.5 if dam.sure else 0.2)
            stroke(view.pixels, tape, INK, width, closed=True, dash=None if dam.sure else 0.5 * size)
            stroke(view.pixels, line, PAPER, width)
            field.burden_area(tape, 1.0)
            labels.append((dam, line[len(line) // 2]))
        else:
            bar = to_view(_end_bar(survey.outline, np.asarray(dam.line[0])))
            stroke(view.pixels, bar, EDGE, 3 * width)
            field.burden_line(bar, 3.0, 3.0 * width)
            labels.append((dam, line[0]))
    lettering = Lettering(view.pixels)
    for dam, at in labels:
        text = dam.name + ("" if dam.sure else "?")
        place = field.place((float(at[0]), float(at[1])), plate_size(text, size, True), 0.4 * size)
        if place is not None:
            lettering.plate(place.box, text, size, DARK if dam.sure else LIGHT, True)
    return np.concatenate([_heading(under, view.size[0], size), lettering.done(),
                           _listing(plan.resin.dams, view.size[0], size, settings.units)])


class _ToView:
    """Show-face millimetres to the picture's pixels."""

    def __init__(self, mapping: Mapping, matrix: FloatArray) -> None:
        self._mapping, self._matrix = mapping, matrix

    def __call__(self, points: FloatArray) -> FloatArray:
        rows = np.column_stack([np.asarray(points, float), np.ones(len(points))]) @ self._matrix.T
        return np.asarray(self._mapping.to_pixels(rows[:, :2]))


def _ground(under: RectifiedPhoto | None, survey: Survey, settings: SheetSettings) -> tuple[View, _ToView]:
    """The picture to draw on, and the way from show-face millimetres to its pixels."""
    other = survey.other_face
    if under is not None and other is not None:
        view = crop_to_slab(under, other.survey, settings.picture_side)
        edge = view.mapping.to_pixels(other.survey.outline)
        stroke(view.pixels, edge, PAPER, line_width(text_size(view)), closed=True)
        return view, _ToView(view.mapping, np.asarray(np.linalg.inv(other.under_to_show), float))
    low, high = survey.outline.min(axis=0), survey.outline.max(axis=0)
    margin = _MARGIN * float((high - low).max())
    s = _WIDTH_PX / (float(high[0] - low[0]) + 2.0 * margin)
    # Turned over its long side: x stays, y runs down the picture.
    mapping = Mapping(np.array([[s, 0.0, (margin - low[0]) * s], [0.0, s, (margin - low[1]) * s], [0.0, 0.0, 1.0]]))
    height = round((float(high[1] - low[1]) + 2.0 * margin) * s)
    view = View(np.full((height, _WIDTH_PX, 3), PAPER, np.uint8), mapping)
    outline = mapping.to_pixels(survey.outline)
    fill(view.pixels, outline, _WOOD)
    stroke(view.pixels, outline, INK, line_width(text_size(view)), closed=True)
    return view, _ToView(mapping, np.eye(3))


def _tape(line: FloatArray, reach: float) -> FloatArray:
    """Outline of the tape over an opening. [px]"""
    spine = shapely.linestrings(line) if len(line) > 1 else shapely.points(line[0])
    return np.asarray(shapely.get_coordinates(spine.buffer(reach, quad_segs=4).exterior)[:-1])


def _end_bar(outline: FloatArray, at: FloatArray) -> FloatArray:
    """A stretch of the slab's edge on either side of a crack's end, (N, 2). [mm]"""
    ring = shapely.Polygon(outline).exterior
    middle = ring.project(shapely.Point(at))
    reach = np.linspace(-_END_BAR, _END_BAR, 9)
    points = shapely.line_interpolate_point(ring, np.mod(middle + reach, ring.length))
    return np.asarray(shapely.get_coordinates(points))


def _heading(under: RectifiedPhoto | None, width: int, size: int) -> ImageArray:
    words = ("The underside as photographed." if under is not None else
             "The underside, as it lies when the slab is turned over its long side. Nobody has photographed it: what "
             "is marked may come out there. A photo of it (--underside) tells.")
    return _strip(["Tape and dams before the pour", words], width, size, first_bold=True)


def _listing(dams: tuple[Dam, ...], width: int, size: int, units: str) -> ImageArray:
    return _strip([*(dam_sentence(dam, units) for dam in dams),
                   "Tape dry, clean wood; press it down along the edges; try it with a little water where the wood "
                   "allows, and let that dry. Watch the underside while you pour."], width, size)


def _strip(texts: list[str], width: int, size: int, first_bold: bool = False) -> ImageArray:
    small = max(12, round(0.8 * size))
    lines = [line for text in texts for line in wrapped(text, width - 2 * size, small)]
    strip = Lettering(np.full((round(small * (1.5 * len(lines) + 1.2)), width, 3), PAPER, np.uint8))
    for number, line in enumerate(lines):
        bold = first_bold and number == 0
        strip.line((size, small * (1.35 + 1.5 * number)), line, small, INK if bold or not first_bold else QUIET, bold)
    return strip.done()
