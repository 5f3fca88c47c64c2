"""The slab with its pockets, as a drawing for the machine."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from crackmap.keys.outline import offset
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
    transformed,
)
from crackmap.sheets.order import made_ready
from crackmap.sheets.plan_mark import mark_sentence
from crackmap.units import MM_PER_INCH, show_length

NOTE_HEIGHT = 5.0  # read on a screen that shows a whole table top [mm]
_SAME_DEPTH = 0.005  # depths nearer than this are one [mm]


def slab_drawing(
    survey: Survey, plan: Plan, settings: SheetSettings, transform: ArrayLike | None = None
) -> Drawing:
    """Pockets, datum marks, check bar and, for reference, what was measured.

    In the slab frame, or where `transform` (3, 3) takes it; texts stay upright
    and say which frame it is. Outlines come in the order of `settings.order`.
    """
    geometry = Drawing("", tuple(_geometry(survey, plan, settings)))
    moved = geometry if transform is None else transformed(geometry, transform)
    pockets = dict(zip((key.id for key in plan.keys), moved.shapes, strict=False))
    shapes = list(moved.shapes)
    for key in plan.keys:
        shapes += pocket_notes(key, pockets[key.id], settings)
    shapes += _datum_names(moved.shapes)
    x0, y0, _, _ = extent(moved.shapes)
    foot = (float(round(x0)), float(round(y0 - 6.0 * NOTE_HEIGHT)))
    shapes += check_bar(foot, settings)
    lines = [*_frame_words(survey, settings, transform), *_heading(survey, plan)]
    shapes += notes(lines, (foot[0], foot[1] - 1.6 * NOTE_HEIGHT))
    return made_ready(f"Pockets of {survey.photo.file}", shapes, settings)


def pocket_drawing(survey: Survey, key: Key, wider_by: float, settings: SheetSettings) -> Drawing:
    """One pocket alone, `wider_by` mm wider all round, in the slab frame; see `dxf.pocket_dxf`."""
    outline = Outline(POCKET, offset(key.pocket, wider_by))
    shapes: list[Shape] = [outline, *_datum_rings(survey, settings)]
    shapes += [*pocket_notes(key, outline, settings), *_datum_names(shapes)]
    x0, y0, _, _ = extent(shapes)
    foot = (float(round(x0)), float(round(y0 - 6.0 * NOTE_HEIGHT)))
    wider = f"POCKET {key.id} ALONE, {both_units(wider_by, 2)} WIDER ON EVERY SIDE. SAME ZERO AS BEFORE."
    lines = [*_frame_words(survey, settings, None), wider]
    shapes += [*check_bar(foot, settings), *notes(lines, (foot[0], foot[1] - 1.6 * NOTE_HEIGHT))]
    return made_ready(f"Pocket {key.id} of {survey.photo.file}, wider", shapes, settings)


def _geometry(survey: Survey, plan: Plan, settings: SheetSettings) -> list[Shape]:
    """All but texts and bar, the pockets first and in the keys' order."""
    layers = pocket_layers(plan)
    shapes: list[Shape] = [outline for key in plan.keys for outline in closed(layers[key.id], key.pocket)]
    shapes += _datum_rings(survey, settings)
    return shapes + (reference_shapes(survey) if settings.with_reference else [])


def reference_shapes(survey: Survey) -> list[Shape]:
    """What was measured: not to be cut."""
    shapes: list[Shape] = []
    for void in survey.voids:
        shapes += closed(VOID, void.polygon)
    for crack in survey.cracks:
        shapes += open_path(CRACK, crack.centreline)
    shapes += closed(SLAB_EDGE, survey.outline)
    return shapes


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


def _datum_rings(survey: Survey, settings: SheetSettings) -> list[Shape]:
    """A point to drill at each datum mark, A first."""
    return [
        Mark(DATUM, (float(at[0]), float(at[1])), settings.datum_ring)
        for at in (survey.datum.a, survey.datum.b)
    ]


def _datum_names(shapes: Iterable[Shape]) -> list[Shape]:
    """The marks' names, beside them."""
    marks = [shape for shape in shapes if isinstance(shape, Mark)]
    return [
        Note(NOTES, name, (mark.at[0] + mark.ring, mark.at[1] + mark.ring), NOTE_HEIGHT)
        for name, mark in zip("AB", marks, strict=True)
    ]


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


def both_units(mm: float, digits: int = 1) -> str:
    """A length that nobody can take for the other unit: 20.0 mm (0.787 in); `digits` decimals of a mm."""
    return f"{show_length(mm, 'mm', digits)} ({show_length(mm, 'in', digits)})"


def bit_sentence(keys: Sequence[Key]) -> str:
    """The widest bit that reaches into every inside corner of the pockets."""
    widest = 2.0 * min(key.shape.corner_radius for key in keys)
    return f"SMALLEST INSIDE CORNER: FOR A BIT OF {both_units(widest, 2)} AT MOST."


def pocket_notes(key: Key, pocket: Shape, settings: SheetSettings) -> list[Shape]:
    """Number and depth, under the pocket, so that they never lie on its outline."""
    x0, y0, x1, _ = extent([pocket])
    depth = show_length(key.shape.depth, settings.drawing_units)
    at = (x0 + x1) / 2.0, y0 - 1.6 * NOTE_HEIGHT
    return [Note(NOTES, f"{key.id} DEPTH {depth}", at, NOTE_HEIGHT, True)]


def _frame_words(survey: Survey, settings: SheetSettings, transform: ArrayLike | None) -> list[str]:
    """The unit, and which frame the numbers are in."""
    units = unit_sentence(settings)
    if transform is None:
        origin = f"ORIGIN: MARK A ({survey.datum.a_name}). X AXIS: THROUGH MARK B ({survey.datum.b_name})."
        return [f"{units}. {origin}", "SHOW FACE, SEEN FROM ABOVE."]
    matrix = np.asarray(transform, float)
    (ax, ay), (bx, by) = (matrix[:2, :2] @ at + matrix[:2, 2] for at in (survey.datum.a, survey.datum.b))
    flipped = float(np.linalg.det(matrix[:2, :2])) < 0.0
    face = "UNDERSIDE, MIRRORED: SEEN FROM THE UNDERSIDE." if flipped else "SHOW FACE, SEEN FROM ABOVE."

    def place(x: float, y: float) -> str:
        figures = (show_length(v, settings.drawing_units, 2).split(" ")[0] for v in (x, y))
        return ", ".join(figures)

    return [f"{units}. MOVED: MARK A IS AT {place(ax, ay)}; MARK B IS AT {place(bx, by)}.", face]


def _heading(survey: Survey, plan: Plan) -> list[str]:
    apart = float(np.hypot(*(survey.datum.b - survey.datum.a)))
    lines = [f"MARKS A TO B: {both_units(apart)}. CHECK ON THE SLAB.", mark_sentence(plan)]
    depths = sorted({round(key.shape.depth, 2) for key in plan.keys})
    if depths:
        listed = ", ".join(both_units(depth) for depth in depths)
        lines.append(f"POCKET DEPTH: {listed}. SLAB {both_units(plan.thickness_mm)} THICK.")
        lines.append(bit_sentence(plan.keys))
    return lines
