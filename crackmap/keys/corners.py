"""Square shoulders: what is done with a pocket's corner that a round bit cannot cut.

round          the corner is rounded on pocket and key alike (the default)
chisel         the pocket is cut with rounded corners and squared by hand
corner-relief  the bit cuts past the corner along its bisector
end-relief     the bit cuts past the corner into the end wall only, so that the
               flanks, which carry the load, keep their full length
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from crackmap.errors import KeyShapeError
from crackmap.keys.outline import take_apart, turns_at_rows, without_repeats
from crackmap.records import FloatArray, frozen_array

_SHARP = 1e-4  # a turn above this is a corner [rad]
Row = tuple[float, float, float]


def with_corners(outline: ArrayLike, corners: str, radius: float) -> FloatArray:
    """The pocket's outline with each sharp outer corner made cuttable.

    Parameters
    ----------
    outline : array, shape (N, 3)
        Its outer corners lie between two lines that meet at 90 degrees or less.
    corners : {"chisel", "corner-relief", "end-relief"}
    radius : float
        Of the fillet or relief arc. [mm]

    Raises
    ------
    KeyShapeError
        If an edge is too short for it.
    """
    make = {"chisel": _fillet, "corner-relief": _relief_on_bisector, "end-relief": _relief_in_end}[corners]
    rows = np.asarray(outline, float)
    s = take_apart(rows)
    turns = turns_at_rows(s)
    # The room that arcs take on each edge, from its start and from its end.
    taken = np.zeros(len(rows))
    made: list[Row] = []
    for i, row in enumerate(rows):
        if turns[i] < _SHARP:
            made.append((float(row[0]), float(row[1]), float(row[2])))
            continue
        arriving, leaving = float(s.heading_out[i - 1]), float(s.heading_in[i])
        pieces, before, after = make((float(row[0]), float(row[1])), arriving, leaving, radius)
        taken[i - 1] += before
        taken[i] += after
        made += pieces
    lengths = np.hypot(*(s.end - s.start).T)
    if np.any(taken > lengths + 1e-9):
        short = int(np.argmax(taken - lengths))
        raise KeyShapeError(f"an edge {lengths[short]:.1f} mm long has no room for corners of {radius:.2f} "
                            "mm radius; make the head wider or use a smaller bit.")
    return frozen_array(without_repeats(made), 3)


# Rows in place of the corner; length taken on the edge before and after. [mm]
Made = tuple[list[Row], float, float]


def _fillet(corner: tuple[float, float], arriving: float, leaving: float, radius: float) -> Made:
    turn = _turn(arriving, leaving)
    back = radius * math.tan(turn / 2.0)
    first, last = _along(corner, arriving, -back), _along(corner, leaving, back)
    return [(*first, math.tan(turn / 4.0)), (*last, 0.0)], back, back


def _relief_on_bisector(corner: tuple[float, float], arriving: float, leaving: float, radius: float) -> Made:
    """The bit runs out along the bisector until it touches the corner: a round-ended slot.

    At an acute corner the two walls would pinch a mere circle, and the bit could not enter it.
    """
    inside = math.pi - _turn(arriving, leaving)
    opening = radius / math.sin(inside / 2.0)
    inward = leaving + inside / 2.0
    centre = _along(corner, inward, radius)
    near, far = _along(centre, inward + math.pi / 2.0, radius), _along(centre, inward - math.pi / 2.0, radius)
    first, last = _along(corner, arriving, -opening), _along(corner, leaving, opening)
    return [(*first, 0.0), (*near, 1.0), (*far, 0.0), (*last, 0.0)], opening, opening


def _relief_in_end(corner: tuple[float, float], arriving: float, leaving: float, radius: float) -> Made:
    """The bit runs along the flank past the end wall until it touches the corner: a round-ended slot.

    The end wall is the edge square to the key's length.
    """
    inside = math.pi - _turn(arriving, leaving)
    opening = 2.0 * radius / math.sin(inside)
    if abs(math.sin(leaving)) > abs(math.sin(arriving)):  # the end wall follows the corner
        far = _along(corner, arriving + math.pi / 2.0, 2.0 * radius)
        return [(*corner, 1.0), (*far, 0.0), (*_along(corner, leaving, opening), 0.0)], 0.0, opening
    far = _along(corner, leaving + math.pi / 2.0, 2.0 * radius)
    return [(*_along(corner, arriving, -opening), 0.0), (*far, 1.0), (*corner, 0.0)], opening, 0.0


def _turn(arriving: float, leaving: float) -> float:
    return (leaving - arriving) % (2.0 * math.pi)


def _along(point: tuple[float, float], heading: float, distance: float) -> tuple[float, float]:
    return point[0] + distance * math.cos(heading), point[1] + distance * math.sin(heading)
