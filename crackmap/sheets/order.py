"""The order of outlines in a file, which many CAM programs keep, and texts as strokes where wanted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from crackmap.errors import SheetError
from crackmap.keys.outline import to_points
from crackmap.records import FloatArray
from crackmap.settings import SheetSettings, nearest_hint
from crackmap.sheets.drawing import CUT_LAYERS, NOTES, Drawing, Note, Outline, Shape, open_path
from crackmap.sheets.stroke_font import text_strokes, text_width

INNER_FIRST, OUTER_FIRST, SHORTEST_WAY = ORDERS = ("inner-first", "outer-first", "shortest-way")
_CHORD = 0.5  # of arcs, where only it counts what lies in what [mm]
_ROUNDS = 20  # of looking for a shorter way; it settles in a few


def made_ready(title: str, shapes: Sequence[Shape], settings: SheetSettings) -> Drawing:
    """The shapes as a drawing: outlines in the order of `settings.order`, texts as strokes where asked.

    Raises
    ------
    SheetError
        If the order is unknown.
    """
    if settings.order not in ORDERS:
        raise SheetError(f"unknown order of outlines {settings.order!r}{nearest_hint(settings.order, list(ORDERS))}")
    outlines = [shape for shape in shapes if isinstance(shape, Outline)]
    rest = [shape for shape in shapes if not isinstance(shape, Outline)]
    ready = [*_ordered(outlines, settings.order), *rest]
    return Drawing(title, tuple(_as_strokes(ready) if settings.stroke_texts else ready))


def _ordered(outlines: list[Outline], order: str) -> list[Outline]:
    inside = _nesting(outlines)
    sign = 1 if order == OUTER_FIRST else -1
    nested = sorted(range(len(outlines)), key=lambda n: sign * inside[n])  # stable: else as they came
    if order == SHORTEST_WAY:
        cut = [n for n in nested if outlines[n].layer.split("_")[0] in CUT_LAYERS]
        middles = np.array([_middle(outlines[n]) for n in cut]).reshape(-1, 2)
        way = [cut[n] for n in short_way(middles)]
        nested = [*way, *(n for n in nested if n not in set(cut))]
    return [outlines[n] for n in nested]


def _nesting(outlines: list[Outline]) -> list[int]:
    """In how many of the others each outline lies."""
    areas = np.array([shapely.Polygon(to_points(outline.rows, _CHORD)) for outline in outlines], object)
    if not len(areas):
        return []
    shapely.prepare(areas)
    firsts = shapely.points([outline.rows[0, :2] for outline in outlines])
    size = shapely.area(areas)
    holds = shapely.intersects(areas[:, None], firsts[None, :]) & (size[:, None] > size[None, :])
    return [int(n) for n in holds.sum(axis=0)]


def _middle(outline: Outline) -> FloatArray:
    return np.asarray((outline.rows[:, :2].min(axis=0) + outline.rows[:, :2].max(axis=0)) / 2.0)


def short_way(points: FloatArray) -> list[int]:
    """A short way through all points (N, 2) from the one nearest to the origin.

    To the nearest point next, then pieces of the way are turned round while that makes it shorter.
    """
    if len(points) < 2:
        return list(range(len(points)))
    apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    way = [int(np.argmin(np.hypot(*points.T)))]
    while len(way) < len(points):
        far = apart[way[-1]].copy()
        far[way] = np.inf
        way.append(int(np.argmin(far)))
    for _ in range(_ROUNDS):
        if not _turn_pieces(way, apart):
            break
    return way


def _turn_pieces(way: list[int], apart: FloatArray) -> bool:
    """Turn round each piece of the way, in place, whose turning makes it shorter; True if one was."""
    turned = False
    for i in range(1, len(way) - 1):
        for j in range(i + 1, len(way)):
            before = apart[way[i - 1], way[i]] + (apart[way[j], way[j + 1]] if j + 1 < len(way) else 0.0)
            after = apart[way[i - 1], way[j]] + (apart[way[i], way[j + 1]] if j + 1 < len(way) else 0.0)
            if after < before - 1e-9:
                way[i : j + 1] = way[i : j + 1][::-1]
                turned = True
    return turned


def _as_strokes(shapes: Sequence[Shape]) -> list[Shape]:
    """The shapes with each text as lines."""
    drawn: list[Shape] = []
    for shape in shapes:
        if not isinstance(shape, Note):
            drawn.append(shape)
            continue
        left = shape.at[0] - (text_width(shape.text, shape.height) / 2.0 if shape.centred else 0.0)
        for stroke in text_strokes(shape.text, shape.height):
            drawn += open_path(NOTES, stroke + [left, shape.at[1]])
    return drawn
