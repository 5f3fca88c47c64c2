"""The stage: the keys of a plan on the boards of the shop."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from crackmap.errors import SettingsError
from crackmap.keys.outline import bounding_box, outline_area
from crackmap.records import Key, KeyShape, LaidBoard, LaidKey, StockLayout
from crackmap.settings import CuttingSettings, nearest_hint
from crackmap.shop import Shop, StockBoard
from crackmap.stock.board_room import Laid, Meetings, fill, kinds_of
from crackmap.units import show_length

HOLDS = ("auto", "skin", "tabs")
# What a step up costs in steps along: from filling column by column to row by row. In rows,
# each key comes to lie over the gap between two of the row below, head to waist.
_CLIMBS = (0.0, 0.3, 1.0, 1000.0)
_HALVINGS = 5  # between the length that the keys' wood alone asks for and the shortest found


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A key to be cut."""

    number: int
    name: str  # its own, or "spare large"
    like: str  # id of a key of this shape
    kind: int


@dataclass(frozen=True, slots=True)
class _Filling:
    """One way to fill a board."""

    order: list[_Wanted]
    places: list[Laid]
    wood: float  # area of the keys laid [mm2]
    length: float  # of the board, up to its last key [mm]


def lay_out_keys(keys: Sequence[Key], shop: Shop, settings: CuttingSettings, units: str = "mm") -> StockLayout:
    """Keys by their true shape on boards, each along the board's grain.

    Offcuts are used first, then the boards in the shop file's order. Each board is filled in several
    ways, of which the one that takes most wood of keys is kept, and on the board that takes the last
    key the one that uses least of its length. Without stock in the shop file, boards of a common size
    are proposed.

    Parameters
    ----------
    keys, shop, settings
        The keys; the boards, the bit and the keys' wood; gap, edge kept free and spares.
    units : {"mm", "in"}
        Of the reasons in words.

    Raises
    ------
    SettingsError
        If `hold` is unknown or a figure is negative.
    """
    _demand_sense(settings)
    gap = shop.bit.diameter + settings.key_gap
    shapes, wanted = _wanted(keys, settings)
    meetings = Meetings(kinds_of(shapes, gap), gap)
    boards: list[LaidBoard] = []
    left = wanted
    for number, board in _ordered(shop.stock):
        left = _use(board, number, left, meetings, shop, settings, boards)
    if shop.stock:
        reasons = ((w.name, _why_not(shapes[w.kind], shop, settings, units)) for w in left)
        return StockLayout(tuple(boards), tuple(reasons))
    while left:
        board = _proposed([shapes[w.kind] for w in left], shop, settings)
        left = _use(board, 0, left, meetings, shop, settings, boards)
    return StockLayout(tuple(boards))


def _demand_sense(settings: CuttingSettings) -> None:
    if settings.hold not in HOLDS:
        hint = nearest_hint(settings.hold, list(HOLDS))
        raise SettingsError(f"unknown way to hold the keys {settings.hold!r}{hint}")
    for name in ("key_gap", "board_edge", "spare_keys", "skin"):
        if not getattr(settings, name) >= 0:
            raise SettingsError(f"{name.replace('_', ' ')} is {getattr(settings, name):g}; give 0 or more.")


def _ordered(stock: Iterable[StockBoard]) -> list[tuple[int, StockBoard]]:
    return sorted(enumerate(stock, 1), key=lambda entry: (not entry[1].offcut, entry[0]))


def _wanted(keys: Sequence[Key], settings: CuttingSettings) -> tuple[list[KeyShape], list[_Wanted]]:
    """The distinct shapes; every key and then the spares of each shape, largest first."""
    numbers: dict[bytes, int] = {}
    shapes: list[KeyShape] = []
    firsts: list[Key] = []
    names: list[tuple[str, str, int]] = []
    for key in keys:
        form = key.shape.key.tobytes() + np.float64(key.shape.thickness).tobytes()
        if form not in numbers:
            numbers[form] = len(shapes)
            shapes.append(key.shape)
            firsts.append(key)
        names.append((key.id, key.id, numbers[form]))
    names += [(f"spare {key.size_name or key.id}", key.id, kind)
              for kind, key in enumerate(firsts) for _ in range(settings.spare_keys)]
    wanted = [_Wanted(number, *each) for number, each in enumerate(names)]
    return shapes, sorted(wanted, key=lambda w: (-shapes[w.kind].width, -shapes[w.kind].length))


def _use(board: StockBoard, number: int, wanted: list[_Wanted], meetings: Meetings, shop: Shop,
         settings: CuttingSettings, boards: list[LaidBoard]) -> list[_Wanted]:
    """Fill one board, note it in `boards` if it took a key, and return the keys still wanted."""
    shapes = [kind.shape for kind in meetings.kinds]
    fitting = [w for w in wanted if suits(board, shapes[w.kind], shop, settings)]
    filling = _best_filling(board, fitting, meetings, settings)
    if not filling.places:
        return wanted
    chosen = [(filling.order[place.entry], place) for place in filling.places]
    laid = tuple(LaidKey(w.name, w.like, shapes[w.kind], (p.x, p.y)) for w, p in chosen)
    thickest = max(key.shape.thickness for key in laid)
    skin = settings.hold != "tabs" and board.thickness >= thickest + settings.skin - 1e-9
    boards.append(LaidBoard(board, number, "skin" if skin else "tabs", laid))
    taken = {w.number for w, _ in chosen}
    return [w for w in wanted if w.number not in taken]


def suits(board: StockBoard, shape: KeyShape, shop: Shop, settings: CuttingSettings) -> bool:
    """True where the board is thick enough for the key, and of the keys' wood or of none that is named."""
    needed = shape.thickness + (settings.skin if settings.hold == "skin" else 0.0)
    wood, own = _plain(shop.keys.key_wood), _plain(board.wood)
    return board.thickness >= needed - 1e-9 and (not wood or not own or own == wood)


def _plain(wood: str) -> str:
    return " ".join(wood.lower().replace("_", " ").replace("-", " ").split())


def _best_filling(board: StockBoard, fitting: list[_Wanted], meetings: Meetings, settings: CuttingSettings) -> _Filling:
    """The filling that takes most wood of keys, and where several take all, least of the board's length.
    """
    best = _Filling(fitting, [], 0.0, 0.0)
    for climb in _CLIMBS:
        best = min(best, _filled(board, fitting, meetings, settings, climb, None), key=_cost)
    for order in _orders(fitting):
        if len(best.places) < len(fitting):
            for climb in _CLIMBS[1:]:
                best = min(best, _filled(board, order, meetings, settings, climb, None), key=_cost)
        else:
            for climb in _CLIMBS[1:]:
                best = min(best, _pressed(board, order, meetings, settings, climb, best.length), key=_cost)
    return best


def _pressed(board: StockBoard, order: list[_Wanted], meetings: Meetings, settings: CuttingSettings, climb: float,
             length: float) -> _Filling:
    """All keys in less than `length`, if halving finds a way; lengths that fail say nothing of shorter ones."""
    low = sum(outline_area(meetings.kinds[w.kind].shape.key) for w in order) / board.width
    best = _Filling([], [], 0.0, 0.0)
    for _ in range(_HALVINGS):
        middle = (low + length) / 2.0
        tried = _filled(board, order, meetings, settings, climb, middle + settings.board_edge)
        if len(tried.places) == len(order):
            best, length = min(best, tried, key=_cost), min(length, tried.length)
        else:
            low = middle
    return best


def _cost(filling: _Filling) -> tuple[float, float]:
    return -filling.wood, filling.length


def _filled(board: StockBoard, order: list[_Wanted], meetings: Meetings, settings: CuttingSettings, climb: float,
            most_length: float | None) -> _Filling:
    places = fill(board, settings.board_edge, [w.kind for w in order], meetings, climb, most_length)
    laid = [(meetings.kinds[order[p.entry].kind], p) for p in places]
    return _Filling(order, places, sum(outline_area(kind.shape.key) for kind, _ in laid),
                    max((p.x + kind.box[2] for kind, p in laid), default=0.0))


def _orders(wanted: list[_Wanted]) -> list[list[_Wanted]]:
    """Sizes in several orders: largest first, smallest first, and each one first with the others largest first."""
    kinds = list(dict.fromkeys(w.kind for w in wanted))
    sequences = [kinds, kinds[::-1], *([kind, *(k for k in kinds if k != kind)] for kind in kinds[1:-1])]
    return [sorted(wanted, key=lambda w: sequence.index(w.kind)) for sequence in sequences]


def _proposed(shapes: Sequence[KeyShape], shop: Shop, settings: CuttingSettings) -> StockBoard:
    """A board of the common size, thick, long and wide enough for each of the keys."""
    common = StockBoard()
    boxes = [bounding_box(shape.key) for shape in shapes]
    length, width = (max(box[far] - box[near] for box in boxes) + 2.0 * settings.board_edge + 1.0
                     for near, far in ((0, 2), (1, 3)))
    thickness = max(shape.thickness for shape in shapes) + (settings.skin if settings.hold == "skin" else 0.0)
    return StockBoard(max(common.length, math.ceil(length)), max(common.width, math.ceil(width)), thickness,
                      shop.keys.key_wood)


def _why_not(shape: KeyShape, shop: Shop, settings: CuttingSettings, units: str) -> str:
    def shown(mm: float) -> str:
        return show_length(mm, units)

    needed = shape.thickness + (settings.skin if settings.hold == "skin" else 0.0)
    thickest = max(board.thickness for board in shop.stock)
    if thickest < needed - 1e-9:
        return f"no board is {shown(needed)} thick; the thickest is {shown(thickest)}"
    fitting = [board for board in shop.stock if suits(board, shape, shop, settings)]
    if not fitting:
        return f"no board of {shop.keys.key_wood} is {shown(needed)} thick"
    size = f"{shown(shape.length)} x {shown(shape.width)} along the grain"
    edge = f"with {shown(settings.board_edge)} kept free at the edges"
    if all(b.length < shape.length + 2.0 * settings.board_edge or b.width < shape.width + 2.0 * settings.board_edge
           for b in fitting):
        return f"every board is too small for {size}, {edge}"
    return f"no room left for {size}, {edge}"
