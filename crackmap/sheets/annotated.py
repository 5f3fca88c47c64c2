"""The annotated picture: the photo to scale with everything that was measured and suggested."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from crackmap.keys.outline import to_points
from crackmap.records import FloatArray, ImageArray, Key, Plan, RectifiedPhoto, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.label_places import LabelField, LabelPlace
from crackmap.sheets.legend import heading_strip, legend_strip
from crackmap.sheets.lettering import LIGHT, Lettering, Plate, plate_size
from crackmap.sheets.palette import CRACK, EDGE, INK, KEY, PAPER, VOID
from crackmap.sheets.picture_view import SUBPIXEL_BITS, View, crop_to_slab, fill, fixed_point, stroke
from crackmap.sheets.signs import DOUBTFUL_BELOW, draw_crack, draw_target, hatch, line_width, text_size
from crackmap.sheets.words import bare_length

_CHORD = 0.05  # of arcs in pictures [mm]
_KEY_PLATE = Plate(INK, PAPER, KEY)
_CRACK_PLATE = Plate(CRACK, INK, INK)
_VOID_PLATE = Plate(VOID, PAPER, VOID)
_WIDTH_EVERY = 9.0  # distance between widths written along a crack, in text sizes
_SHORT = 4.0  # a crack shorter than this many text sizes is named only where there is room
_MOST_COVERED = 1.2  # burden past which a label that can be spared is left out


@dataclass(frozen=True, slots=True)
class _Label:
    """A text on its way to its place."""

    text: str
    anchor: tuple[float, float]  # [px]
    clear: float  # [px]
    plate: Plate
    size: int  # [px]
    bold: bool = False
    dispensable: bool = False


def annotated_picture(
    rectified: RectifiedPhoto, survey: Survey, plan: Plan, settings: SheetSettings
) -> ImageArray:
    """Slab edge, voids, cracks with widths, keys with numbers, datum marks, legend and scale.

    Parameters
    ----------
    rectified : RectifiedPhoto
        The photo to scale.
    survey, plan
        What was measured and suggested.
    settings : SheetSettings
        The unit of the texts, and `picture_side` [px].

    Returns
    -------
    picture : ndarray of uint8, shape (H, W, 3)
        RGB; no side is longer than `picture_side`.
    """
    view = crop_to_slab(rectified, survey, settings.picture_side)
    picture = _composed(view, survey, plan, settings)
    longest = max(picture.shape[:2])
    if longest > settings.picture_side:
        view = crop_to_slab(rectified, survey, settings.picture_side - (longest - max(view.size)))
        picture = _composed(view, survey, plan, settings)
    return picture


def _composed(view: View, survey: Survey, plan: Plan, settings: SheetSettings) -> ImageArray:
    size = text_size(view)
    _draw_things(view, survey, plan, size)
    body = _lettered(view, survey, plan, settings, size)
    heading = heading_strip(view.size[0], size, survey, plan, settings)
    legend = legend_strip(view, size, survey, plan, settings)
    return np.concatenate([heading, body, legend])


def _draw_things(view: View, survey: Survey, plan: Plan, size: int) -> None:
    width = line_width(size)
    image, to_pixels = view.pixels, view.mapping.to_pixels
    for reference in survey.references:
        stroke(image, to_pixels(reference.corners_mm), PAPER, max(1, width - 1), closed=True, dash=size * 0.4)
    for void in survey.voids:
        hatch(image, to_pixels(void.polygon), size)
    stroke(image, to_pixels(survey.outline), EDGE, width, closed=True)
    for crack in survey.cracks:
        draw_crack(view, crack, size)
    for key in plan.keys:
        pocket = to_pixels(to_points(key.pocket, _CHORD))
        fill(image, pocket, KEY, 0.38)
        stroke(image, pocket, KEY, width, closed=True)
    for at in (survey.datum.a, survey.datum.b):
        draw_target(image, to_pixels(at)[0], size)


def _lettered(view: View, survey: Survey, plan: Plan, settings: SheetSettings, size: int) -> ImageArray:
    """The picture with its labels, each where it covers least."""
    field = LabelField(view.size, size / 4.0)
    _burden(field, view, survey, plan, size)
    labels = [*_datum_labels(view, survey, size), *(_key_label(view, key, size) for key in plan.keys)]
    labels += _crack_and_void_labels(view, survey, settings, size)
    placed: list[tuple[_Label, LabelPlace]] = []
    for label in labels:
        box = plate_size(label.text, label.size, label.bold)
        limit = _MOST_COVERED if label.dispensable else np.inf
        place = field.place(label.anchor, box, label.clear, limit)
        if place is not None:
            placed.append((label, place))
    for _, place in placed:
        if place.leader is not None:
            stroke(view.pixels, place.leader, PAPER, max(1, line_width(size) - 1))
            x, y = fixed_point(np.array(place.leader[1])).tolist()
            cv2.circle(view.pixels, (x, y), 3 * size, PAPER, cv2.FILLED, cv2.LINE_AA, SUBPIXEL_BITS)
    lettering = Lettering(view.pixels)
    for label, place in placed:
        lettering.plate(place.box, label.text, label.size, label.plate, label.bold)
    return lettering.done()


def _burden(field: LabelField, view: View, survey: Survey, plan: Plan, size: int) -> None:
    """What labels should not cover: cracks most, then keys, voids and the edge."""
    to_pixels = view.mapping.to_pixels
    for void in survey.voids:
        field.burden_area(to_pixels(void.polygon), 1.0)
    for key in plan.keys:
        field.burden_area(to_pixels(to_points(key.pocket, 0.5)), 2.5)
    for at in (survey.datum.a, survey.datum.b):
        field.burden_line(to_pixels([at, at]), 4.0, 2.0 * size)
    field.burden_line(to_pixels(survey.outline), 1.0, size * 0.3, closed=True)
    for crack in survey.cracks:
        field.burden_line(to_pixels(crack.centreline), 3.0, size * 0.4)


def _datum_labels(view: View, survey: Survey, size: int) -> list[_Label]:
    points = view.mapping.to_pixels([survey.datum.a, survey.datum.b])
    return [
        _Label(name, (float(at[0]), float(at[1])), size * 0.9, LIGHT, round(size * 1.2), True)
        for name, at in zip("AB", points, strict=True)
    ]


def _key_label(view: View, key: Key, size: int) -> _Label:
    x, y = view.mapping.to_pixels(key.centre)[0]
    clear = 0.36 * (key.shape.length + key.shape.width) / 2.0 * view.px_per_mm()
    flag = " !" if any(not check.ok for check in key.checks) else ""
    return _Label(key.id + flag, (float(x), float(y)), clear, _KEY_PLATE, round(size * 1.1), True)


def _crack_and_void_labels(view: View, survey: Survey, settings: SheetSettings, size: int) -> list[_Label]:
    """A name and greatest width for each crack, widest first; voids; further widths where there is room."""
    names, widths = [], []
    px_per_mm = view.px_per_mm()
    small = round(size * 0.86)
    for crack in sorted(survey.cracks, key=lambda c: (-c.widest, c.id)):
        line = view.mapping.to_pixels(crack.centreline)
        run = np.r_[0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T))]
        at = int(np.argmax(crack.width))
        half = crack.widest * px_per_mm / 2.0 + size * 0.15
        mark = "?" if crack.confidence < DOUBTFUL_BELOW else ""
        # The name stands a little way in from an end, so that it doesn't fall off the slab.
        names.append(
            _Label(
                f"{crack.id}{mark} {bare_length(crack.widest, settings.units)}",
                _at(line, at),
                half,
                _CRACK_PLATE,
                small,
                True,
                dispensable=run[-1] < _SHORT * size,
            )
        )
        for further in np.arange(_WIDTH_EVERY * size, run[-1] - 3.0 * size, _WIDTH_EVERY * size):
            near = int(np.argmin(np.abs(run - further)))
            if abs(run[near] - run[at]) >= 0.8 * _WIDTH_EVERY * size:
                widths.append(
                    _Label(
                        bare_length(float(crack.width[near]), settings.units),
                        _at(line, near),
                        float(crack.width[near]) * px_per_mm / 2.0 + size * 0.15,
                        _CRACK_PLATE,
                        small,
                        dispensable=True,
                    )
                )
    for void in survey.voids:
        outline = view.mapping.to_pixels(void.polygon)
        middle = outline.mean(axis=0)
        reach = float(np.hypot(*(outline - middle).T).mean())
        names.append(_Label(void.id, (float(middle[0]), float(middle[1])), reach, _VOID_PLATE, small, True))
    return names + widths


def _at(line: FloatArray, index: int) -> tuple[float, float]:
    return float(line[index, 0]), float(line[index, 1])
