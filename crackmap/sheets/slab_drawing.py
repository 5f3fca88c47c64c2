"""The slab with its pockets, as a drawing for the machine."""

from __future__ import annotations

import numpy as np

from crackmap.keys.outline import bounding_box
from crackmap.records import Key, Plan, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.drawing import (
    CHECK_BAR,
    CRACK,
    DATUM,
    NOTES,
    POCKET,
    SLAB_EDGE,
    VOID,
    Drawing,
    Mark,
    Note,
    Outline,
    Path,
    Shape,
    closed,
    extent,
    open_path,
)
from crackmap.units import MM_PER_INCH, show_length

NOTE_HEIGHT = 5.0  # read on a screen that shows a whole table top [mm]
_SAME_DEPTH = 0.005  # depths nearer than this are one [mm]


def slab_drawing(survey: Survey, plan: Plan, settings: SheetSettings) -> Drawing:
    """Pockets, datum marks, check bar and, for reference, what was measured; in the slab frame.

    The order is that of cutting, inner outlines first: pockets, voids, cracks,
    the slab's edge.
    """
    shapes: list[Shape] = []
    layers = pocket_layers(plan)
    for key in plan.keys:
        shapes += closed(layers[key.id], key.pocket)
    shapes += datum_marks(survey, settings)
    if settings.with_reference:
        for void in survey.voids:
            shapes += closed(VOID, void.polygon)
        for crack in survey.cracks:
            shapes += open_path(CRACK, crack.centreline)
        shapes += closed(SLAB_EDGE, survey.outline)
    for key in plan.keys:
        shapes += _pocket_notes(key, settings)
    x0, y0 = _below(survey, shapes)
    shapes += check_bar((x0, y0), settings)
    shapes += notes(_heading(survey, plan, settings), (x0, y0 - 8.0 * NOTE_HEIGHT / 5.0))
    return Drawing(f"Pockets of {survey.photo.file}", tuple(shapes))


def pocket_layers(plan: Plan) -> dict[str, str]:
    """Each key's layer: one for all, or one for each depth where depths differ.

    Then no selection by layer can cut two depths as one.
    """
    depths = {round(key.shape.depth / _SAME_DEPTH) for key in plan.keys}
    if len(depths) <= 1:
        return {key.id: POCKET for key in plan.keys}
    # R12 allows no point in a layer's name.
    return {
        key.id: f"{POCKET}_{key.shape.depth:.2f}".rstrip("0").rstrip(".").replace(".", "_") + "MM"
        for key in plan.keys
    }


def datum_marks(survey: Survey, settings: SheetSettings) -> list[Shape]:
    """A point to drill at each datum mark, with its name."""
    shapes: list[Shape] = []
    for name, at in (("A", survey.datum.a), ("B", survey.datum.b)):
        x, y = float(at[0]), float(at[1])
        shapes.append(Mark(DATUM, (x, y), settings.datum_ring))
        shapes.append(Note(NOTES, name, (x + settings.datum_ring, y + settings.datum_ring), NOTE_HEIGHT))
    return shapes


def check_bar(at: tuple[float, float], settings: SheetSettings) -> list[Shape]:
    """A bar of known length, its left end at `at`: measure it in the CAM program."""
    x, y = at
    length = settings.check_bar
    text = f"CHECK BAR {show_length(length, 'mm', 0)} = {length / MM_PER_INCH:.4f} in"
    tall = NOTE_HEIGHT / 2.0
    bar: list[Shape] = [
        Path(CHECK_BAR, np.array([[x, y], [x + length, y]])),
        Path(CHECK_BAR, np.array([[x, y - tall], [x, y + tall]])),
        Path(CHECK_BAR, np.array([[x + length, y - tall], [x + length, y + tall]])),
    ]
    return [*bar, Note(NOTES, text, (x + length + NOTE_HEIGHT, y - tall), NOTE_HEIGHT)]


def notes(lines: list[str], at: tuple[float, float]) -> list[Shape]:
    """Lines of text downwards from `at`."""
    x, y = at
    return [
        Note(NOTES, line, (x, y - 1.6 * NOTE_HEIGHT * (row + 1)), NOTE_HEIGHT)
        for row, line in enumerate(lines)
    ]


def unit_sentence(settings: SheetSettings) -> str:
    """What the numbers in the file are."""
    return "UNITS: INCHES" if settings.drawing_units == "in" else "UNITS: MILLIMETRES"


def both_units(mm: float) -> str:
    """A length that nobody can take for the other unit: 20.0 mm (0.787 in)."""
    return f"{show_length(mm, 'mm')} ({show_length(mm, 'in')})"


def _pocket_notes(key: Key, settings: SheetSettings) -> list[Shape]:
    """Number and depth, under the pocket, so that they never lie on its outline."""
    x0, y0, x1, _ = bounding_box(key.pocket)
    depth = show_length(key.shape.depth, settings.drawing_units)
    return [
        Note(NOTES, f"{key.id} DEPTH {depth}", ((x0 + x1) / 2.0, y0 - 1.6 * NOTE_HEIGHT), NOTE_HEIGHT, True)
    ]


def _below(survey: Survey, shapes: list[Shape]) -> tuple[float, float]:
    """Where bar and heading go: under everything, flush left."""
    outline = Outline(SLAB_EDGE, np.column_stack([survey.outline, np.zeros(len(survey.outline))]))
    x0, y0, _, _ = extent([*shapes, outline])
    return round(x0), round(y0 - 6.0 * NOTE_HEIGHT)


def _heading(survey: Survey, plan: Plan, settings: SheetSettings) -> list[str]:
    depths = sorted({round(key.shape.depth, 2) for key in plan.keys})
    apart = float(np.hypot(*(survey.datum.b - survey.datum.a)))
    lines = [
        f"{unit_sentence(settings)}. ORIGIN: MARK A ({survey.datum.a_name}). X AXIS: THROUGH MARK B "
        f"({survey.datum.b_name}).",
        "SHOW FACE, SEEN FROM ABOVE.",
        f"MARKS A TO B: {both_units(apart)}. CHECK ON THE SLAB.",
    ]
    if depths:
        lines.append(
            "POCKET DEPTH: "
            + ", ".join(both_units(depth) for depth in depths)
            + f". SLAB {both_units(plan.thickness_mm)} THICK."
        )
    return lines
