"""Which key is cut from which board, and where on it."""

from __future__ import annotations

from dataclasses import dataclass

from crackmap.keys.outline import bounding_box
from crackmap.records import Key, KeyShape, Plan
from crackmap.settings import SheetSettings
from crackmap.shop import Shop, StockBoard


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
class _Row:
    """Keys side by side along the board."""

    foot: float  # [mm]
    height: float  # [mm]
    used: float  # of the length [mm]


@dataclass(slots=True)
class _Filling:
    """A board while it is being filled."""

    board: StockBoard
    number: int
    rows: list[_Row]
    keys: list[LaidKey]


def lay_out_keys(plan: Plan, shop: Shop, settings: SheetSettings) -> StockLayout:
    """Keys in rows, largest first, each along the grain of the first board that takes it.

    Offcuts are used first, then the boards in the shop file's order. Without
    stock in the shop file, boards of a common size are proposed.

    Parameters
    ----------
    plan, shop, settings
        The keys; the boards and the bit; gap, edge kept free and spares.
    """
    gap = shop.bit.diameter + settings.key_gap
    fillings = [_Filling(board, number, [], []) for number, board in _ordered(shop)]
    left_over: list[tuple[str, str]] = []
    for name, shape in _wanted(plan, settings):
        if any(_lay(filling, name, shape, gap, settings, shop) for filling in fillings):
            continue
        if shop.stock:
            left_over.append((name, _why_not(shape, shop, settings)))
            continue
        fillings.append(_Filling(_proposed(shape, shop, settings), 0, [], []))
        _lay(fillings[-1], name, shape, gap, settings, shop)
    laid = (LaidBoard(filling.board, filling.number, tuple(filling.keys)) for filling in fillings if filling.keys)
    return StockLayout(tuple(laid), tuple(left_over))


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
    return board.thickness >= shape.thickness - 1e-9 and (not wood or not board.wood or board.wood.lower() == wood)


def _lay(filling: _Filling, name: str, shape: KeyShape, gap: float, settings: SheetSettings, shop: Shop) -> bool:
    """Put a key on a board if there is room; True if it was put."""
    board, edge = filling.board, settings.board_edge
    if not _suits(board, shape, shop):
        return False
    length, height = _size(shape)
    row = next((row for row in filling.rows
                if row.height >= height - 1e-9 and row.used + gap + length <= board.length - edge + 1e-9), None)
    if row is None:
        foot = filling.rows[-1].foot + filling.rows[-1].height + gap if filling.rows else edge
        if foot + height > board.width - edge + 1e-9 or length > board.length - 2.0 * edge + 1e-9:
            return False
        row = _Row(foot, height, edge - gap)
        filling.rows.append(row)
    x0, y0, _, _ = bounding_box(shape.key)
    filling.keys.append(LaidKey(name, shape, (row.used + gap - x0, row.foot + (row.height - height) / 2.0 - y0)))
    row.used += gap + length
    return True


def _proposed(shape: KeyShape, shop: Shop, settings: SheetSettings) -> StockBoard:
    """A board of the common size, thick, long and wide enough for this key."""
    common = StockBoard()
    length, height = _size(shape)
    return StockBoard(max(common.length, length + 2.0 * settings.board_edge),
                      max(common.width, height + 2.0 * settings.board_edge), shape.thickness, shop.keys.key_wood)


def _why_not(shape: KeyShape, shop: Shop, settings: SheetSettings) -> str:
    if not any(board.thickness >= shape.thickness - 1e-9 for board in shop.stock):
        return (f"no board is {shape.thickness:.1f} mm thick; the thickest is "
                f"{max(board.thickness for board in shop.stock):.1f} mm")
    if not any(_suits(board, shape, shop) for board in shop.stock):
        return f"no board of {shop.keys.key_wood} is {shape.thickness:.1f} mm thick"
    return (f"no room for {shape.length:.0f} x {shape.width:.0f} mm along the grain, with {settings.board_edge:.0f} mm "
            "kept free at the edges")
