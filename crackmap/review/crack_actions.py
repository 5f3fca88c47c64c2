"""Actions on cracks: refused, drawn, ending elsewhere, probed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shapely import LineString, Point

from crackmap.errors import ReviewError
from crackmap.records import Crack, FloatArray, Survey, frozen_array
from crackmap.review.ask import Ask, Change

_AT_THE_END = 0.5  # a point whose foot on the crack is this near its end lengthens the crack [mm]
_SAME_PROBE = 5.0  # a probe this near to an earlier one corrects it [mm]
_PROBE_REACH = 15.0  # how near one must point to take a probe away [mm]
_LEAST_DRAWN = 3.0  # a shorter line is a slip of the hand [mm]


def refuse_crack(ask: Ask) -> Change:
    """No crack: one that was found is not found again; one that was drawn goes."""
    crack = ask.crack()
    ends = tuple(entry for entry in ask.edits.crack_ends if _end_of(crack, entry, ask.settings.edit_reach) is None)
    edits = replace(ask.edits, crack_ends=ends)
    drawn = drawn_cracks(ask.survey)
    words = f"refused {crack.id}"
    if crack.id in drawn:
        index = drawn.index(crack.id)
        lines = edits.drawn_cracks
        return Change(replace(edits, drawn_cracks=lines[:index] + lines[index + 1:]), words)
    found = next((c for c in ask.survey.set_aside if c.id == crack.id), crack)
    middle = np.round(found.centreline[len(found.centreline) // 2], 3)
    refused = frozen_array(np.vstack([edits.refused_cracks, middle]))
    return Change(replace(edits, refused_cracks=refused), words)


def drawn_cracks(survey: Survey) -> list[str]:
    """Ids of the cracks that the user drew, in the order of `Edits.drawn_cracks`."""
    changed = {c.id for c in survey.set_aside}  # found, with an end moved by the user
    return [c.id for c in survey.cracks if c.drawn_by_user and c.id not in changed]


def draw_crack(ask: Ask) -> Change:
    """A crack through points that were clicked.

    Raises
    ------
    ReviewError
        If its two ends lie on one spot.
    """
    points = ask.asked.points("points", 2)
    if float(np.hypot(*np.diff(points, axis=0).T).sum()) < _LEAST_DRAWN:
        raise ReviewError("The two ends of a drawn crack lie on one spot; click along the crack.")
    return Change(replace(ask.edits, drawn_cracks=(*ask.edits.drawn_cracks, points)), "drew a crack")


def end_crack(ask: Ask) -> Change:
    """A crack that ends elsewhere: shorter, or followed farther."""
    crack, asked = ask.crack(), ask.asked
    row = 0 if asked.whole("end", 0, 1) == 0 else -1
    to = _foot(crack, row, asked.place("at"), ask.settings.least_left)
    now = crack.centreline[row]
    reach = ask.settings.edit_reach
    entries = list(ask.edits.crack_ends)
    # An end that was moved before goes on being named by where it was found.
    mine = [k for k, entry in enumerate(entries) if _end_of(crack, entry, reach) == row]
    start = np.array(entries[mine[0]][:2]) if mine else now
    entry = (*(round(float(v), 3) for v in start), *(round(float(v), 3) for v in to))
    entries = [each for k, each in enumerate(entries) if k not in mine]
    ends = (*entries, (entry[0], entry[1], entry[2], entry[3]))
    return Change(replace(ask.edits, crack_ends=ends), f"moved an end of {crack.id}")


def _end_of(crack: Crack, entry: tuple[float, float, float, float], reach: float) -> int | None:
    """Which end of a crack an entry moved, 0 or -1; None if neither."""
    away = {row: float(np.hypot(*(crack.centreline[row] - entry[2:]))) for row in (0, -1)}
    row = min(away, key=lambda each: away[each])
    return row if crack.drawn_by_user and away[row] <= reach else None


def _foot(crack: Crack, row: int, at: FloatArray, least: float) -> FloatArray:
    """Where a crack is cut by a point beside it; the point itself where it lies past the end."""
    line = LineString(crack.centreline)
    arc = line.project(Point(at))
    past = arc if row == 0 else line.length - arc
    if past > _AT_THE_END and line.length - past < least:
        raise ReviewError(f"{crack.id} would be only {line.length - past:.0f} mm long with its end there; refuse it "
                          "instead.")
    return at if past <= _AT_THE_END else np.asarray(line.interpolate(arc).coords)[0]


def probe_depth(ask: Ask) -> Change:
    """How deep a crack or void is by a probe; null takes the nearest probe away.

    Raises
    ------
    ReviewError
        If a probe is to go where none is noted.
    """
    at = ask.asked.place("at")
    probes = ask.edits.probed_depths
    away = [float(np.hypot(x - at[0], y - at[1])) for x, y, _ in probes]
    within = _SAME_PROBE if ask.asked.has("depth") else _PROBE_REACH
    nearest = int(np.argmin(away)) if away and min(away) <= within else None
    if not ask.asked.has("depth"):
        if nearest is None:
            raise ReviewError("No probed depth is noted there.")
        return Change(replace(ask.edits, probed_depths=probes[:nearest] + probes[nearest + 1:]), "took a probe away")
    depth = round(ask.asked.number("depth", least=0.0, most=1000.0), 3)
    left = probes if nearest is None else probes[:nearest] + probes[nearest + 1:]
    return Change(replace(ask.edits, probed_depths=(*left, (float(at[0]), float(at[1]), depth))),
                  f"probed {depth:g} mm")
