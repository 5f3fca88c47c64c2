"""The bench sheet's tables as rows of text, so that they can be read and tested without a page."""

from __future__ import annotations

import numpy as np

from crackmap.records import Key, Plan, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.stock_layout import StockLayout
from crackmap.sheets.words import end_distances
from crackmap.units import MM_PER_INCH, show_fraction

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
    """How many blanks of each size to cut, thickest first."""
    units = settings.units
    kinds: dict[tuple[str, float, float, float], int] = {}
    for key in plan.keys:
        shape = key.shape
        kind = key.size_name, round(shape.length, 2), round(shape.width, 2), round(shape.thickness, 2)
        kinds[kind] = kinds.get(kind, 0) + 1
    return [
        [
            name,
            str(count + settings.spare_keys),
            *(figure(each, units) for each in (length, width, thickness)),
        ]
        for (name, length, width, thickness), count in sorted(kinds.items(), key=lambda kind: -kind[0][1])
    ]


def board_rows(layout: StockLayout, settings: SheetSettings) -> Rows:
    """Which keys come from which board."""
    rows = []
    for place, laid in enumerate(layout.boards, 1):
        board = laid.board
        size = " x ".join(tape(each, settings.units) for each in (board.length, board.width))
        rows.append(
            [
                str(place),
                "to find" if laid.number == 0 else f"stock {laid.number}",
                board.wood or "any",
                size,
                figure(board.thickness, settings.units),
                ", ".join(key.name for key in laid.keys),
            ]
        )
    return rows


def left_over_sentences(layout: StockLayout) -> list[str]:
    """Keys without a board, those with the same reason together."""
    reasons: dict[str, list[str]] = {}
    for name, why in layout.left_over:
        reasons.setdefault(why, []).append(name)
    return [f"No board for {', '.join(names)}: {why}." for why, names in reasons.items()]


def tape_rows(survey: Survey, settings: SheetSettings) -> Rows:
    """What to measure before cutting, and a blank for what was found."""
    units = settings.units
    a_to_b = float(np.hypot(*(survey.datum.b - survey.datum.a)))
    rows = [["A to B", tape_close(a_to_b, units)]]
    for name, mark in (("A", survey.datum.a), ("B", survey.datum.b)):
        left, right = end_distances(survey, mark)
        rows += [[f"left end to {name}", tape(left, units)], [f"right end to {name}", tape(right, units)]]
    return rows


def tape_close(mm: float, units: str) -> str:
    """A length for the tape, read closely: half millimetres show, or 64ths of an inch."""
    return show_fraction(mm, 64).removesuffix(" in") if units == "in" else f"{mm:.1f}"


def failing_checks(plan: Plan) -> list[str]:
    """Each check that fails, with the keys that fail it."""
    failing: dict[tuple[str, str, str], list[str]] = {}
    for key in plan.keys:
        for check in key.checks:
            if not check.ok:
                limit = (
                    check.limit if isinstance(check.limit, str) else f"{check.limit:g} {check.unit}".strip()
                )
                failing.setdefault((check.name, limit, check.note), []).append(
                    f"{key.id} ({check.value if isinstance(check.value, str) else format(check.value, 'g')})"
                )
    return [
        f"{name}, limit {limit}: {', '.join(keys)}" + (f"; {note}." if note else ".")
        for (name, limit, note), keys in failing.items()
    ]
