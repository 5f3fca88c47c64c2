"""The keys on their boards, as a drawing for the machine."""

from __future__ import annotations

from crackmap.keys.outline import bounding_box, moved
from crackmap.records import LaidBoard, LaidKey, Plan, StockLayout
from crackmap.settings import SheetSettings
from crackmap.sheets.drawing import (
    BOARD,
    CLAMP,
    DATUM,
    GRAIN,
    KEY,
    NOTES,
    TAB,
    Drawing,
    Mark,
    Note,
    Shape,
    closed,
    open_path,
)
from crackmap.sheets.order import made_ready
from crackmap.sheets.plan_mark import mark_sentence
from crackmap.sheets.slab_drawing import NOTE_HEIGHT, both_units, check_bar, notes, unit_sentence
from crackmap.shop import Shop
from crackmap.units import show_length

HOLD_WORDS = {"skin": "a skin of wood under them", "tabs": "tabs at both ends"}
_BETWEEN_BOARDS = 40.0  # room for the board's own line of text [mm]


def keys_drawing(plan: Plan, shop: Shop, settings: SheetSettings) -> Drawing:
    """The boards one above another, the first with its lower left corner at the origin.

    An arrow in each key and along each board shows the grain.
    """
    layout = plan.stock or StockLayout(())
    shapes: list[Shape] = []
    foot = 0.0
    for place, laid in enumerate(layout.boards, 1):
        shapes += _board(laid, place, foot, shop.bit.diameter, settings)
        foot += laid.board.width + _BETWEEN_BOARDS
    shapes.append(Mark(DATUM, (0.0, 0.0), settings.datum_ring))
    shapes += check_bar((0.0, -6.0 * NOTE_HEIGHT), settings)
    shapes += notes(_heading(layout, plan, shop, settings), (0.0, -7.6 * NOTE_HEIGHT))
    return made_ready("Keys on their boards", shapes, settings)


def grain_arrow(middle: tuple[float, float], length: float) -> list[Shape]:
    """An arrow along x with a head at both ends: grain has a direction but no sense. In mm."""
    x, y = middle
    half, barb = length / 2.0, min(3.0, length / 6.0)
    shapes: list[Shape] = list(open_path(GRAIN, [[x - half, y], [x + half, y]]))
    for end in (-1.0, 1.0):
        tip = x + end * half
        back = tip - end * barb
        shapes += open_path(GRAIN, [[back, y + barb / 2.0], [tip, y], [back, y - barb / 2.0]])
    return shapes


def _board(laid: LaidBoard, place: int, foot: float, bit: float, settings: SheetSettings) -> list[Shape]:
    shapes: list[Shape] = []
    for key in laid.keys:
        shapes += _key(key, foot, laid.hold == "tabs", bit)
    length, width = laid.board.length, laid.board.width
    shapes += closed(BOARD, [[0.0, foot], [length, foot], [length, foot + width], [0.0, foot + width]])
    for x, y, long, wide in laid.board.keep_free:
        low, high = foot + y, foot + y + wide
        shapes += closed(CLAMP, [[x, low], [x + long, low], [x + long, high], [x, high]])
    text = f"BOARD {place}: {board_words(laid, settings.drawing_units)}"
    text_y = foot + width + 0.6 * NOTE_HEIGHT
    shapes.append(Note(NOTES, text, (0.0, text_y), NOTE_HEIGHT))
    shapes += grain_arrow((length - 40.0, text_y + NOTE_HEIGHT / 2.0 + 1.6 * NOTE_HEIGHT), 80.0)
    return shapes


def _key(key: LaidKey, foot: float, with_tabs: bool, bit: float) -> list[Shape]:
    x, y = key.centre[0], key.centre[1] + foot
    shapes: list[Shape] = list(closed(KEY, moved(key.shape.key, 0.0, (x, y))))
    if with_tabs:
        shapes += _tabs(key, foot, bit)
    # The arrow keeps to the neck's height; the number stands above it in the left wing.
    shapes += grain_arrow((x, y), 0.5 * key.shape.length)
    shapes.append(
        Note(
            NOTES,
            key.name,
            (x - 0.27 * key.shape.length, y + 0.1 * key.shape.waist),
            min(NOTE_HEIGHT, 0.3 * key.shape.width, 0.38 * key.shape.length / len(key.name)),
            True,
        )
    )
    return shapes


def _tabs(key: LaidKey, foot: float, bit: float) -> list[Shape]:
    """A line across the outline at the middle of each head's end, where a tab spoils no glued face."""
    x0, _, x1, _ = bounding_box(key.shape.key)
    reach = bit / 2.0
    x, y = key.centre[0], key.centre[1] + foot
    return [line for end, way in ((x0, -1.0), (x1, 1.0))
            for line in open_path(TAB, [[x + end - way * reach, y], [x + end + way * (bit + reach), y]])]


def board_words(laid: LaidBoard, units: str) -> str:
    """What the board is, in words."""
    board = laid.board
    where = "to find" if laid.number == 0 else f"no. {laid.number} of the shop's stock"
    wood = f" {board.wood}" if board.wood else ""
    size = " x ".join(show_length(each, units) for each in (board.length, board.width, board.thickness))
    return f"{where},{wood} {size}, grain along its length, keys held by {HOLD_WORDS[laid.hold]}"


def _heading(layout: StockLayout, plan: Plan, shop: Shop, settings: SheetSettings) -> list[str]:
    lines = [
        f"{unit_sentence(settings)}. ORIGIN: LOWER LEFT CORNER OF BOARD 1.",
        f"FOR A BIT OF {both_units(shop.bit.diameter, 2)}. GRAIN ALONG EVERY KEY, AS THE ARROWS SHOW.",
        mark_sentence(plan),
    ]
    thicknesses = sorted({round(key.shape.thickness, 2) for key in plan.keys})
    if thicknesses:
        lines.append("KEY THICKNESS: " + ", ".join(both_units(each) for each in thicknesses) + ".")
    lines += [f"NOT PLACED: {name}: {why}." for name, why in layout.left_over]
    return lines
