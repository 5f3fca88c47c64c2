"""The bench sheet's tables as rows of text, so that they can be read and tested without a page."""

from __future__ import annotations

from collections import Counter

import numpy as np

from crackmap.records import Key, Plan, StockLayout, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.words import end_distances, over_all, slab_corners
from crackmap.units import MM_PER_INCH, in_words_for, show_fraction, show_length

Rows = list[list[str]]
KEY_TABLE_HEAD = [
    "Key",
    "Size",
    "Length",
    "Width",
    "Depth",
    "x",
    "y",
    "Angle",
    "from A",
    "from B",
    "left end",
    "right end",
    "Crack",
    "Look",
]


def figure(mm: float, units: str) -> str:
    """A length for the machine, without its unit: 12.3, or 0.484 in inches."""
    return f"{mm / MM_PER_INCH:.3f}" if units == "in" else f"{mm:.1f}"


def tape(mm: float, units: str) -> str:
    """A length for the tape, without its unit: whole millimetres, or 32nds of an inch."""
    return show_fraction(mm, 32).removesuffix(" in") if units == "in" else f"{mm:.0f}"


def key_rows(survey: Survey, plan: Plan, settings: SheetSettings) -> Rows:
    """A row a key: size and place for the machine, distances for the tape."""
    return [_key_row(survey, key, settings.units) for key in plan.keys]


def _key_row(survey: Survey, key: Key, units: str) -> list[str]:
    left, right = end_distances(survey, key.centre)
    from_a, from_b = (float(np.hypot(*(key.centre - mark))) for mark in (survey.datum.a, survey.datum.b))
    x, y = (float(v) for v in key.centre)
    shape = key.shape
    return [
        key.id,
        key.size_name,
        figure(shape.length, units),
        figure(shape.width, units),
        figure(shape.depth, units),
        figure(x, units),
        figure(y, units),
        f"{key.angle_deg % 180.0:.1f}°",
        *(tape(each, units) for each in (from_a, from_b, left, right)),
        ", ".join(key.cracks),
        "" if all(check.ok for check in key.checks) else "!",
    ]


def cut_list(plan: Plan, settings: SheetSettings) -> Rows:
    """How many blanks of each size to cut, spares included, thickest first."""
    units = settings.units
    kinds: dict[tuple[str, float, float, float], int] = {}
    for key in [*plan.keys, *_spares(plan)]:
        shape = key.shape
        kind = key.size_name, round(shape.length, 2), round(shape.width, 2), round(shape.thickness, 2)
        kinds[kind] = kinds.get(kind, 0) + 1
    return [
        [name, str(count), *(figure(each, units) for each in (length, width, thickness))]
        for (name, length, width, thickness), count in sorted(kinds.items(), key=lambda kind: -kind[0][1])
    ]


def _spares(plan: Plan) -> list[Key]:
    """For each spare key on a board, the key that it is a spare of."""
    by_id = {key.id: key for key in plan.keys}
    laid = [key for board in plan.stock.boards for key in board.keys] if plan.stock else []
    return [by_id[key.like] for key in laid if key.name != key.like]


_MOST_NAMES = 16  # of keys in a row of the table: a page breaks between rows only


def board_rows(layout: StockLayout, settings: SheetSettings) -> Rows:
    """Which keys come from which board."""
    rows = []
    for place, laid in enumerate(layout.boards, 1):
        board = laid.board
        size = " x ".join(tape(each, settings.units) for each in (board.length, board.width))
        alike = Counter(key.name for key in laid.keys)  # spares of one size share a name
        names = [name if count == 1 else f"{count} {name}" for name, count in alike.items()]
        rows.append(
            [
                str(place),
                "to find" if laid.number == 0 else f"stock {laid.number}",
                board.wood or "any",
                size,
                figure(board.thickness, settings.units),
                ", ".join(names[:_MOST_NAMES]),
            ]
        )
        rows += [["", "", "", "", "", ", ".join(names[start:start + _MOST_NAMES])]
                 for start in range(_MOST_NAMES, len(names), _MOST_NAMES)]
    return rows


def hold_sentences(layout: StockLayout, settings: SheetSettings) -> list[str]:
    """How deep to cut the keys of each board, and what holds them meanwhile."""
    lines = []
    for place, laid in enumerate(layout.boards, 1):
        thick = max(key.shape.thickness for key in laid.keys)
        under = show_length(laid.board.thickness - thick, settings.units)
        deep = show_length(thick, settings.units)
        if laid.hold == "skin":
            lines.append(f"Board {place}: cut {deep} deep; the {under} left under the keys hold them. Saw or plane it "
                         "off from the back.")
        else:
            lines.append(f"Board {place}: cut through on a spoil board; leave a tab of 2 to 3 mm at both ends of every "
                         "key, where TAB is drawn, and pare it off.")
    return lines


def left_over_sentences(layout: StockLayout) -> list[str]:
    """Keys without a board, those with the same reason together."""
    reasons: dict[str, list[str]] = {}
    for name, why in layout.left_over:
        reasons.setdefault(why, []).append(name)
    return [f"No board for {', '.join(names)}: {why}." for why, names in reasons.items()]


def tape_rows(survey: Survey, plan: Plan, settings: SheetSettings) -> Rows:
    """What to measure before cutting: mark to mark, marks to the slab's ends, its corners to the keys nearest them."""
    units = settings.units
    a_to_b = float(np.hypot(*(survey.datum.b - survey.datum.a)))
    rows = [["A to B", tape_close(a_to_b, units)]]
    for name, mark in (("A", survey.datum.a), ("B", survey.datum.b)):
        left, right = end_distances(survey, mark)
        rows += [[f"left end to {name}", tape(left, units)], [f"right end to {name}", tape(right, units)]]
    for name, corner in slab_corners(survey):
        if plan.keys:
            key = min(plan.keys, key=lambda k: float(np.hypot(*(k.centre - corner))))
            rows.append([f"{name} corner to {key.id}", tape(float(np.hypot(*(key.centre - corner))), units)])
    length, width = over_all(survey)
    return [*rows, ["length over all", tape(length, units)], ["width over all", tape(width, units)],
            ["thickness, at both ends", tape_close(plan.thickness_mm, units)]]


def tape_close(mm: float, units: str) -> str:
    """A length for the tape, read closely: half millimetres show, or 64ths of an inch."""
    return show_fraction(mm, 64).removesuffix(" in") if units == "in" else f"{mm:.1f}"


def failing_checks(plan: Plan, units: str = "mm") -> list[str]:
    """Each check that fails, with the keys that fail it."""
    failing: dict[tuple[str, str, str], list[str]] = {}
    for key in plan.keys:
        for check in (check for check in key.checks if not check.ok):
            limit = _measured(check.limit, check.unit, units)
            value = _measured(check.value, check.unit, units)
            failing.setdefault((check.name, limit, check.note), []).append(f"{key.id} ({value})")
    return [
        f"{name}, limit {limit}: {', '.join(keys)}" + (f"; {in_words_for(note, units)}." if note else ".")
        for (name, limit, note), keys in failing.items()
    ]


def _measured(value: float | str, unit: str, units: str) -> str:
    """A check's figure with its unit, lengths in the reader's own."""
    if isinstance(value, str):
        return in_words_for(value, units)
    return show_length(value, units) if unit == "mm" else f"{value:g} {unit}".strip()
