"""The state of a review as the page reads it: plain JSON, mm in the slab frame."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import shapely
from shapely import LineString

from crackmap.keys.family import size_family
from crackmap.keys.outline import to_points
from crackmap.keys.shapes import SHAPES
from crackmap.records import Check, Crack, Edits, FloatArray, KeepOut, Key, Plan, ResinEstimate, Survey, Void
from crackmap.remember import remembered
from crackmap.review.crack_actions import drawn_cracks
from crackmap.review.key_actions import nearest_crack
from crackmap.scale.mapping import Mapping
from crackmap.shop import Shop

_STRAIGHT = 0.15  # a line's points nearer than this to a straight one are not sent; a screen shows no less [mm]
_ARC = 0.05  # arcs are sent as chords this near to them [mm]


@dataclass(frozen=True, slots=True)
class Frame:
    """What does not change while a review lasts."""

    title: str
    units: str  # mm or in
    thickness_mm: float
    shop: Shop
    width: int  # of the rectified picture [px]
    height: int
    tile: int  # side of a tile [px]
    levels: int
    slab_to_picture: Mapping


def frame_state(frame: Frame) -> dict[str, Any]:
    """Title, unit, picture and what may be chosen."""
    family = size_family(frame.shop, frame.thickness_mm)
    return {
        "title": frame.title,
        "units": frame.units,
        "thickness_mm": frame.thickness_mm,
        "picture": {"width": frame.width, "height": frame.height, "tile": frame.tile, "levels": frame.levels,
                    "slab_to_picture": frame.slab_to_picture.slab_to_photo[:2].tolist()},
        "choices": {"sizes": [{"name": s.name, "length": s.length, "width": s.width, "waist": s.waist,
                               "depth": s.depth} for s in family],
                    "shapes": list(SHAPES)},
    }


def survey_state(survey: Survey, edits: Edits, lines: tuple[frozenset[str], ...]) -> dict[str, Any]:
    """What was measured, how sure it is, and the datum marks."""
    asked = _counts(survey, edits, lines)
    drawn = set(drawn_cracks(survey))
    q, datum = survey.scale, survey.datum
    return {
        "survey": {
            "outline": _outline_of(survey),
            "voids": [_hole_of(v) for v in survey.voids],
            "cracks": [_line_of(c) | {"drawn": c.id in drawn, "changed": c.drawn_by_user and c.id not in drawn,
                                      "keys_asked": asked.get(c.id)} for c in survey.cracks],
            "grain_deg": round(survey.grain_deg, 2),
            "warnings": list(survey.warnings),
        },
        "scale": {"sigma_percent": round(q.scale_sigma_percent, 4), "worst_mm": round(q.sigma_worst_mm, 3),
                  "narrowest_crack_mm": round(q.narrowest_crack_mm, 3), "notes": list(q.notes)},
        "datum": {"a": _rows(datum.a), "b": _rows(datum.b), "a_name": datum.a_name, "b_name": datum.b_name},
    }


def _counts(survey: Survey, edits: Edits, lines: tuple[frozenset[str], ...]) -> dict[str, int]:
    """Keys asked for, by crack; a wish for one crack of a line is one for all of it."""
    asked: dict[str, int] = {}
    for x, y, count in edits.key_counts:
        near = nearest_crack(survey, np.array([x, y]))
        line = next((names for names in lines if near in names), frozenset({near}))
        asked |= dict.fromkeys(line, count)
    return asked


@remembered(256)
def _line_of(crack: Crack) -> dict[str, Any]:
    keep = _kept_points(crack.centreline)
    return {"id": crack.id, "centreline": _rows(crack.centreline[keep]),
            "width": np.round(crack.width[keep], 2).tolist(), "length": round(crack.length, 1),
            "widest": round(crack.widest, 2), "ends": list(crack.ends), "confidence": round(crack.confidence, 3)}


@remembered(256)
def _hole_of(void: Void) -> dict[str, Any]:
    return {"id": void.id, "polygon": _rows(_plainer(void.polygon))}


@remembered(32)
def _outline_of(survey: Survey) -> list[Any]:
    return _rows(_plainer(survey.outline))


def _kept_points(line: FloatArray) -> list[int]:
    """Which points a line keeps when what lies on the straight between others is left out."""
    simple = shapely.get_coordinates(LineString(line).simplify(_STRAIGHT))
    kept, start = [], 0
    for point in simple:
        while start < len(line) - 1 and not np.array_equal(line[start], point):
            start += 1
        kept.append(start)
    return kept


def _plainer(ring: FloatArray) -> FloatArray:
    closed = LineString(np.vstack([ring, ring[:1]])).simplify(_STRAIGHT)
    return np.asarray(shapely.get_coordinates(closed)[:-1])


def plan_state(plan: Plan) -> dict[str, Any]:
    """Keys with their checks, what is left open, and the resin."""
    return {
        "plan": {"keys": [key_state(k) for k in plan.keys],
                 "unheld": [{"crack": u.crack, "why": u.why} for u in plan.unheld],
                 "warnings": list(plan.warnings), "objective": round(plan.objective, 3)},
        "resin": _resin_state(plan.resin),
    }


@remembered(256)
def key_state(key: Key) -> dict[str, Any]:
    """One key."""
    s = key.shape
    return {
        "id": key.id, "cracks": list(key.cracks), "centre": _rows(key.centre), "angle_deg": round(key.angle_deg, 3),
        "length": round(s.length, 3), "width": round(s.width, 3), "waist": round(s.waist, 3),
        "depth": round(s.depth, 3), "size": key.size_name, "shape": s.shape, "origin": key.origin,
        "pocket": [[round(float(x), 3), round(float(y), 3), round(float(b), 6)] for x, y, b in key.pocket],
        "polygon": _rows(to_points(key.pocket, _ARC)),
        "reasons": list(key.reasons), "checks": [_check_state(c) for c in key.checks],
    }


def _check_state(check: Check) -> dict[str, Any]:
    def figure(value: float | str) -> float | str:
        return value if isinstance(value, str) else round(float(value), 3)

    return {"name": check.name, "ok": bool(check.ok), "value": figure(check.value), "limit": figure(check.limit),
            "unit": check.unit, "note": check.note}


def _resin_state(resin: ResinEstimate) -> dict[str, Any]:
    figures = {name: round(getattr(resin, name), 1) for name in (
        "volume_ml", "least_ml", "most_ml", "mix_ml", "part_a_ml", "part_b_ml", "part_a_g", "part_b_g",
        "allowance_percent")}
    items = [{f.name: (getattr(i, f.name) if isinstance(getattr(i, f.name), str) else round(getattr(i, f.name), 2))
              for f in fields(i)} for i in resin.items]
    return figures | {"layers": resin.layers, "items": items, "notes": list(resin.notes)}


def edits_state(edits: Edits) -> dict[str, Any]:
    """What the user said that is not seen in keys and cracks."""
    return {"edits": {
        "finished_top": None if edits.finished_top is None else _rows(edits.finished_top),
        "outline": None if edits.outline is None else _rows(edits.outline),
        "keep_out": [_keep_out_state(k) for k in edits.keep_out],
        "probed": [list(probe) for probe in edits.probed_depths],
        "refused_cracks": len(edits.refused_cracks), "refused_keys": len(edits.refused_keys)}}


def _keep_out_state(area: KeepOut) -> dict[str, Any]:
    return {"area": _rows(area.area), "from": area.from_face, "depth": area.depth, "note": area.note,
            "screws": _rows(area.screws)}


def _rows(array: FloatArray) -> list[Any]:
    rows: list[Any] = np.round(array, 3).tolist()
    return rows
