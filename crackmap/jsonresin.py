"""The resin's part of plan.json, and the underside's part of survey.json; and back."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np

from crackmap.fields import Fields
from crackmap.records import (
    BLIND,
    THROUGH,
    UNKNOWN,
    Batch,
    Below,
    Dam,
    OtherFace,
    Pour,
    ResinEstimate,
    ResinItem,
    Survey,
    frozen_array,
)
from crackmap.settings import UndersideSettings

_SIGNS = {THROUGH: "t", BLIND: "b", UNKNOWN: "?"}  # a crack's states, a letter for each centreline point
_FIGURES = ("volume_ml", "least_ml", "most_ml", "allowance_percent", "mix_ml", "part_a_ml", "part_b_ml", "part_a_g",
            "part_b_g")
_PARTS = ("part_a_ml", "part_b_ml", "part_a_g", "part_b_g")


def resin_as_json(resin: ResinEstimate) -> dict[str, Any]:
    """plan.json's resin."""
    return {
        "items": [{f.name: _plain(getattr(item, f.name)) for f in fields(item)} for item in resin.items],
        **{name: round(getattr(resin, name), 3) for name in _FIGURES},
        "layers": resin.layers,
        "pours": [{"name": p.name, "volume_ml": round(p.volume_ml, 3), "deep": round(p.deep_mm, 3),
                   "batches": p.batches, "batch": {name: round(getattr(p.batch, name), 3) for name in _PARTS}}
                  for p in resin.pours],
        "dams": [{"name": d.name, "opening": d.opening, "where": d.where, "sure": d.sure,
                  "line": np.round(d.line, 2).tolist(), "width": round(d.width, 3), "margin": round(d.margin, 3)}
                 for d in resin.dams],
        "resin_first": resin.resin_first,
        "order": list(resin.order),
        "cost": None if resin.cost is None else round(resin.cost, 2),
        "currency": resin.currency,
        "notes": list(resin.notes),
    }


def _plain(value: float | str) -> float | str:
    return value if isinstance(value, str) else round(float(value), 3)


def resin_from_json(f: Fields) -> ResinEstimate:
    """The estimate that `resin_as_json` wrote."""
    figures = {name: f.number(name, least=0) for name in _FIGURES}
    return ResinEstimate(items=f.each("items", _item), layers=int(f.number("layers", least=0)), notes=f.texts("notes"),
                         pours=f.each("pours", _pour, []), dams=f.each("dams", _dam, []), order=f.texts("order"),
                         resin_first=f.flag("resin_first"),
                         cost=f.number("cost", None, least=0), currency=f.text("currency", ""), **figures)


def _item(f: Fields) -> ResinItem:
    figures = {g: f.number(g, least=0) for g in ("area_mm2", "depth_mm", "volume_ml", "least_ml", "most_ml")}
    return ResinItem(id=f.text("id"), depth_from=f.text("depth_from"), **figures)


def _pour(f: Fields) -> Pour:
    cup = f.inner("batch")
    return Pour(f.text("name"), f.number("volume_ml", least=0), f.number("deep", least=0),
                int(f.number("batches", least=0)), Batch(**{name: cup.number(name, least=0) for name in _PARTS}))


def _dam(f: Fields) -> Dam:
    return Dam(f.text("name"), f.text("opening"), f.text("where", choices=("below", "end")), f.flag("sure"),
               f.rows("line", 2, least=1), f.number("width", least=0), f.number("margin", least=0))


def face_as_json(face: OtherFace, survey: dict[str, Any]) -> dict[str, Any]:
    """survey.json's underside.

    Parameters
    ----------
    face : OtherFace
    survey : dict
        Its own survey as JSON.
    """
    return {
        "under_to_show": np.round(face.under_to_show, 9).tolist(),
        "method": face.method,
        "residual": round(face.residual_mm, 3),
        "openings_off": None if np.isnan(face.openings_off_mm) else round(face.openings_off_mm, 3),
        "below": [{"opening": b.opening, "word": b.word, "state": "".join(_SIGNS[int(s)] for s in b.state),
                   "width": np.round(b.width, 3).tolist(), "area_mm2": round(b.area_mm2, 2), "under": list(b.under)}
                  for b in face.below],
        "only_below": list(face.only_below),
        "notes": list(face.notes),
        "survey": survey,
    }


def face_from_json(f: Fields, survey: Survey) -> OtherFace:
    """The underside that `face_as_json` wrote, with its own survey already read."""
    off = f.number("openings_off", None, least=0)
    return OtherFace(survey, f.rows("under_to_show", 3, least=3), f.text("method", choices=("points", "outline")),
                     f.number("residual", least=0), float("nan") if off is None else off, f.each("below", _below),
                     f.texts("only_below"), f.texts("notes"))


def _below(f: Fields) -> Below:
    signs = {sign: value for value, sign in _SIGNS.items()}
    letters = f.text("state")
    if not letters or set(letters) - set(signs):
        raise f.wrong("state", f"must be letters of {''.join(signs)}")
    width = f.numbers("width", len(letters))
    return Below(f.text("opening"), np.array([signs[s] for s in letters], np.int8), frozen_array(width),
                 f.number("area_mm2", least=0), f.texts("under"))


def underside_settings(f: Fields) -> UndersideSettings:
    """The settings of the underside that job.json keeps."""
    usual = UndersideSettings()
    f.only("turned", "common_px", "drilled_markers")
    rows = f.rows("common_px", 4, default=[])
    markers = f.numbers("drilled_markers").tolist() if f.has("drilled_markers") else []
    return UndersideSettings(
        turned=f.text("turned", usual.turned, choices=("", "side", "end")),
        common_px=tuple((float(a), float(b), float(c), float(d)) for a, b, c, d in rows),
        drilled_markers=tuple(int(m) for m in markers))
