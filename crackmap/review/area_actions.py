"""Actions on areas: the slab's outline, the finished top, what is kept out; and the choice of a plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shapely import Polygon

from crackmap.errors import ReviewError
from crackmap.records import FloatArray, KeepOut, frozen_array
from crackmap.review.ask import Ask, Asked, Change

_LEAST_AREA = 100.0  # a smaller outline is a slip of the hand [mm2]
_MOST_NOTE = 500  # letters
_MOST_SCREWS = 200


def finished_top(ask: Ask) -> Change:
    """The outline to which the top will be trimmed; null: the whole slab."""
    if not ask.asked.has("outline"):
        return Change(replace(ask.edits, finished_top=None), "finished top taken back")
    return Change(replace(ask.edits, finished_top=_outline(ask.asked, "outline")), "drew the finished top")


def outline(ask: Ask) -> Change:
    """The slab's edge in the user's word; null: as measured."""
    if not ask.asked.has("outline"):
        return Change(replace(ask.edits, outline=None), "edge as measured")
    return Change(replace(ask.edits, outline=_outline(ask.asked, "outline")), "drew the slab's edge")


def add_keep_out(ask: Ask) -> Change:
    """An area where nothing is cut, or a base plate with its screws.

    Raises
    ------
    ReviewError
        If its note or its list of screws is too long.
    """
    asked = ask.asked
    note = asked.text("note", "")
    if len(note) > _MOST_NOTE:
        raise ReviewError(f"A note may have {_MOST_NOTE} letters at most, not {len(note)}.")
    screws = asked.points("screws", 0) if asked.has("screws") else frozen_array([], 2)
    if len(screws) > _MOST_SCREWS:
        raise ReviewError(f"A base plate may have {_MOST_SCREWS} screws at most, not {len(screws)}.")
    depth = asked.number("depth", None, least=0.0, most=1000.0)
    area = KeepOut(_outline(asked, "area"), asked.text("from", "above", choices=("above", "below")),
                   None if depth is None else round(depth, 3), note, screws)
    return Change(replace(ask.edits, keep_out=(*ask.edits.keep_out, area)), "kept an area out")


def remove_keep_out(ask: Ask) -> Change:
    """A kept-out area that is free again.

    Raises
    ------
    ReviewError
        If no area is kept out.
    """
    areas = ask.edits.keep_out
    if not areas:
        raise ReviewError("No area is kept out.")
    index = ask.asked.whole("index", 0, len(areas) - 1)
    return Change(replace(ask.edits, keep_out=areas[:index] + areas[index + 1:]), "freed a kept-out area")


def choose_plan(ask: Ask) -> Change:
    """One of the offered plans in the place of this one."""
    name = ask.asked.text("name")
    return Change(ask.edits, f"chose the plan {name}", plan_name=name)


def _outline(asked: Asked, name: str) -> FloatArray:
    """A drawn outline, anticlockwise, not closed, shape (N, 2). [mm]"""
    rows = asked.points(name, 3)
    if len(rows) > 3 and np.array_equal(rows[0], rows[-1]):
        rows = rows[:-1]
    polygon = Polygon(rows)
    if not polygon.is_valid:
        raise ReviewError("The outline crosses itself; draw it round once, without crossing.")
    if polygon.area < _LEAST_AREA:
        raise ReviewError(f"The outline holds only {polygon.area:.0f} mm2; draw it round an area.")
    return frozen_array(rows if polygon.exterior.is_ccw else rows[::-1], 2)
