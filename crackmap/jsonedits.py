"""edits.json: the user's word as JSON and back; strict, so that a misspelt name is never ignored."""

from __future__ import annotations

from typing import Any

from crackmap.fields import Fields
from crackmap.fields import rounded as _mm
from crackmap.fields import rounded_rows as _rows
from crackmap.records import AddedKey, Edits, KeepOut

EDITS_FORM = "crackmap/edits/1"
MOST_EDITS = 200  # of one kind: no maker adds so many, and each is weighed against all others


def edits_from_json(read: dict[str, Any], where: str = "edits.json") -> Edits:
    """The user's edits, validated strictly: a misspelt name is an error, never ignored.

    Raises
    ------
    JobError
        If a field is unknown or wrong; names it.
    """
    top = Fields(read, f"{where}:")
    top.expect_form(EDITS_FORM)
    top.only("schema", "units", "keys", "cracks", "outline", "finished_top", "keep_out", "note", "photo_sha256")
    keys, cracks = top.inner_or_empty("keys"), top.inner_or_empty("cracks")
    keys.only("add", "fix", "refuse", "count")
    cracks.only("draw", "refuse", "end", "depth")
    return Edits(
        keys=(keys.each("add", lambda f: _added_key(f, False), [], MOST_EDITS)
              + keys.each("fix", lambda f: _added_key(f, True), [], MOST_EDITS)),
        refused_keys=keys.rows("refuse", 2, default=[]),
        key_counts=keys.each("count", _count, [], MOST_EDITS),
        drawn_cracks=cracks.lines("draw", 2, least=2, most=MOST_EDITS),
        refused_cracks=cracks.rows("refuse", 2, default=[]),
        crack_ends=cracks.each("end", _crack_end, [], MOST_EDITS),
        probed_depths=cracks.each("depth", _depth, [], MOST_EDITS),
        outline=top.ring("outline") if top.has("outline") else None,
        finished_top=top.ring("finished_top") if top.has("finished_top") else None,
        keep_out=top.each("keep_out", _keep_out, [], MOST_EDITS),
        note=top.text("note", ""),
        remarks=tuple(each for each in (
            *keys.each("count", lambda f: _remark(f, "count", "crack_at"), []),
            *cracks.each("end", lambda f: _remark(f, "end", "at"), []),
            *cracks.each("depth", lambda f: _remark(f, "depth", "at"), [])) if each[3]),
        photo_sha256=top.text("photo_sha256", ""),
    )


def _remark(f: Fields, of: str, anchor: str) -> tuple[str, float, float, str]:
    at = f.numbers(anchor, 2)
    return of, float(at[0]), float(at[1]), f.text("note", "")


def _added_key(f: Fields, fixed: bool) -> AddedKey:
    f.only("centre", "angle_deg", "size", "length", "width", "waist", "depth", "shape", "note")
    lengths = {name: f.number(name, None, least=0.1, most=2000) for name in ("length", "width", "waist", "depth")}
    return AddedKey(centre=f.numbers("centre", 2), angle_deg=f.number("angle_deg", None, least=-360, most=360),
                    size=f.text("size", None), shape=f.text("shape", None), fixed=fixed,
                    note=f.text("note", ""), **lengths)


def _count(f: Fields) -> tuple[float, float, int]:
    f.only("crack_at", "keys", "note")
    at, keys = f.numbers("crack_at", 2), f.number("keys", least=0, most=100)
    if keys != int(keys):
        raise f.wrong("keys", f"must be a whole number, not {keys:g}")
    return float(at[0]), float(at[1]), int(keys)


def _crack_end(f: Fields) -> tuple[float, float, float, float]:
    f.only("at", "to", "note")
    at, to = f.numbers("at", 2), f.numbers("to", 2)
    return float(at[0]), float(at[1]), float(to[0]), float(to[1])


def _depth(f: Fields) -> tuple[float, float, float]:
    f.only("at", "depth", "note")
    at = f.numbers("at", 2)
    return float(at[0]), float(at[1]), f.number("depth", least=0, most=1000)


def _keep_out(f: Fields) -> KeepOut:
    f.only("area", "from", "depth", "note", "screws")
    return KeepOut(f.ring("area"), f.text("from", "above", choices=("above", "below")),
                   f.number("depth", None, least=0), f.text("note", ""), f.rows("screws", 2, default=[]))


def edits_as_json(edits: Edits) -> dict[str, Any]:
    """edits.json's object; `edits_from_json` reads it back. Positions to 0.001 mm."""
    return {
        "schema": EDITS_FORM,
        "units": "mm",
        "keys": {
            "add": [_added_as_json(k) for k in edits.keys if not k.fixed],
            "fix": [_added_as_json(k) for k in edits.keys if k.fixed],
            "refuse": _rows(edits.refused_keys),
            "count": [{"crack_at": [_mm(x), _mm(y)], "keys": n, **_remark_on("count", x, y, edits)}
                      for x, y, n in edits.key_counts],
        },
        "cracks": {
            "draw": [_rows(line) for line in edits.drawn_cracks],
            "refuse": _rows(edits.refused_cracks),
            "end": [{"at": [_mm(x), _mm(y)], "to": [_mm(u), _mm(v)], **_remark_on("end", x, y, edits)}
                    for x, y, u, v in edits.crack_ends],
            "depth": [{"at": [_mm(x), _mm(y)], "depth": _mm(d), **_remark_on("depth", x, y, edits)}
                      for x, y, d in edits.probed_depths],
        },
        "outline": None if edits.outline is None else _rows(edits.outline),
        "finished_top": None if edits.finished_top is None else _rows(edits.finished_top),
        "keep_out": [_keep_out_as_json(k) for k in edits.keep_out],
        "note": edits.note,
        **({"photo_sha256": edits.photo_sha256} if edits.photo_sha256 else {}),
    }


def _remark_on(of: str, x: float, y: float, edits: Edits) -> dict[str, str]:
    """The user's remark on the entry of a list at a place, if there is one."""
    return next(({"note": text} for kind, u, v, text in edits.remarks
                 if text and (kind, u, v) == (of, x, y)), {})


def _added_as_json(key: AddedKey) -> dict[str, Any]:
    form: dict[str, Any] = {"centre": _rows(key.centre)}
    for name in ("angle_deg", "size", "length", "width", "waist", "depth", "shape"):
        value = getattr(key, name)
        if value is not None:
            form[name] = value if isinstance(value, str) else _mm(value)
    return form | ({"note": key.note} if key.note else {})


def _keep_out_as_json(area: KeepOut) -> dict[str, Any]:
    form: dict[str, Any] = {"area": _rows(area.area), "from": area.from_face}
    if area.depth is not None:
        form["depth"] = _mm(area.depth)
    if len(area.screws):
        form["screws"] = _rows(area.screws)
    return form | {"note": area.note}
