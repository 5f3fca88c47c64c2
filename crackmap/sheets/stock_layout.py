"""Which key is cut from which board, and where on it.

Boards are kept as plans of half-millimetre cells (larger on large boards). Where a key may go is found
for all places at once by correlating the plan with the key's own cells, so that
a lobe goes into its neighbour's hollow. Cells are rounded to the safe side.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.keys.outline import bounding_box, moved, to_points, to_polygon
from crackmap.records import FloatArray, Key, KeyShape, Plan
from crackmap.settings import SheetSettings
from crackmap.shop import Shop, StockBoard
from crackmap.units import show_length

_FINEST_CELL = 0.5  # [mm]
_MOST_CELLS = 150_000  # of a board; larger ones take coarser cells and as long
_ROUNDING = 1.5  # two rounded outlines may be nearer than they look: a cell's diagonal, and a little [cells]
_CHORD = 0.05  # [mm]
_PLAY = 9  # side of the square in which the play round a place is counted [cells]

PlaceRule = Callable[[NDArray[np.bool_]], tuple[int, int]]


@dataclass(frozen=True, slots=True)
class LaidKey:
    """A key on a board: its waist's middle, in the board's frame (origin at the lower left corner)."""

    name: str  # of the key that it fits, or "spare large"
    shape: KeyShape
    centre: tuple[float, float]  # [mm]


@dataclass(frozen=True, slots=True)
class LaidBoard:
    """A board with the keys cut from it; grain along its length, x."""

    board: StockBoard
    number: int  # in the shop file, from 1; 0 for one that is only proposed
    keys: tuple[LaidKey, ...]


@dataclass(frozen=True, slots=True)
class StockLayout:
    """All boards used, and the keys for which there was none."""

    boards: tuple[LaidBoard, ...]
    left_over: tuple[tuple[str, str], ...]  # name of the key and why


@dataclass(slots=True)
class _Room:
    """Where on a board a shape may still go."""

    stamp: NDArray[np.uint8]  # the shape's own cells
    corner: tuple[float, float]  # of the stamp, in the key's frame [mm]
    free: NDArray[np.bool_]  # True where the stamp's first cell may go


@dataclass(slots=True)
class _Filling:
    """A board while it is being filled; `blocked` is its plan in cells, 1 where no key may lie."""

    board: StockBoard
    number: int
    cell: float  # [mm]
    blocked: NDArray[np.uint8]
    keys: list[LaidKey]
    rooms: dict[bytes, _Room]  # by outline


def lay_out_keys(plan: Plan, shop: Shop, settings: SheetSettings) -> StockLayout:
    """Keys by their true shape, largest first, each along the grain of the first board that takes it.

    Offcuts are used first, then the boards in the shop file's order. Boards are
    filled by several rules; the layout that leaves out fewest keys, then takes
    fewest boards, then least of them, is kept. Without stock in the shop file,
    boards of a common size are proposed.

    Parameters
    ----------
    plan, shop, settings
        The keys; the boards and the bit; gap, edge kept free and spares.
    """
    tries = [_fill(plan, shop, settings, rule) for rule in _RULES]
    return min(tries, key=_waste)  # the first of equals


def _fill(plan: Plan, shop: Shop, settings: SheetSettings, rule: PlaceRule) -> StockLayout:
    """One layout, with one rule for choosing among the free places."""
    gap = shop.bit.diameter + settings.key_gap
    fillings = [_filling(board, number, settings) for number, board in _ordered(shop)]
    left_over: list[tuple[str, str]] = []
    for name, shape in _wanted(plan, settings):
        fitting = [filling for filling in fillings if _suits(filling.board, shape, shop)]
        if any(_lay(filling, name, shape, gap, rule) for filling in fitting):
            continue
        if shop.stock:
            left_over.append((name, _why_not(shape, shop, settings)))
            continue
        fillings.append(_filling(_proposed(shape, shop, settings), 0, settings))
        _lay(fillings[-1], name, shape, gap, rule)
    laid = (
        LaidBoard(filling.board, filling.number, tuple(filling.keys)) for filling in fillings if filling.keys
    )
    return StockLayout(tuple(laid), tuple(left_over))


def _waste(layout: StockLayout) -> tuple[int, int, float]:
    """What to have little of: keys without a board, boards, area up to the last key of each board. [mm2]"""
    used = sum(
        laid.board.width * max(key.centre[0] + bounding_box(key.shape.key)[2] for key in laid.keys)
        for laid in layout.boards
    )
    return len(layout.left_over), len(layout.boards), used


def _toward_corner(slant: float) -> PlaceRule:
    """The free place nearest to the left end, where a step up counts `slant` steps along."""

    def rule(free: NDArray[np.bool_]) -> tuple[int, int]:
        rows, columns = np.nonzero(free)
        best = int(np.argmin(columns + slant * rows))
        return int(rows[best]), int(columns[best])

    return rule


def _snug(free: NDArray[np.bool_]) -> tuple[int, int]:
    """The free place with the least play round it; of those much alike, one toward the left end."""
    around = np.ones((_PLAY, _PLAY), np.float32)
    play = cv2.filter2D(free.astype(np.float32), -1, around, borderType=cv2.BORDER_CONSTANT)
    play += np.linspace(0.0, _PLAY**2 / 4.0, free.shape[1], dtype=np.float32)
    play[~free] = np.inf
    row, column = divmod(int(np.argmin(play)), free.shape[1])
    return row, column


# Each is best on some orders; a layout takes hundredths of a second, so all are tried.
_RULES: tuple[PlaceRule, ...] = (_toward_corner(0.0), _toward_corner(0.3), _toward_corner(1.0), _snug)


def _ordered(shop: Shop) -> list[tuple[int, StockBoard]]:
    return sorted(enumerate(shop.stock, 1), key=lambda entry: (not entry[1].offcut, entry[0]))


def _wanted(plan: Plan, settings: SheetSettings) -> list[tuple[str, KeyShape]]:
    """Every key and the spares, largest first."""
    kinds: dict[str, Key] = {}
    for key in plan.keys:
        kinds.setdefault(key.size_name, key)
    spares = [(f"spare {name}", key.shape) for name, key in kinds.items() for _ in range(settings.spare_keys)]
    wanted = [*((key.id, key.shape) for key in plan.keys), *spares]
    return sorted(wanted, key=lambda each: (-each[1].width, -each[1].length))


def _size(shape: KeyShape) -> tuple[float, float]:
    x0, y0, x1, y1 = bounding_box(shape.key)
    return x1 - x0, y1 - y0


def _suits(board: StockBoard, shape: KeyShape, shop: Shop) -> bool:
    wood = shop.keys.key_wood.lower()
    return board.thickness >= shape.thickness - 1e-9 and (
        not wood or not board.wood or board.wood.lower() == wood
    )


def _lay(filling: _Filling, name: str, shape: KeyShape, gap: float, rule: PlaceRule) -> bool:
    """Put a key on a board if there is room, its grain along the board's; True if it went."""
    cell = filling.cell
    outline = shape.key.tobytes()
    if outline not in filling.rooms:
        stamp, corner = _stamp(shape, cell)
        filling.rooms[outline] = _Room(stamp, corner, _free_places(filling.blocked, stamp))
    room = filling.rooms[outline]
    if not room.free.any():
        return False
    row, column = rule(room.free)
    centre = column * cell - room.corner[0], row * cell - room.corner[1]
    filling.keys.append(LaidKey(name, shape, centre))
    taken = shapely.buffer(to_polygon(moved(shape.key, 0.0, centre), _CHORD), gap + _ROUNDING * cell)
    _take(filling, shapely.get_coordinates(taken.exterior))
    return True


def _take(filling: _Filling, polygon: FloatArray) -> None:
    """Block a polygon's cells, and look again at the places that it may have taken from each shape."""
    _block(filling.blocked, polygon, filling.cell)
    low = np.round(polygon.min(axis=0) / filling.cell).astype(int)[::-1]
    high = np.round(polygon.max(axis=0) / filling.cell).astype(int)[::-1]
    for room in filling.rooms.values():
        size = np.array(room.stamp.shape)
        first = np.maximum(low - size + 1, 0)
        last = np.minimum(high + 1, room.free.shape)
        if (last <= first).any():
            continue
        window = filling.blocked[first[0] : last[0] + size[0] - 1, first[1] : last[1] + size[1] - 1]
        room.free[first[0] : last[0], first[1] : last[1]] = _free_places(window, room.stamp)


def _filling(board: StockBoard, number: int, settings: SheetSettings) -> _Filling:
    """An empty board, its edges blocked."""
    cell = max(_FINEST_CELL, math.sqrt(board.length * board.width / _MOST_CELLS))
    blocked = np.ones((math.floor(board.width / cell) + 1, math.floor(board.length / cell) + 1), np.uint8)
    kept = settings.board_edge + _ROUNDING * cell
    first = math.ceil(kept / cell)
    last = [math.floor((side - kept) / cell) for side in (board.width, board.length)]
    blocked[first : max(first, last[0] + 1), first : max(first, last[1] + 1)] = 0
    return _Filling(board, number, cell, blocked, [], {})


def _stamp(shape: KeyShape, cell: float) -> tuple[NDArray[np.uint8], tuple[float, float]]:
    """The cells that a key touches, and where in the key's frame the first of them lies. [mm]"""
    x0, y0, x1, y1 = bounding_box(shape.key)
    stamp = np.zeros((math.ceil((y1 - y0) / cell) + 1, math.ceil((x1 - x0) / cell) + 1), np.uint8)
    _block(stamp, to_points(shape.key, _CHORD) - [x0, y0], cell)
    return stamp, (x0, y0)


def _block(cells: NDArray[np.uint8], polygon: FloatArray, cell: float) -> None:
    """Block the cells inside and along a polygon. [mm]"""
    cv2.fillPoly(cells, [np.round(polygon / cell).astype(np.int32)], 1)


def _free_places(blocked: NDArray[np.uint8], stamp: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Where the stamp's first cell may go so that it covers nothing blocked."""
    if any(small > large for small, large in zip(stamp.shape, blocked.shape, strict=True)):
        return np.zeros((0, 0), bool)
    covered = cv2.matchTemplate(blocked.astype(np.float32), stamp.astype(np.float32), cv2.TM_CCORR)
    return np.asarray(covered < 0.5)  # a count of cells, blurred a little by the transform it is made with


def _proposed(shape: KeyShape, shop: Shop, settings: SheetSettings) -> StockBoard:
    """A board of the common size, thick, long and wide enough for this key."""
    common = StockBoard()
    edge = settings.board_edge + 4.0 * _FINEST_CELL
    length, height = _size(shape)
    return StockBoard(
        max(common.length, length + 2.0 * edge),
        max(common.width, height + 2.0 * edge),
        shape.thickness,
        shop.keys.key_wood,
    )


def _why_not(shape: KeyShape, shop: Shop, settings: SheetSettings) -> str:
    def shown(mm: float) -> str:
        return show_length(mm, settings.units)

    if not any(board.thickness >= shape.thickness - 1e-9 for board in shop.stock):
        return (
            f"no board is {shown(shape.thickness)} thick; the thickest is "
            f"{shown(max(board.thickness for board in shop.stock))}"
        )
    if not any(_suits(board, shape, shop) for board in shop.stock):
        return f"no board of {shop.keys.key_wood} is {shown(shape.thickness)} thick"
    return (
        f"no room left for {shown(shape.length)} x {shown(shape.width)} along the grain, with "
        f"{shown(settings.board_edge)} kept free at the edges"
    )
