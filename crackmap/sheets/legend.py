"""The strips above and below the annotated picture: what it is, and what its signs mean."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from crackmap.keys.outline import to_points
from crackmap.records import FloatArray, ImageArray, Plan, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.bench_tables import failing_checks
from crackmap.sheets.lettering import Lettering, text_width, wrapped
from crackmap.sheets.palette import EDGE, INK, KEY, PAPER, QUIET, Colour
from crackmap.sheets.picture_view import View, fill, stroke
from crackmap.sheets.plan_mark import plan_mark
from crackmap.sheets.signs import DOUBTFUL_BELOW, draw_lips, draw_target, hatch
from crackmap.sheets.words import round_length, scale_sentence, size_sentence
from crackmap.units import MM_PER_INCH

_WOOD: Colour = (172, 128, 84)  # ground of the samples
_LINE = 1.55  # distance between lines over the text's size
_MOST_NOTABLE = 3  # the sheet says all
Swatch = Callable[[ImageArray, tuple[int, int, int, int], int], None]


def heading_strip(width: int, size: int, survey: Survey, plan: Plan, settings: SheetSettings) -> ImageArray:
    """Title, size, scale confidence and what to look at first, as a strip (h, width, 3)."""
    room = width - 2 * size
    lines = wrapped(
        f"{size_sentence(survey, plan, settings.units)}. {scale_sentence(survey, settings.units)}", room, size
    )
    notable = [*failing_checks(plan), *plan.warnings][:_MOST_NOTABLE]
    warnings = [line for each in notable for line in wrapped(f"Look at: {each}", room, size)]
    height = round(size * (2.6 + _LINE * (len(lines) + len(warnings)) + 0.4))
    strip = Lettering(np.full((height, width, 3), PAPER, np.uint8))
    strip.line((size, size * 1.45), f"{survey.photo.file}   plan {plan_mark(plan)}", round(size * 1.35), INK, bold=True)
    y = size * 3.1
    for line, colour in [*((line, QUIET) for line in lines), *((line, INK) for line in warnings)]:
        strip.line((size, y), line, size, colour)
        y += size * _LINE
    return strip.done()


def legend_strip(view: View, size: int, survey: Survey, plan: Plan, settings: SheetSettings) -> ImageArray:
    """Every sign that occurs, in words, and the scale bar, as a strip (h, W, 3)."""
    width = view.size[0]
    bar_mm = _bar_length(width / view.px_per_mm() / 4.0, settings.units)
    entries = _entries(survey, plan, settings)
    places, rows = _flow(entries, width, size)
    height = round(size * (1.0 + 2.2 * rows + 3.4))
    strip = np.full((height, width, 3), PAPER, np.uint8)
    for (swatch, _), (x, y) in zip(entries, places, strict=True):
        box = (x, y - round(size * 0.75), x + round(size * 2.6), y + round(size * 0.75))
        cv2.rectangle(strip, box[:2], box[2:], _WOOD, cv2.FILLED)
        swatch(strip, box, size)
    bar_y = round(size * (1.0 + 2.2 * rows + 1.3))
    _bar(strip, size, bar_y, bar_mm * view.px_per_mm(), size)
    lettering = Lettering(strip)
    for (_, text), (x, y) in zip(entries, places, strict=True):
        lettering.line((x + size * 3.1, y), text, size)
    end = size + bar_mm * view.px_per_mm()
    lettering.line((end + size, bar_y), round_length(bar_mm, settings.units), size, INK, bold=True)
    note = "To scale on the show face only: do not measure on the screen."
    if end + size * 8 + text_width(note, size) < width:
        lettering.line((width - size - text_width(note, size), bar_y), note, size, QUIET)
    return lettering.done()


def _bar_length(most_mm: float, units: str) -> float:
    """A round length of at most `most_mm`. [mm]"""
    steps = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000]
    unit = MM_PER_INCH if units == "in" else 1.0
    return max((step * unit for step in steps if step * unit <= most_mm), default=unit)


def _bar(strip: ImageArray, x: int, y: int, length: float, size: int) -> None:
    """A bar in four parts, dark and light."""
    tall = max(4, size // 3)
    ends = [round(x + length * share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
    for part, (start, end) in enumerate(zip(ends, ends[1:], strict=False)):
        cv2.rectangle(strip, (start, y - tall), (end, y + tall), INK if part % 2 == 0 else PAPER, cv2.FILLED)
    cv2.rectangle(strip, (ends[0], y - tall), (ends[-1], y + tall), INK, 2)


def _flow(entries: list[tuple[Swatch, str]], width: int, size: int) -> tuple[list[tuple[int, int]], int]:
    """Places of the entries, left to right and row by row, and the number of rows."""
    places: list[tuple[int, int]] = []
    x, row = float(size), 0
    for _, text in entries:
        needed = size * 4.6 + text_width(text, size)
        if x > size and x + needed > width:
            x, row = float(size), row + 1
        places.append((round(x), round(size * (1.6 + 2.2 * row))))
        x += needed
    return places, row + 1


def _entries(survey: Survey, plan: Plan, settings: SheetSettings) -> list[tuple[Swatch, str]]:
    entries: list[tuple[Swatch, str]] = [(_edge, "edge of the show face")]
    if survey.cracks:
        unit = "inches" if settings.units == "in" else "mm"
        entries.append((_crack, f"crack, both lips; number and width in {unit}"))
    if any(crack.confidence < DOUBTFUL_BELOW for crack in survey.cracks):
        entries.append((_doubtful, "perhaps no crack: look at the slab"))
    if survey.voids:
        entries.append((_void, "void"))
    if plan.keys:
        entries.append(
            (
                _key_like(plan.keys[0].shape.pocket),
                "key"
                + (
                    ", ! look before cutting"
                    if any(not check.ok for key in plan.keys for check in key.checks)
                    else ""
                ),
            )
        )
    entries.append((_datum, f"A {survey.datum.a_name}, B {survey.datum.b_name}"))
    return entries


def _edge(strip: ImageArray, box: tuple[int, int, int, int], size: int) -> None:
    stroke(strip, _across(box), EDGE, max(2, size // 11))


def _crack(strip: ImageArray, box: tuple[int, int, int, int], size: int) -> None:
    draw_lips(
        strip,
        [_across(box) - [0, 0.16 * size], _across(box) + [0, 0.16 * size]],
        max(2, size // 12),
        size,
        False,
    )


def _doubtful(strip: ImageArray, box: tuple[int, int, int, int], size: int) -> None:
    draw_lips(
        strip,
        [_across(box) - [0, 0.16 * size], _across(box) + [0, 0.16 * size]],
        max(2, size // 12),
        size,
        True,
    )


def _void(strip: ImageArray, box: tuple[int, int, int, int], size: int) -> None:
    angle = np.linspace(0, 2 * np.pi, 30, endpoint=False)
    hatch(
        strip, _middle(box) + np.column_stack([1.0 * size * np.cos(angle), 0.55 * size * np.sin(angle)]), size
    )


def _key_like(pocket: FloatArray) -> Swatch:
    """A sample in the shape of the plan's own keys."""
    outline = to_points(pocket, 0.2)
    span = np.ptp(outline, axis=0)

    def draw(strip: ImageArray, box: tuple[int, int, int, int], size: int) -> None:
        shape = outline * (2.2 * size / span[0]) * [1.0, min(1.0, span[0] / span[1] * 0.5)] + _middle(box)
        fill(strip, shape, KEY, 0.38)
        stroke(strip, shape, KEY, max(2, size // 11), closed=True)

    return draw


def _datum(strip: ImageArray, box: tuple[int, int, int, int], size: int) -> None:
    draw_target(strip, _middle(box), round(size * 0.8))


def _middle(box: tuple[int, int, int, int]) -> FloatArray:
    return np.array([(box[0] + box[2]) / 2.0, (box[1] + box[3]) / 2.0])


def _across(box: tuple[int, int, int, int]) -> FloatArray:
    x, y = _middle(box)
    reach = (box[2] - box[0]) * 0.45
    return np.array([[x - reach, y], [x + reach, y]])
