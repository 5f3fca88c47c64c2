"""Figures and sentences that several sheets share."""

from __future__ import annotations

import numpy as np
import shapely

from crackmap.records import FloatArray, Plan, Survey
from crackmap.units import MM_PER_INCH, show_length


def bare_length(mm: float, units: str) -> str:
    """A short length without its unit: 5.4, or 0.21 in inches."""
    return show_length(mm, units, 1 if units == "mm" else 0).rsplit(" ", 1)[0]


def round_length(mm: float, units: str) -> str:
    """A length that is round in its unit: 200 mm, 20 in."""
    return f"{mm / MM_PER_INCH:g} in" if units == "in" else f"{mm:g} mm"


def long_axis(survey: Survey) -> float:
    """Direction of the slab's longer side, of the smallest rectangle round it, (-90, 90] from x. [deg]"""
    box = shapely.get_coordinates(shapely.oriented_envelope(shapely.Polygon(survey.outline)))
    sides = np.diff(box[:3], axis=0)
    x, y = sides[int(np.argmax(np.hypot(sides[:, 0], sides[:, 1])))]
    angle = float(np.degrees(np.arctan2(y, x)))
    return angle - 180.0 if angle > 90.0 else angle + 180.0 if angle <= -90.0 else angle


def over_all(survey: Survey) -> tuple[float, float]:
    """Length and width over all, along and across the slab's long axis. [mm]"""
    sides = np.ptp(turned(survey.outline, -long_axis(survey)), axis=0)
    return float(sides[0]), float(sides[1])


def turned(points: FloatArray, angle_deg: float) -> FloatArray:
    """Points (N, 2) turned about the origin, anticlockwise."""
    a = np.radians(angle_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return np.asarray(np.asarray(points, float).reshape(-1, 2) @ turn)


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
    """Distance of a point from the slab's left and right ends, measured along the slab's length. [mm]"""
    turn = figure_turn(survey)
    outline = shapely.Polygon(turned(survey.outline, turn))
    x, y = turned(point, turn)[0]
    low, _, high, _ = outline.bounds
    across = shapely.intersection(outline.exterior, shapely.LineString([(low - 1.0, y), (high + 1.0, y)]))
    crossings = shapely.get_coordinates(across)[:, 0]
    if not len(crossings):
        return float(x - low), float(high - x)
    return float(x - crossings.min()), float(crossings.max() - x)
