"""The part of plan.json that tells how the work is cut: set-ups, boards, machine time; and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from crackmap.errors import quoted
from crackmap.fields import GREATEST_MM, Fields
from crackmap.records import (
    CuttingTime,
    Key,
    LaidBoard,
    LaidKey,
    Plan,
    Setup,
    SetupMark,
    StockLayout,
    TimeItem,
    frozen_array,
)
from crackmap.settings import CuttingSettings, SheetSettings
from crackmap.shop import StockBoard

_SIDES = ("length", "width", "thickness")
MARK_KINDS = ("marker", "drilled", "by hand")


def cutting_as_json(plan: Plan) -> dict[str, Any]:
    """The fields setups, no_setup, stock and time of plan.json. Matrices to a millionth."""
    return {
        "setups": [_setup_as_json(setup) for setup in plan.setups],
        "no_setup": [{"key": key, "why": why} for key, why in plan.no_setup],
        "stock": None if plan.stock is None else _stock_as_json(plan.stock),
        "time": None if plan.time is None else _time_as_json(plan.time),
    }


def _setup_as_json(setup: Setup) -> dict[str, Any]:
    return {"number": setup.number, "keys": list(setup.keys), "turn_deg": round(setup.turn_deg, 6),
            "slab_to_machine": np.round(setup.matrix, 9).tolist(),
            "marks": [_mark_as_json(mark) for mark in setup.marks],
            "to_drill": [_mark_as_json(mark) for mark in setup.to_drill],
            "overhang": [round(each, 3) for each in setup.overhang]}


def _mark_as_json(mark: SetupMark) -> dict[str, Any]:
    return {"name": mark.name, "at": [round(v, 3) for v in mark.at], "how": mark.how, "from_setup": mark.from_setup,
            "in_pocket": mark.in_pocket}


def _stock_as_json(stock: StockLayout) -> dict[str, Any]:
    return {"boards": [{"number": laid.number, "hold": laid.hold,
                        **{side: round(float(getattr(laid.board, side)), 3) for side in _SIDES},
                        "wood": laid.board.wood, "offcut": laid.board.offcut,
                        "keep_free": [[round(float(v), 3) for v in box] for box in laid.board.keep_free],
                        "keys": [{"name": k.name, "like": k.like, "centre": [round(v, 4) for v in k.centre]}
                                 for k in laid.keys]} for laid in stock.boards],
            "left_over": [{"key": key, "why": why} for key, why in stock.left_over]}


def _time_as_json(time: CuttingTime) -> dict[str, Any]:
    return {"items": [{"name": i.name, "count": i.count, "least_min": round(i.least, 2),
                       "likely_min": round(i.likely, 2), "most_min": round(i.most, 2), "path": round(i.path_mm, 1),
                       "plunges": i.plunges}
                      for i in time.items],
            "feed": [round(v, 1) for v in time.feed], "plunge": [round(v, 1) for v in time.plunge],
            "pass_depth": round(time.pass_depth, 4), "stepover": round(time.stepover, 4), "notes": list(time.notes)}


def cutting_from_json(top: Fields, keys: Sequence[Key]) -> dict[str, Any]:
    """The fields of Plan that `cutting_as_json` wrote; missing ones keep their defaults.

    Raises
    ------
    JobError
        If a field is wrong, or a laid key has a shape that no key of the plan has; names it.
    """
    return {
        "setups": top.each("setups", _setup, []),
        "no_setup": top.each("no_setup", lambda f: (str(f.text("key")), str(f.text("why"))), []),
        "stock": _stock(top.inner("stock"), {key.id: key for key in keys}) if top.has("stock") else None,
        "time": _time(top.inner("time")) if top.has("time") else None,
    }


def _setup(f: Fields) -> Setup:
    matrix = f.rows("slab_to_machine", 3, least=3)
    turn = matrix[:2, :2]
    if matrix.shape != (3, 3) or not np.allclose(turn @ turn.T, np.eye(2), atol=1e-6):
        raise f.wrong("slab_to_machine", "must be a 3 x 3 matrix that turns and shifts only")
    # What was rounded for the file is made exactly rigid again.
    angle = np.arctan2(turn[1, 0], turn[0, 0])
    exact = matrix.copy()
    exact[:2, :2] = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    left, right, front, back = (float(v) for v in f.numbers("overhang", 4))
    return Setup(int(f.number("number", least=1)), f.texts("keys"), frozen_array(exact), float(f.number("turn_deg")),
                 f.each("marks", _mark), f.each("to_drill", _mark, []), (left, right, front, back))


def _mark(f: Fields) -> SetupMark:
    x, y = (float(v) for v in f.numbers("at", 2))
    return SetupMark(f.text("name"), (x, y), f.text("how", choices=MARK_KINDS),
                     int(f.number("from_setup", 0, least=0)), f.text("in_pocket", ""))


def _stock(f: Fields, keys: dict[str, Key]) -> StockLayout:
    def board(b: Fields) -> LaidBoard:
        length, width, thickness = (float(b.number(name, least=0.1)) for name in _SIDES)
        boxes = tuple(tuple(float(v) for v in box) for box in b.rows("keep_free", 4, default=[]))
        stock = StockBoard(length, width, thickness, b.text("wood", ""), b.flag("offcut"), boxes)
        return LaidBoard(stock, int(b.number("number", least=0)), b.text("hold", choices=("skin", "tabs")),
                         b.each("keys", laid))

    def laid(k: Fields) -> LaidKey:
        like = k.text("like")
        if like not in keys:
            raise k.wrong("like", f"must name a key of the plan, not {quoted(like)}")
        x, y = (float(v) for v in k.numbers("centre", 2))
        return LaidKey(k.text("name"), like, keys[like].shape, (x, y))

    left_over = f.each("left_over", lambda n: (str(n.text("key")), str(n.text("why"))), [])
    return StockLayout(f.each("boards", board), left_over)


def _time(f: Fields) -> CuttingTime:
    def item(i: Fields) -> TimeItem:
        return TimeItem(i.text("name"), int(i.number("count", least=0)), i.number("least_min", least=0),
                        i.number("likely_min", least=0), i.number("most_min", least=0), i.number("path", least=0),
                        int(i.number("plunges", least=0)))

    def three(name: str) -> tuple[float, float, float]:
        slow, likely, fast = (float(v) for v in f.numbers(name, 3))
        return slow, likely, fast

    return CuttingTime(f.each("items", item), three("feed"), three("plunge"), f.number("pass_depth", least=0.01),
                       f.number("stepover", least=0.01), f.texts("notes"))


# --- the choices of job.json ---------------------------------------------------------------------------


def sheet_settings(f: Fields) -> SheetSettings:
    """The drawing choices that job.json holds; unit and paper are read apart.

    Raises
    ------
    JobError
        If a name is unknown or a value has the wrong form.
    """
    read: SheetSettings = _read_settings(f, SheetSettings())
    return read


def cutting_settings(f: Fields) -> CuttingSettings:
    """The cutting choices that job.json holds; see `sheet_settings`."""
    read: CuttingSettings = _read_settings(f, CuttingSettings())
    return read


# Of counts and pixels: the command line takes no more spares, and a larger picture no computer's memory holds.
_MOST = {"spare_keys": 50.0, "picture_side": 20_000.0}


def _read_settings(f: Fields, usual: Any) -> Any:
    """The settings with the values given, each read by the kind of its default."""
    f.only(*(each.name for each in fields(usual)))
    given: dict[str, Any] = {}
    for name in (each.name for each in fields(usual) if f.has(each.name)):
        default = getattr(usual, name)
        if isinstance(default, bool):
            given[name] = f.flag(name)
        elif isinstance(default, str):
            given[name] = f.text(name)
        elif isinstance(default, tuple):
            given[name] = tuple(int(v) for v in f.numbers(name, len(default)))
        else:
            value = f.number(name, least=0.0, most=_MOST.get(name, GREATEST_MM))
            given[name] = int(value) if isinstance(default, int) else value
    return usual.with_changes(**given)
