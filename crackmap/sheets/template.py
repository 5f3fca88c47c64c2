"""The 1:1 template: paper to lay on the slab, for those who check by eye or cut by hand.

Terminology
-----------
Tile     the part of the slab that one page shows.
Overlap  a strip that neighbouring tiles both show; crosses in its middle are laid on one another.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from crackmap.errors import SheetError
from crackmap.frames import turned
from crackmap.keys.outline import to_points
from crackmap.records import FloatArray, Plan, Survey, frozen_array
from crackmap.settings import SheetSettings, nearest_hint
from crackmap.sheets.picture_view import lips
from crackmap.sheets.plan_mark import plan_mark
from crackmap.sheets.print_scale import BOLD, FONT, MARGIN, draw_bar, new_canvas, page_size, write_lines
from crackmap.sheets.words import figure_turn
from crackmap.units import show_length

PAPERS = ("a4", "letter")
OVERLAP = 16.0  # wide enough to tape, and for a cross that both tiles show whole [mm]
_FOOT = 17.0  # under the tile: its name and the check bar [mm]
_CROSS = 5.0  # half length of a cross [mm]
_CHORD = 0.02  # of arcs [mm]
_MOST_PAGES = 200


_BEYOND = 200.0  # written round a window, so that a pocket in it is written whole [mm]


@dataclass(frozen=True, slots=True)
class Tile:
    """One page's part of the slab, in the frame turned to lie as in the photo."""

    column: int
    row: int  # from the bottom
    low: tuple[float, float]  # lower left corner [mm]

    @property
    def name(self) -> str:
        """A letter for the row, a number for the column: B3."""
        return f"{chr(ord('A') + self.row % 26)}{self.column + 1}"


@dataclass(frozen=True, slots=True)
class Tiling:
    """The tiles that show something to cut or to find."""

    tiles: tuple[Tile, ...]
    window: tuple[float, float]  # width and height of a tile [mm]
    turn: float  # by which slab points are turned [deg]


def template_pdf(survey: Survey, plan: Plan, settings: SheetSettings) -> bytes:
    """Pockets, datum marks, cracks and slab edge at true size, tiled over pages.

    Only tiles with a pocket or a datum mark are printed, and those that join
    them; the first page shows how they lie. Every tile bears a check bar.

    Raises
    ------
    SheetError
        If the paper is unknown, or the slab would take too many pages.
    """
    tiling = lay_tiles(survey, plan, settings)
    stream = io.BytesIO()
    page = page_size(settings.paper, landscape=True)
    canvas = new_canvas(stream, page, f"Template 1:1, {survey.photo.file}")
    canvas.scale(mm, mm)
    _overview(canvas, page, tiling, survey, plan, settings)
    canvas.showPage()
    for tile in tiling.tiles:
        canvas.scale(mm, mm)
        _draw_tile(canvas, tile, tiling, survey, plan)
        _draw_foot(canvas, page, tile, plan, settings)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def lay_tiles(survey: Survey, plan: Plan, settings: SheetSettings) -> Tiling:
    """The tiles of the template, row by row from the lower left.

    Raises
    ------
    SheetError
        See `template_pdf`.
    """
    if settings.paper not in PAPERS:
        raise SheetError(f"unknown paper {settings.paper!r}{nearest_hint(settings.paper, list(PAPERS))}")
    page = page_size(settings.paper, landscape=True)
    window = page[0] - 2.0 * MARGIN, page[1] - 2.0 * MARGIN - _FOOT
    turn = figure_turn(survey)
    outline = turned(survey.outline, turn)
    wanted = shapely.union_all(_wanted(survey, plan, turn))
    low = np.minimum(outline.min(axis=0), wanted.bounds[:2])
    high = np.maximum(outline.max(axis=0), wanted.bounds[2:])
    step = window[0] - OVERLAP, window[1] - OVERLAP
    counts = [max(1, math.ceil((high[i] - low[i] - OVERLAP) / step[i])) for i in (0, 1)]
    tiles = []
    for row in range(counts[1]):
        for column in range(counts[0]):
            corner = float(low[0] + column * step[0]), float(low[1] + row * step[1])
            # A tile is wanted for what lies on its own side of the overlaps' middles.
            core = shapely.box(corner[0], corner[1], corner[0] + window[0], corner[1] + window[1])
            if shapely.intersects(core.buffer(-OVERLAP / 2.0), wanted):
                tiles.append(Tile(column, row, corner))
    if len(tiles) > _MOST_PAGES:
        raise SheetError(
            f"the template would take {len(tiles)} pages; check the scale of the photo, or leave it out."
        )
    return Tiling(tuple(tiles), window, turn)


def _wanted(survey: Survey, plan: Plan, turn: float) -> list[Any]:
    """What must be on paper: pockets and marks, and lines that join them all to the line from A to B."""
    a, b = turned(np.array([survey.datum.a, survey.datum.b]), turn)
    ahead = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    wanted: list[Any] = [shapely.Point(*mark).buffer(2.0 * _CROSS) for mark in (a, b)]
    feet = [a, b]
    for key in plan.keys:
        wanted.append(shapely.Polygon(turned(to_points(key.pocket, _CHORD), turn)).buffer(2.0))
        middle = turned(key.centre, turn)[0]
        feet.append(a + float((middle - a) @ ahead) * ahead)
        wanted.append(shapely.LineString([middle, feet[-1]]))
    feet.sort(key=lambda foot: float((foot - a) @ ahead))
    return [*wanted, shapely.LineString([feet[0], feet[-1]])]


def _draw_tile(canvas: Canvas, tile: Tile, tiling: Tiling, survey: Survey, plan: Plan) -> None:
    """The window's frame, and in it all that the slab has there."""
    left, foot = MARGIN, MARGIN + _FOOT
    width, height = tiling.window
    canvas.saveState()
    canvas.translate(left, foot)
    canvas.setLineWidth(0.15)
    canvas.setStrokeGray(0.6)
    canvas.rect(0, 0, width, height)
    clip = canvas.beginPath()
    clip.rect(0, 0, width, height)
    canvas.clipPath(clip, stroke=0, fill=0)

    def here(points: Any) -> FloatArray:
        return frozen_array(turned(points, tiling.turn) - tile.low)

    canvas.setStrokeGray(0.0)
    canvas.setLineWidth(0.4)
    _line(canvas, here(survey.outline), True, tiling.window)
    canvas.setStrokeGray(0.45)
    canvas.setLineWidth(0.2)
    for crack in survey.cracks:
        for lip in lips(crack.centreline, crack.width):
            _line(canvas, here(lip), False, tiling.window)
    for void in survey.voids:
        _line(canvas, here(void.polygon), True, tiling.window)
    canvas.setStrokeGray(0.0)
    for key in plan.keys:
        canvas.setLineWidth(0.3)
        _line(canvas, here(to_points(key.pocket, _CHORD)), True, tiling.window)
        _draw_key_middle(canvas, here(key.centre)[0], key.angle_deg + tiling.turn, key.id, key.shape.waist)
    canvas.setLineWidth(0.15)
    canvas.setDash(6, 3)
    _line(canvas, here(np.array([survey.datum.a, survey.datum.b])), False, tiling.window)
    canvas.setDash()
    for name, mark in (("A", survey.datum.a), ("B", survey.datum.b)):
        _draw_mark(canvas, here(mark)[0], name)
    _draw_crosses(canvas, tiling)
    canvas.restoreState()


def _line(canvas: Canvas, points: FloatArray, close: bool, window: tuple[float, float]) -> None:
    """A line, of which only what lies in or near the window is written: a slab has more points than a page needs."""
    ring = np.concatenate([points, points[:1]]) if close else points
    seen = shapely.clip_by_rect(shapely.LineString(ring), -_BEYOND, -_BEYOND, window[0] + _BEYOND, window[1] + _BEYOND)
    path = canvas.beginPath()
    for part in shapely.get_parts(seen):
        corners = shapely.get_coordinates(part).tolist()
        if len(corners) < 2:
            continue
        path.moveTo(*corners[0])
        for corner in corners[1:]:
            path.lineTo(*corner)
    canvas.drawPath(path, stroke=1, fill=0)


def _draw_key_middle(canvas: Canvas, at: FloatArray, angle_deg: float, name: str, waist: float) -> None:
    """The waist's middle, the key's two axes and its number."""
    canvas.saveState()
    canvas.translate(*at)
    canvas.setLineWidth(0.15)
    canvas.saveState()
    canvas.rotate(angle_deg)
    canvas.line(-0.9 * waist, 0, 0.9 * waist, 0)
    canvas.line(0, -0.75 * waist, 0, 0.75 * waist)
    canvas.restoreState()
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 5.0)
    a = math.radians(angle_deg)
    canvas.drawCentredString(1.4 * waist * math.cos(a), 1.4 * waist * math.sin(a) - 1.8, name)
    canvas.restoreState()


def _draw_mark(canvas: Canvas, at: FloatArray, name: str) -> None:
    x, y = (float(v) for v in at)
    canvas.setLineWidth(0.2)
    canvas.circle(x, y, _CROSS / 2.0, stroke=1, fill=0)
    canvas.lines([(x - _CROSS, y, x + _CROSS, y), (x, y - _CROSS, x, y + _CROSS)])
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 5.0)
    canvas.drawString(x + _CROSS, y + 1.5, name)


def _draw_crosses(canvas: Canvas, tiling: Tiling) -> None:
    """A cross in the middle of each corner where overlaps meet: neighbours show the same ones."""
    width, height = tiling.window
    canvas.setLineWidth(0.2)
    for x in (OVERLAP / 2.0, width - OVERLAP / 2.0):
        for y in (OVERLAP / 2.0, height - OVERLAP / 2.0):
            canvas.lines([(x - _CROSS, y, x + _CROSS, y), (x, y - _CROSS, x, y + _CROSS)])


def _draw_foot(canvas: Canvas, page: tuple[float, float], tile: Tile, plan: Plan, settings: SheetSettings) -> None:
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 7.0)
    canvas.drawString(MARGIN, MARGIN + 4.0, tile.name)
    draw_bar(canvas, MARGIN + 25.0, MARGIN + 5.0, settings.paper)
    canvas.setFillGray(0)
    canvas.setFont(FONT, 3.3)
    canvas.drawRightString(
        page[0] - MARGIN, MARGIN + 5.0,
        f"Plan {plan_mark(plan)}. True size: print at 100 %, then lay a rule on the bar."
    )


def _overview(
    canvas: Canvas,
    page: tuple[float, float],
    tiling: Tiling,
    survey: Survey,
    plan: Plan,
    settings: SheetSettings,
) -> None:
    """How the tiles lie, small, and how to join them."""
    canvas.setFillGray(0)
    canvas.setFont(BOLD, 6.0)
    canvas.drawString(MARGIN, page[1] - MARGIN - 6.0, f"Template 1:1, plan {plan_mark(plan)}, {survey.photo.file}"[:90])
    apart = show_length(float(np.hypot(*(survey.datum.b - survey.datum.a))), settings.units)
    lines = [
        f"{len(tiling.tiles)} tiles. Print at 100 %, never fitted to the page: every bar must measure true.",
        "Lay the tiles cross on cross and tape them. Then lay A and B on the marks in the wood.",
        f"Measure A to B on the paper: {apart}. Paper grows in damp air: if it is off, trust the tape.",
    ]
    below = write_lines(canvas, MARGIN, page[1] - MARGIN - 15.0, lines, 3.6)
    corners = np.array([[tile.low, np.add(tile.low, tiling.window)] for tile in tiling.tiles]).reshape(-1, 2)
    outline = turned(survey.outline, tiling.turn)
    every = np.concatenate([corners, outline])
    low, span = every.min(axis=0), np.ptp(every, axis=0)
    factor = min((page[0] - 2.0 * MARGIN) / span[0], (below - MARGIN - 4.0) / span[1])

    def small(points: FloatArray) -> FloatArray:
        return frozen_array((points - low) * factor + MARGIN)

    canvas.setLineWidth(0.3)
    _line(canvas, small(outline), True, page)
    canvas.setLineWidth(0.2)
    for key in plan.keys:
        _line(canvas, small(turned(to_points(key.pocket, 0.2), tiling.turn)), True, page)
    canvas.setStrokeGray(0.55)
    canvas.setFont(BOLD, 5.0)
    for tile in tiling.tiles:
        (x0, y0), (x1, y1) = small(np.array([tile.low, np.add(tile.low, tiling.window)]))
        canvas.rect(x0, y0, x1 - x0, y1 - y0)
        canvas.drawString(x0 + 2.0, y1 - 6.0, tile.name)
