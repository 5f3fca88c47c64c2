"""The user's word on what was found: another outline; cracks refused, drawn, or ending elsewhere.

What was found and is not wanted is set aside in the survey, not thrown away,
so that the same function takes every later word, and its taking back, without
measuring again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point

from crackmap.errors import SurveyError
from crackmap.records import Crack, Edits, FloatArray, RectifiedPhoto, Survey, frozen_array
from crackmap.scale.mapping import Mapping
from crackmap.settings import SurveySettings
from crackmap.survey.across_grain import across_grain_warnings
from crackmap.survey.ends import named_ends
from crackmap.survey.found import FoundCrack
from crackmap.survey.trace import trace

_UNMET = "An end that you moved"  # begins every warning of such an end that finds no crack
_AT_THE_END = 0.5  # a point whose foot on the crack is this near its end lengthens the crack [mm]

Tracer = Callable[[FloatArray], Crack]


def trace_crack(rectified: RectifiedPhoto, survey: Survey, points_mm: FloatArray) -> Crack:
    """The crack through points on the slab, followed in the picture.

    Parameters
    ----------
    rectified : RectifiedPhoto
    survey : Survey
        Its outline and voids say where wood is.
    points_mm : ndarray, shape (K, 2), K >= 2
        In order along the crack. [mm]

    Returns
    -------
    Crack
        Without id; `drawn_by_user`, confidence 1.

    Raises
    ------
    SurveyError
        If there are fewer than two points, or one lies outside the picture.
    """
    mapping = rectified.mapping
    mm_per_px = float(mapping.mm_per_px_at(points_mm[:1])[0]) if len(points_mm) else 1.0
    found = trace(rectified.pixels, mm_per_px, mapping.to_pixels(points_mm), _wood(rectified, survey))
    return crack_mm(found, mapping, drawn=True)


def _wood(rectified: RectifiedPhoto, survey: Survey) -> NDArray[np.bool_]:
    """True where the picture shows the slab's wood."""
    mask = np.zeros(rectified.pixels.shape[:2], np.uint8)
    for ring, value in ((survey.outline, 1), *((void.polygon, 0) for void in survey.voids)):
        cv2.fillPoly(mask, [np.round(rectified.mapping.to_pixels(ring)).astype(np.int32)], value)
    return mask.view(np.bool_)


def crack_mm(found: FoundCrack, mapping: Mapping, *, drawn: bool = False) -> Crack:
    """A crack of the picture in mm; its id and ends are given later."""
    centreline = mapping.to_slab(found.centreline)
    local = mapping.mm_per_px_at(centreline)
    return Crack("", frozen_array(centreline, 2), frozen_array(found.width * local), ("tip", "tip"),
                 float(found.confidence), frozen_array(found.width_sigma * local), drawn)


def with_user_edits(survey: Survey, edits: Edits, tracer: Tracer, settings: SurveySettings) -> Survey:
    """The survey with its outline and cracks as the user says they are.

    Parameters
    ----------
    survey : Survey
        As found, or with an earlier word of the user already applied.
    edits : Edits
        The outline; refused cracks (each the one found nearest, if within
        `edit_reach`), drawn ones, and ends that lie elsewhere.
    tracer : callable
        From points on the slab, (K, 2) [mm], to the crack through them; see
        `trace_crack`.
    settings : SurveySettings

    Returns
    -------
    Survey
        Cracks found keep their ids; those drawn are numbered after them. A
        warning names each moved end that no longer fits any crack.

    Raises
    ------
    SurveyError
        If a drawn crack cannot be traced, or the found outline is asked for
        and was never measured.
    """
    survey = _with_outline(survey, edits.outline)
    found = sorted((*(c for c in survey.cracks if not c.drawn_by_user), *survey.set_aside), key=_number)
    kept, aside = _without_refused(found, edits.refused_cracks, settings.edit_reach)
    first = max((_number(c) for c in found), default=0) + 1
    drawn = [replace(tracer(points), id=f"C{first + k}") for k, points in enumerate(edits.drawn_cracks)]
    cracks = [_joined_on(c, kept, settings.end_reach) for c in drawn]
    cracks = [*kept, *cracks]
    unmet: list[str] = []
    for entry in edits.crack_ends:
        cracks, was = _with_end_moved(cracks, np.array(entry[:2]), np.array(entry[2:]), tracer, settings)
        if was is None:
            unmet.append(f"{_UNMET}, at x {entry[0]:.0f}, y {entry[1]:.0f} mm, fits no crack any more; "
                         "it was left out.")
        elif any(was is found for found in kept):
            aside.append(was)
    named = named_ends(cracks, survey.outline, [v.polygon for v in survey.voids], settings.end_reach)
    told = [w for w in survey.warnings
            if w not in across_grain_warnings(survey.cracks, survey.grain_deg) and not w.startswith(_UNMET)]
    return replace(survey, cracks=named, set_aside=tuple(aside),
                   warnings=(*told, *unmet, *across_grain_warnings(named, survey.grain_deg)))


def _with_outline(survey: Survey, outline: FloatArray | None) -> Survey:
    found = survey.found_outline
    if outline is not None:
        return replace(survey, outline=frozen_array(outline), found_outline=survey.outline if found is None else found)
    if found is None:
        return survey
    if not len(found):
        raise SurveyError("The slab's edge was measured by your outline alone; take the outline out of edits.json and "
                          "measure again with: crackmap measure FOLDER")
    return replace(survey, outline=found, found_outline=None)


def _number(crack: Crack) -> int:
    digits = crack.id.removeprefix("C")
    return int(digits) if digits.isdigit() else 0


def _without_refused(cracks: Sequence[Crack], refused: FloatArray, reach: float) -> tuple[list[Crack], list[Crack]]:
    """Cracks but for the one nearest to each refused point, if it lies within `reach`; and those. [mm]"""
    kept, aside = list(cracks), []
    for point in refused:
        distances = [LineString(c.centreline).distance(Point(point)) for c in kept]
        if distances and min(distances) <= reach:
            aside.append(kept.pop(int(np.argmin(distances))))
    return kept, aside


def _joined_on(drawn: Crack, others: list[Crack], reach: float) -> Crack:
    """A drawn crack carried on to the crack that its end all but touches, so that it is a branch of it."""
    for row in (0, -1):
        at = Point(drawn.centreline[row])
        for other in others:
            line = LineString(other.centreline)
            if 0.0 < line.distance(at) <= reach:
                foot = np.asarray(line.interpolate(line.project(at)).coords)[0]
                sigma = drawn.width_sigma[[row]] if len(drawn.width_sigma) else drawn.width_sigma
                drawn = _extended(drawn, row, foot[None], drawn.width[[row]], sigma)
                break
    return drawn


def _with_end_moved(cracks: list[Crack], at: FloatArray, to: FloatArray, tracer: Tracer,
                    settings: SurveySettings) -> tuple[list[Crack], Crack | None]:
    """Cracks with the end at `at` moved to `to`, and the crack as it was; None where no crack fits."""
    ends = [(k, row) for k, crack in enumerate(cracks) for row in (0, -1)
            if np.hypot(*(crack.centreline[row] - at)) <= settings.edit_reach]
    # Branches share an end: the one meant is the one on which the new end lies.
    ends.sort(key=lambda end: float(np.hypot(*(cracks[end[0]].centreline[end[1]] - at)))
              + LineString(cracks[end[0]].centreline).distance(Point(to)))
    for k, row in ends:
        changed = _moved_to(cracks[k], row, to, tracer, settings.least_left)
        if changed is not None:
            return [*cracks[:k], replace(changed, drawn_by_user=True), *cracks[k + 1:]], cracks[k]
    return cracks, None


def _moved_to(crack: Crack, row: int, to: FloatArray, tracer: Tracer, least: float) -> Crack | None:
    """The crack cut at `to`, or followed there; None if less than `least` would be left. [mm]"""
    line = LineString(crack.centreline)
    arc = line.project(Point(to))
    from_end = arc if row == 0 else line.length - arc
    if from_end > _AT_THE_END:
        return None if line.length - from_end < least else _cut(crack, row, arc)
    more = tracer(np.stack([crack.centreline[row], to]))
    order = slice(None) if row == -1 else slice(None, None, -1)
    return _extended(crack, row, more.centreline[order], more.width[order], more.width_sigma[order])


def _cut(crack: Crack, row: int, arc: float) -> Crack:
    """The crack without what lies between its end at `row` and `arc`. [mm]"""
    arcs = np.concatenate([[0.0], np.hypot(*np.diff(crack.centreline, axis=0).T).cumsum()])
    keep = arcs > arc if row == 0 else arcs < arc

    def cut(values: FloatArray) -> FloatArray:
        if not len(values):
            return values
        at = np.array([np.interp(arc, arcs, column) for column in np.atleast_2d(values.T)])
        at = at.reshape(1, *values.shape[1:])
        return frozen_array(np.concatenate([at, values[keep]] if row == 0 else [values[keep], at]))

    return replace(crack, centreline=cut(crack.centreline), width=cut(crack.width),
                   width_sigma=cut(crack.width_sigma))


def _extended(crack: Crack, row: int, line: FloatArray, width: FloatArray, sigma: FloatArray) -> Crack:
    """The crack with more of a line at its end `row`; the line runs the same way as the crack."""
    def joined(own: FloatArray, more: FloatArray) -> FloatArray:
        return frozen_array(np.concatenate([more, own] if row == 0 else [own, more]))

    has_sigma = len(crack.width_sigma) > 0 and len(sigma) > 0
    return replace(crack, centreline=joined(crack.centreline, line), width=joined(crack.width, width),
                   width_sigma=joined(crack.width_sigma, sigma) if has_sigma else frozen_array([]))
