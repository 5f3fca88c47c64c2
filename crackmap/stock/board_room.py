"""One board while it is being filled: where a key of each kind may still lie."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crackmap.keys.outline import bounding_box, to_points
from crackmap.records import FloatArray, KeyShape
from crackmap.shop import StockBoard
from crackmap.stock.clearances import STEP, Clearance, Silhouette, clearance, silhouette

_CHORD = 0.01  # of a key's arcs [mm]
_NUDGE = 1e-6  # keys that touch each other's gap do not overlap [mm]
_NOWHERE = np.inf


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """A key shape on a board: itself, and with the gap laid round it."""

    shape: KeyShape
    own: Silhouette
    spaced: Silhouette
    box: tuple[float, float, float, float]  # [mm]


@dataclass(frozen=True, slots=True)
class Laid:
    """A place: which entry of the order, and the waist's middle. [mm]"""

    entry: int
    x: float
    y: float


def kinds_of(shapes: Sequence[KeyShape], gap: float) -> list[Kind]:
    """The shapes as kinds, with `gap` between any two of them. [mm]"""
    made = []
    for shape in shapes:
        points = to_points(shape.key, _CHORD)
        made.append(Kind(shape, silhouette(points), silhouette(points, gap), bounding_box(shape.key)))
    return made


class Meetings:
    """The clearances of all pairs of kinds, and of kinds with a board's kept-free boxes; made once."""

    def __init__(self, kinds: Sequence[Kind], gap: float) -> None:
        self.kinds = kinds
        self._gap = gap
        self._pairs: dict[tuple[int, int], Clearance] = {}

    def of(self, laid: int, coming: int) -> Clearance:
        """Where kind `coming` may not lie beside one of kind `laid`."""
        if (laid, coming) not in self._pairs:
            self._pairs[laid, coming] = clearance(self.kinds[laid].spaced, self.kinds[coming].own)
        return self._pairs[laid, coming]

    def with_box(self, box: Sequence[float], coming: int) -> Clearance:
        """Where kind `coming` may not lie beside a box, in the board's own frame."""
        x, y, length, width = box
        corners = np.array([(x, y), (x + length, y), (x + length, y + width), (x, y + width)])
        return clearance(silhouette(corners, self._gap), self.kinds[coming].own)


def fill(board: StockBoard, edge: float, order: Sequence[int], meetings: Meetings, climb: float,
         most_length: float | None = None) -> list[Laid]:
    """Lay keys on a board one after the other, each where it costs least.

    Parameters
    ----------
    board, edge
        The board, and what is kept free round it. [mm]
    order : sequence of int
        Kinds of `meetings`, in the order in which they are laid; those that find no room are passed over.
    climb : float
        What a millimetre up costs, in millimetres along: small fills column by column, large row by row. [-]
    most_length : float, optional
        How much of the board's length may be used; None: all of it. [mm]
    """
    length = board.length if most_length is None else min(most_length, board.length)
    lowest: dict[int, _Lowest] = {}
    laid: list[tuple[int, int, float]] = []  # kind, cell, y
    places: list[Laid] = []
    for entry, kind in enumerate(order):
        if kind not in lowest:
            lowest[kind] = _Lowest(board, edge, length, kind, meetings, laid)
        at = lowest[kind].best(climb)
        if at is None:
            continue
        cell, y = at
        laid.append((kind, cell, y))
        places.append(Laid(entry, cell * STEP, y))
        for each in lowest.values():
            each.take(kind, cell, y)
    return places


class _Lowest:
    """The lowest free place of one kind at every position along the board."""

    def __init__(self, board: StockBoard, edge: float, length: float, kind: int, meetings: Meetings,
                 laid: list[tuple[int, int, float]]) -> None:
        x0, y0, x1, y1 = meetings.kinds[kind].box
        self._kind, self._meetings = kind, meetings
        self._first = math.ceil((edge - x0) / STEP - 1e-9)
        count = max(0, math.floor((length - edge - x1) / STEP + 1e-9) - self._first + 1)
        self._least, self._most = edge - y0, board.width - edge - y1
        self.y = np.full(count, self._least if self._most >= self._least else _NOWHERE)
        # Bands of y, one a thing in the way, that are closed at the cells from `start`.
        self._bands: list[tuple[int, FloatArray, FloatArray]] = []
        for box in board.keep_free:
            near = meetings.with_box(box, kind)
            self._add_band(near.first, near, 0.0)
        for other, cell, y in laid:
            self.take(other, cell, y)

    def best(self, climb: float) -> tuple[int, float] | None:
        """The cheapest place left: cell and y."""
        free = np.flatnonzero(np.isfinite(self.y))
        if not len(free):
            return None
        index = int(free[np.argmin(free * STEP + climb * self.y[free])])
        return self._first + index, float(self.y[index])

    def take(self, other: int, cell: int, y: float) -> None:
        """A key of kind `other` was laid."""
        near = self._meetings.of(other, self._kind)
        self._add_band(near.first + cell, near, y)

    def _add_band(self, cell: int, near: Clearance, y: float) -> None:
        start = cell - self._first
        low, high = max(0, start), min(len(self.y), start + len(near.top))
        if low >= high:
            return
        self._bands.append((low, near.foot[low - start : high - start] + y, near.top[low - start : high - start] + y))
        self._climb_over(low, high)

    def _climb_over(self, low: int, high: int) -> None:
        """Raise the lowest places of cells `low` to `high` until none lies in a band."""
        y = self.y[low:high].copy()
        raised = True
        while raised:
            raised = False
            for start, foot, top in self._bands:
                a, b = max(low, start), min(high, start + len(foot))
                if a >= b:
                    continue
                part = y[a - low : b - low]
                inside = (part > foot[a - start : b - start] + _NUDGE) & (part < top[a - start : b - start] - _NUDGE)
                if inside.any():
                    part[inside] = top[a - start : b - start][inside]
                    raised = True
        y[y > self._most + _NUDGE] = _NOWHERE
        self.y[low:high] = y
