"""What each end of a crack is: edge, void, junction, border or tip; and the cracks' ids."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from shapely import LineString, Point, Polygon

from crackmap.records import Crack, FloatArray, frozen_array

_NONE = frozen_array([], 2)


def name_ends(
    cracks: list[Crack], outline: FloatArray, voids: Sequence[FloatArray], border: FloatArray, reach: float
) -> tuple[Crack, ...]:
    """Cracks with named ends, longest first, with ids C1, C2, ...

    Parameters
    ----------
    cracks : list of Crack
    outline, voids : ndarray (N, 2) and a sequence of such
        Slab edge and openings. [mm]
    border : ndarray, shape (M, 2)
        Points of the outline where the picture, not the slab, ends. [mm]
    reach : float
        An end this near to something ends at it; a wide crack's end may lie
        half its width farther away. [mm]
    """
    named = sorted(named_ends(cracks, outline, voids, reach, border), key=lambda c: -c.length)
    return tuple(replace(c, id=f"C{k}") for k, c in enumerate(named, start=1))


def named_ends(
    cracks: Sequence[Crack], outline: FloatArray, voids: Sequence[FloatArray], reach: float, border: FloatArray = _NONE
) -> tuple[Crack, ...]:
    """Cracks with named ends, in the order and with the ids given; parameters as for `name_ends`.

    Without `border`, an end that was at the border and lies at the rim still is.

    Outlines have shape (N, 2); lengths in mm.
    """
    rim = LineString(np.vstack([outline, outline[:1]]))
    holes = [Polygon(v) for v in voids]
    lines = [LineString(c.centreline) for c in cracks]
    named = []
    for index, crack in enumerate(cracks):
        others = lines[:index] + lines[index + 1 :]
        ends = [_name_end(crack.centreline[k], reach + crack.width[k] / 2, rim, holes, others, border) for k in (0, -1)]
        ends = ["border" if (now, was) == ("edge", "border") else now
                for now, was in zip(ends, crack.ends, strict=True)]
        named.append(replace(crack, ends=(ends[0], ends[1])))
    return tuple(named)


def _name_end(
    at: FloatArray,
    reach: float,
    rim: LineString,
    holes: list[Polygon],
    others: list[LineString],
    border: FloatArray,
) -> str:
    """The name of one end."""
    point = Point(at)
    if any(line.distance(point) < _TOUCH_MM for line in others):
        return "junction"
    if any(hole.distance(point) <= reach for hole in holes):
        return "void"
    if rim.distance(point) <= reach:
        cut = len(border) and np.hypot(*(border - at).T).min() <= 2 * reach
        return "border" if cut else "edge"
    return "tip"


_TOUCH_MM = 1e-3  # branches share an exact end point; this only forgives rounding
