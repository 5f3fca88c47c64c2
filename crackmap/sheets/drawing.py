"""A drawing apart from its file format: shapes on layers, in millimetres.

Terminology
-----------
Layer    one kind of thing. Only what `CUT_LAYERS` names is for the machine.
Outline  closed; rows ``(x, y, bulge)`` as everywhere (DXF's bulge).
Path     open; a crack's centreline, an arrow.
Mark     a point to drill or prick: drawn as a point with a ring round it.
Note     one line of text, its lower left corner (or middle) at a point.

The DXF and SVG writers take a `Drawing` and decide nothing, so the two files
always agree.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from crackmap.errors import SheetError
from crackmap.keys.outline import bounding_box, mirrored, moved
from crackmap.records import FloatArray, frozen_array

POCKET, KEY = "POCKET", "KEY"
SLAB_EDGE, VOID, CRACK = "SLAB_EDGE", "VOID", "CRACK"
DATUM, CHECK_BAR, NOTES = "DATUM", "CHECK_BAR", "NOTES"
BOARD, GRAIN, TAB = "BOARD", "GRAIN_ARROW", "TAB"
BED_EDGE, WITNESS, CLAMP = "BED_EDGE", "WITNESS", "CLAMP"
CUT_LAYERS = (POCKET, KEY)  # and those that begin with "POCKET_": one for each depth

# From the slab frame to the underside's: the slab turned over about the x axis, so that both marks keep their x.
TURNED_OVER = np.diag([1.0, -1.0, 1.0])

# Points nearer than this are one point. A hundredth of what a router holds. [mm]
SAME_POINT = 0.001


@dataclass(frozen=True, slots=True)
class Outline:
    """A closed outline."""

    layer: str
    rows: FloatArray  # (N, 3) [mm, mm, -]


@dataclass(frozen=True, slots=True)
class Path:
    """An open line of straight pieces."""

    layer: str
    points: FloatArray  # (N, 2) [mm]


@dataclass(frozen=True, slots=True)
class Mark:
    """A point to drill, with a ring round it."""

    layer: str
    at: tuple[float, float]  # [mm]
    ring: float  # diameter [mm]


@dataclass(frozen=True, slots=True)
class Note:
    """A line of text."""

    layer: str
    text: str
    at: tuple[float, float]  # [mm]
    height: float  # of a capital letter [mm]
    centred: bool = False  # `at` is the middle of the line's foot instead of its left end


Shape = Outline | Path | Mark | Note


@dataclass(frozen=True, slots=True)
class Drawing:
    """Shapes in the order in which they are written: inner outlines before outer ones."""

    title: str
    shapes: tuple[Shape, ...]

    @property
    def layers(self) -> tuple[str, ...]:
        """Names of the layers used, in order of first use."""
        return tuple(dict.fromkeys(shape.layer for shape in self.shapes))


def closed(layer: str, points: ArrayLike) -> list[Outline]:
    """An outline from points (N, 2) or rows (N, 3) without repeats; none where less than an area is left."""
    rows = np.asarray(points, float)
    if rows.shape[1] == 2:
        rows = np.column_stack([rows, np.zeros(len(rows))])
    step = np.hypot(*(np.roll(rows[:, :2], -1, axis=0) - rows[:, :2]).T)
    kept = rows[step > SAME_POINT]
    enough = len(kept) >= 3 or (len(kept) == 2 and bool(np.any(kept[:, 2] != 0.0)))
    return [Outline(layer, frozen_array(kept, 3))] if enough else []


def open_path(layer: str, points: ArrayLike) -> list[Path]:
    """A path without repeated points; none where less than a line is left."""
    line = np.asarray(points, float).reshape(-1, 2)
    step = np.hypot(*np.diff(line, axis=0).T)
    kept = line[np.r_[True, step > SAME_POINT]]
    return [Path(layer, frozen_array(kept, 2))] if len(kept) >= 2 else []


def transformed(drawing: Drawing, transform: ArrayLike) -> Drawing:
    """The drawing in another frame.

    Parameters
    ----------
    transform : array_like, shape (3, 3)
        Rigid: a turn and a shift, with a mirror for the underside. Takes
        (x, y, 1) of the slab frame to the other frame's. [mm]

    Raises
    ------
    SheetError
        If it stretches: a drawing for a machine is never to another scale.
    """
    matrix = np.asarray(transform, float).reshape(3, 3)
    turn = matrix[:2, :2]
    if not np.allclose(turn @ turn.T, np.eye(2), atol=1e-9) or not np.allclose(matrix[2], [0, 0, 1]):
        raise SheetError(
            "a drawing is only moved, turned and mirrored, but this transform stretches it; give a rigid one."
        )
    flips = float(np.linalg.det(turn)) < 0.0
    # A mirroring transform is a mirror in the x axis, then a turn.
    plain = turn @ np.diag([1.0, -1.0]) if flips else turn
    angle = float(np.degrees(np.arctan2(plain[1, 0], plain[0, 0])))

    def points(xy: ArrayLike) -> FloatArray:
        return frozen_array(np.asarray(xy, float).reshape(-1, 2) @ turn.T + matrix[:2, 2])

    def one(shape: Shape) -> Shape:
        if isinstance(shape, Outline):
            return replace(
                shape, rows=moved(mirrored(shape.rows) if flips else shape.rows, angle, matrix[:2, 2])
            )
        if isinstance(shape, Path):
            return replace(shape, points=points(shape.points))
        x, y = points(shape.at)[0]
        return replace(shape, at=(float(x), float(y)))

    return Drawing(drawing.title, tuple(one(shape) for shape in drawing.shapes))


def extent(shapes: Iterable[Shape]) -> tuple[float, float, float, float]:
    """(x least, y least, x most, y most) of all shapes but the notes, exact. [mm]"""
    spans = [np.zeros((0, 2))]
    for shape in shapes:
        if isinstance(shape, Outline):
            spans.append(np.reshape(bounding_box(shape.rows), (2, 2)))
        elif isinstance(shape, Path):
            spans.append(shape.points)
        elif isinstance(shape, Mark):
            spans.append(np.array(shape.at) + [[-shape.ring / 2] * 2, [shape.ring / 2] * 2])
    every = np.concatenate(spans)
    if not len(every):
        return 0.0, 0.0, 0.0, 0.0
    low, high = every.min(axis=0), every.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
