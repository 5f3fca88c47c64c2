"""Figures and sentences that several sheets share."""

from __future__ import annotations

import numpy as np
import shapely

from crackmap.frames import long_axis_of, turned
from crackmap.records import Dam, FloatArray, Plan, Survey
from crackmap.units import MM_PER_INCH, show_length


def bare_length(mm: float, units: str) -> str:
    """A short length without its unit: 5.4, or 0.21 in inches."""
    return show_length(mm, units, 1 if units == "mm" else 0).rsplit(" ", 1)[0]


def round_length(mm: float, units: str) -> str:
    """A length that is round in its unit: 200 mm, 20 in."""
    return f"{mm / MM_PER_INCH:g} in" if units == "in" else f"{mm:g} mm"


def long_axis(survey: Survey) -> float:
    """Direction of the slab's longer side, of the smallest rectangle round it, (-90, 90] from x. [deg]"""
    return long_axis_of(survey.outline)


def over_all(survey: Survey) -> tuple[float, float]:
    """Length and width over all, along and across the slab's long axis. [mm]"""
    sides = np.ptp(turned(survey.outline, -long_axis(survey)), axis=0)
    return float(sides[0]), float(sides[1])


def size_sentence(survey: Survey, plan: Plan, units: str) -> str:
    """What the slab is and what was found and suggested."""
    length, width = over_all(survey)
    across = f"{show_length(length, units, 0)} x {show_length(width, units, 0)}"
    return (
        f"{across} over all, {show_length(plan.thickness_mm, units)} thick; "
        f"{counted(len(survey.cracks), 'crack')}, "
        f"{counted(len(survey.voids), 'void')}, {counted(len(plan.keys), 'key')}"
    )


def scale_sentence(survey: Survey, units: str) -> str:
    """How sure the millimetres are, in words that a maker can use."""
    q = survey.scale
    off = over_all(survey)[0] * q.scale_sigma_percent / 100.0
    return (
        f"Scale: two times out of three within {q.scale_sigma_percent:.2g} %, that is "
        f"{show_length(off, units, 1)} over the slab; positions within "
        f"{show_length(q.sigma_worst_mm, units, 1)} "
        f"at worst. Narrowest crack that this photo can show: {show_length(q.narrowest_crack_mm, units, 1)}."
    )


def counted(number: int, noun: str) -> str:
    """3 cracks, 1 crack, no cracks."""
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


def figure_turn(survey: Survey) -> float:
    """Angle by which slab points are turned so that the slab lies lengthwise, x to the right. [deg]

    The same way up as the annotated picture and the DXF, so that a maker can lay them side by side.
    """
    return -long_axis(survey)


def end_distances(survey: Survey, point: FloatArray) -> tuple[float, float]:
    """Distance of a point from the slab's left and right ends, measured along the slab's length. [mm]

    `point` has shape (2,).
    """
    turn = figure_turn(survey)
    outline = shapely.Polygon(turned(survey.outline, turn))
    x, y = turned(point, turn)[0]
    low, _, high, _ = outline.bounds
    across = shapely.intersection(outline.exterior, shapely.LineString([(low - 1.0, y), (high + 1.0, y)]))
    crossings = shapely.get_coordinates(across)[:, 0]
    if not len(crossings):
        return float(x - low), float(high - x)
    return float(x - crossings.min()), float(crossings.max() - x)


def slab_corners(survey: Survey) -> list[tuple[str, FloatArray]]:
    """The slab's four corners as it lies in the drawing, each the point of its edge nearest to the box's. [mm]"""
    points = turned(survey.outline, figure_turn(survey))
    low, high = points.min(axis=0), points.max(axis=0)
    named = (("upper left", (low[0], high[1])), ("upper right", (high[0], high[1])),
             ("lower left", (low[0], low[1])), ("lower right", (high[0], low[1])))
    return [(name, survey.outline[int(np.argmin(np.hypot(*(points - corner).T)))]) for name, corner in named]


def dam_sentence(dam: Dam, units: str) -> str:
    """What to do at one place before the pour."""
    name = dam.name + ("" if dam.sure else "?")
    wide = show_length(dam.width, units)
    if dam.where == "end":
        return (f"{name}: {dam.opening} opens at the slab's edge, {wide} wide; dam it there, from below the crack to "
                "the top.")
    long = show_length(float(np.hypot(*np.diff(dam.line, axis=0).T).sum()), units, 0)
    size = f"over {long}, up to {wide} wide" if not np.allclose(dam.line[0], dam.line[-1]) else f"{wide} across"
    comes = "comes out below" if dam.sure else "may come out below"
    return f"{name}: {dam.opening} {comes}, {size}; tape {show_length(dam.margin, units, 0)} past it on every side."
