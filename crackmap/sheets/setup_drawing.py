"""One set-up as a drawing in machine coordinates: the pockets cut in it, its marks, and what is drilled for later."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from crackmap.records import FloatArray, Plan, Setup, SetupMark, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.drawing import (
    BED_EDGE,
    CLAMP,
    DATUM,
    NOTES,
    WITNESS,
    Drawing,
    Mark,
    Note,
    Shape,
    closed,
    extent,
    transformed,
)
from crackmap.sheets.order import made_ready
from crackmap.sheets.plan_mark import mark_sentence
from crackmap.sheets.slab_drawing import (
    NOTE_HEIGHT,
    both_units,
    check_bar,
    notes,
    pocket_layers,
    pocket_notes,
    reference_shapes,
    unit_sentence,
)
from crackmap.shop import Bed
from crackmap.units import show_length


def setup_drawing(survey: Survey, plan: Plan, setup: Setup, bed: Bed | None, settings: SheetSettings,
                  slab_to_machine: ArrayLike | None = None) -> Drawing:
    """The drawing of one set-up.

    Parameters
    ----------
    survey, plan, setup, bed
        The slab, all keys, which of them are cut here, and the bed that is drawn where the place is planned.
    settings : SheetSettings
        Unit, order, texts, reference layers.
    slab_to_machine : array_like, shape (3, 3), optional
        Where the slab really lies, found by jogging to the marks; None: where it is planned to lie,
        with the bed's front left corner at 0, 0. [mm]
    """
    is_planned = slab_to_machine is None
    matrix = setup.matrix if slab_to_machine is None else np.asarray(slab_to_machine, float)
    layers = pocket_layers(plan)
    keys = [key for key in plan.keys if key.id in setup.keys]
    on_slab: list[Shape] = [outline for key in keys for outline in closed(layers[key.id], key.pocket)]
    on_slab += [Mark(DATUM, mark.at, settings.datum_ring) for mark in setup.marks]
    on_slab += [Mark(WITNESS, mark.at, settings.datum_ring) for mark in setup.to_drill]
    on_slab += reference_shapes(survey) if settings.with_reference else []
    shapes = list(transformed(Drawing("", tuple(on_slab)), matrix).shapes)
    for key, pocket in zip(keys, shapes, strict=False):
        shapes += pocket_notes(key, pocket, settings)
    shapes += _mark_names([*setup.marks, *setup.to_drill], matrix, settings)
    if is_planned and bed is not None:
        shapes += closed(BED_EDGE, _box((0.0, 0.0, bed.x, bed.y)))
        for clamp in bed.clamps:
            shapes += closed(CLAMP, _box(clamp))
    x0, y0, _, _ = extent(shapes)
    foot = float(round(x0)), float(round(y0 - 6.0 * NOTE_HEIGHT))
    shapes += check_bar(foot, settings)
    lines = _words(plan, setup, matrix, is_planned, settings)
    shapes += notes(lines, (foot[0], foot[1] - 1.6 * NOTE_HEIGHT))
    return made_ready(f"Set-up {setup.number} of {survey.photo.file}", shapes, settings)


def _box(box: tuple[float, ...]) -> FloatArray:
    x, y, length, width = box
    return np.array([(x, y), (x + length, y), (x + length, y + width), (x, y + width)])


def on_machine(mark: SetupMark, matrix: ArrayLike) -> tuple[float, float]:
    """Where a mark lies on the machine. [mm]"""
    x, y, _ = np.asarray(matrix, float) @ [*mark.at, 1.0]
    return float(x), float(y)


def _mark_names(marks: list[SetupMark], matrix: FloatArray, settings: SheetSettings) -> list[Shape]:
    names: list[Shape] = []
    for mark in marks:
        x, y = on_machine(mark, matrix)
        names.append(Note(NOTES, mark.name, (x + settings.datum_ring, y + settings.datum_ring), NOTE_HEIGHT))
    return names


def _words(plan: Plan, setup: Setup, matrix: FloatArray, is_planned: bool, settings: SheetSettings) -> list[str]:
    unit = settings.drawing_units

    def place(mark: SetupMark) -> str:
        x, y = (show_length(v, unit, 2).split(" ")[0] for v in on_machine(mark, matrix))
        return f"{mark.name} AT {x}, {y}"

    lines = [f"SET-UP {setup.number} OF {len(plan.setups)}. {unit_sentence(settings)}. "
             + ("PLANNED: ORIGIN AT THE BED'S FRONT LEFT CORNER." if is_planned else "AS JOGGED ON THE MACHINE.")]
    if setup.marks:
        lines.append("MARKS: " + "; ".join(place(mark) for mark in setup.marks) + ".")
    if len(setup.marks) >= 2:
        apart = float(np.hypot(*np.subtract(setup.marks[0].at, setup.marks[1].at)))
        lines.append(f"{setup.marks[0].name} TO {setup.marks[1].name}: {both_units(apart)}. CHECK ON THE SLAB.")
    if setup.to_drill:
        lines.append("DRILL FOR LATER SET-UPS: " + "; ".join(place(mark) for mark in setup.to_drill) + ".")
    if is_planned:
        lines.append("THE SLAB NEVER LIES EXACTLY SO: JOG TO THE MARKS AND SHIFT THE DRAWING BEFORE CUTTING.")
    depths = sorted({round(key.shape.depth, 2) for key in plan.keys if key.id in setup.keys})
    lines.append("POCKET DEPTH: " + ", ".join(both_units(depth) for depth in depths) + ". SHOW FACE, SEEN FROM ABOVE.")
    lines.append(mark_sentence(plan))
    return lines

