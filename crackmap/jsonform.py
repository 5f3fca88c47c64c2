"""The records as JSON and back: the file contract of the job folder.

Writers give plain dictionaries; readers validate, and a wrong file gets one
sentence that names the field. `dumps` is deterministic, one line for each row
of numbers, so that a shop can keep the files under version control.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from crackmap.errors import JobError
from crackmap.fields import Fields
from crackmap.records import (
    AddedKey,
    Check,
    Crack,
    Datum,
    Edits,
    FloatArray,
    KeepOut,
    Key,
    KeyShape,
    PhotoFacts,
    Plan,
    Reference,
    ResinEstimate,
    ResinItem,
    ScaleQuality,
    Survey,
    Unheld,
    Void,
    frozen_array,
)
from crackmap.scale.mapping import Mapping
from crackmap.settings import KnownLens, MarkDistance, ScaleSettings, Settings, SurveySettings

SURVEY_FORM, EDITS_FORM, PLAN_FORM, JOB_FORM = (
    "crackmap/survey/1", "crackmap/edits/1", "crackmap/plan/1", "crackmap/job/1")


@dataclass(frozen=True, slots=True)
class JobNote:
    """job.json: how the job was made, so that a step can be run again alone."""

    photo: str  # name of the photo's copy in the folder
    title: str  # the photo's own file name: what the sheets are headed with
    thickness_mm: float
    units: str  # what the user reads: mm or in
    scale: ScaleSettings = ScaleSettings()
    survey: SurveySettings = SurveySettings()
    shop: str = ""  # path of the shop file as given; empty: found beside the job, or none
    paper: str = "a4"


def dumps(value: Any) -> bytes:
    """Deterministic JSON text, UTF-8, a row of numbers a line."""
    return (_text(value, 0) + "\n").encode()


def _text(value: Any, level: int) -> str:
    pad = "  " * (level + 1)
    if isinstance(value, dict) and value:
        inner = ",\n".join(f"{pad}{json.dumps(k)}: {_text(v, level + 1)}" for k, v in value.items())
        return "{\n" + inner + "\n" + "  " * level + "}"
    if isinstance(value, list) and any(isinstance(v, (dict, list)) for v in value):
        return "[\n" + ",\n".join(pad + _text(v, level + 1) for v in value) + "\n" + "  " * level + "]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _rows(array: FloatArray, digits: int = 3) -> list[Any]:
    rows: list[Any] = np.round(array, digits).tolist()
    return rows


def _mm(value: float, digits: int = 3) -> float:
    return round(float(value), digits)


# --- survey.json -----------------------------------------------------------------------------------------


def survey_as_json(survey: Survey) -> dict[str, Any]:
    """survey.json's object. Lengths to 0.001 mm; the mapping in full."""
    q = survey.scale
    return {
        "schema": SURVEY_FORM,
        "units": "mm",
        "photo": {k: v for k, v in ((f.name, getattr(survey.photo, f.name)) for f in fields(survey.photo))
                  if v is not None},
        "mapping": survey.mapping.as_json() | {
            "mm_per_px": round(q.mm_per_px, 6),
            "scale_sigma_percent": round(q.scale_sigma_percent, 4),
            "position_sigma_mm": {"at_datum": _mm(q.sigma_at_datum_mm), "worst": _mm(q.sigma_worst_mm)},
            "narrowest_crack_mm": _mm(q.narrowest_crack_mm),
            "reprojection_px": _mm(q.reprojection_px),
            "sigma_field": _rows(q.sigma_field),
            "notes": list(q.notes),
        },
        "datum": {"a": _rows(survey.datum.a), "b": _rows(survey.datum.b), "kind": survey.datum.kind,
                  "a_name": survey.datum.a_name, "b_name": survey.datum.b_name},
        "references": [{"kind": r.kind, "id": r.id, "corners": _rows(r.corners_mm), "size": list(r.size_mm),
                        "height": _mm(r.height_mm), "used": r.used, "why_not_used": r.why_not_used}
                       for r in survey.references],
        "outline": _rows(survey.outline),
        "voids": [{"id": v.id, "polygon": _rows(v.polygon)} for v in survey.voids],
        "cracks": [_crack_as_json(c) for c in survey.cracks],
        "grain_deg": _mm(survey.grain_deg, 2),
        "warnings": list(survey.warnings),
    }


def _crack_as_json(crack: Crack) -> dict[str, Any]:
    form: dict[str, Any] = {
        "id": crack.id, "length": _mm(crack.length), "ends": list(crack.ends),
        "confidence": round(crack.confidence, 3), "centreline": _rows(crack.centreline),
        "width": _rows(crack.width)}
    if len(crack.width_sigma):
        form["width_sigma"] = _rows(crack.width_sigma)
    if crack.drawn_by_user:
        form["drawn_by_user"] = True
    return form


def survey_from_json(read: dict[str, Any], where: str = "survey.json") -> Survey:
    """The Survey that `survey_as_json` wrote.

    Raises
    ------
    JobError
        If a field is missing or wrong; names it.
    """
    top = Fields(read, f"{where}:")
    top.expect_form(SURVEY_FORM)
    datum = top.inner("datum")
    return Survey(
        photo=_photo_facts(top.inner("photo")),
        mapping=_mapping(top.inner("mapping")),
        scale=_scale_quality(top.inner("mapping")),
        datum=Datum(datum.numbers("a", 2), datum.numbers("b", 2), datum.text("kind", "markers"),
                    datum.text("a_name", "A"), datum.text("b_name", "B")),
        references=top.each("references", _reference, []),
        outline=top.rows("outline", 2, least=3),
        voids=top.each("voids", lambda v: Void(v.text("id"), v.rows("polygon", 2, least=3))),
        cracks=top.each("cracks", _crack),
        grain_deg=top.number("grain_deg", least=-360, most=360),
        warnings=top.texts("warnings"),
    )


def _photo_facts(f: Fields) -> PhotoFacts:
    return PhotoFacts(f.text("file"), f.text("sha256"), int(f.number("width_px", least=1)),
                      int(f.number("height_px", least=1)), f.number("focal_35mm", None, least=0))


def _mapping(f: Fields) -> Mapping:
    matrix = f.rows("slab_to_photo", 3)
    if matrix.shape != (3, 3) or abs(np.linalg.det(matrix)) < 1e-12:
        raise f.wrong("slab_to_photo", "must be an invertible 3 x 3 matrix")
    if not f.has("lens"):
        return Mapping(matrix)
    lens = f.inner("lens")
    camera = lens.rows("camera_matrix", 3)
    if camera.shape != (3, 3) or camera[0, 0] <= 0 or camera[1, 1] <= 0:
        raise lens.wrong("camera_matrix", "must be a 3 x 3 matrix with positive focal lengths")
    return Mapping(matrix, camera, lens.numbers("distortion", 5))


def _scale_quality(f: Fields) -> ScaleQuality:
    sigma = f.inner("position_sigma_mm")
    return ScaleQuality(
        mm_per_px=f.number("mm_per_px", least=1e-6), scale_sigma_percent=f.number("scale_sigma_percent", least=0),
        sigma_at_datum_mm=sigma.number("at_datum", least=0), sigma_worst_mm=sigma.number("worst", least=0),
        narrowest_crack_mm=f.number("narrowest_crack_mm", 0.0, least=0),
        reprojection_px=f.number("reprojection_px", 0.0, least=0),
        sigma_field=f.rows("sigma_field", 3, default=[]), notes=f.texts("notes"))


def _reference(f: Fields) -> Reference:
    size = f.numbers("size", 2)
    number = f.number("id", None)
    return Reference(f.text("kind"), None if number is None else int(number), f.rows("corners", 2, least=4),
                     (float(size[0]), float(size[1])), f.number("height", 0.0), f.flag("used", True),
                     f.text("why_not_used", ""))


def _crack(f: Fields) -> Crack:
    line = f.rows("centreline", 2, least=2)
    width = f.numbers("width", len(line))
    if (width < 0).any():
        raise f.wrong("width", "must not be negative")
    sigma = f.numbers("width_sigma", len(line)) if f.has("width_sigma") else frozen_array([])
    ends = f.texts("ends")
    if len(ends) != 2:
        raise f.wrong("ends", "must be two texts")
    return Crack(f.text("id"), line, width, (ends[0], ends[1]), f.number("confidence", least=0, most=1), sigma,
                 f.flag("drawn_by_user"))


# --- plan.json -------------------------------------------------------------------------------------------


def plan_as_json(plan: Plan) -> dict[str, Any]:
    """plan.json's object. Key outlines to 0.0001 mm."""
    return {
        "schema": PLAN_FORM,
        "units": "mm",
        "thickness": _mm(plan.thickness_mm),
        "keys": [_key_as_json(k) for k in plan.keys],
        "unheld": [{"crack": u.crack, "why": u.why} for u in plan.unheld],
        "resin": _resin_as_json(plan.resin),
        "setups": list(plan.setups),
        "warnings": list(plan.warnings),
    }


def _key_as_json(key: Key) -> dict[str, Any]:
    s = key.shape
    return {
        "id": key.id, "cracks": list(key.cracks), "centre": _rows(key.centre), "angle_deg": _mm(key.angle_deg),
        "length": _mm(s.length), "width": _mm(s.width), "waist": _mm(s.waist), "depth": _mm(s.depth),
        "thickness": _mm(s.thickness), "corner_radius": _mm(s.corner_radius, 4), "shape": s.shape,
        "corners": s.corners, "clearance": _mm(s.clearance, 4), "size": key.size_name,
        "pocket": _outline_rows(key.pocket), "key": _outline_rows(key.key),
        "own_pocket": _outline_rows(s.pocket), "own_key": _outline_rows(s.key),
        "from": key.origin, "reasons": list(key.reasons),
        "checks": [{"name": c.name, "ok": bool(c.ok), "value": _plain(c.value), "limit": _plain(c.limit),
                    "unit": c.unit, "note": c.note} for c in key.checks],
    }


def _outline_rows(outline: FloatArray) -> list[Any]:
    return [[round(float(x), 4), round(float(y), 4), round(float(b), 9)] for x, y, b in outline]


def _plain(value: float | str) -> float | str:
    return value if isinstance(value, str) else _mm(value)


def _resin_as_json(resin: ResinEstimate) -> dict[str, Any]:
    form: dict[str, Any] = {}
    for f in fields(resin):
        value = getattr(resin, f.name)
        if f.name == "items":
            form["items"] = [{g.name: _plain(getattr(item, g.name)) for g in fields(item)} for item in value]
        elif f.name == "notes":
            form["notes"] = list(value)
        else:
            form[f.name] = value if isinstance(value, int) else _mm(value)
    return form


def plan_from_json(read: dict[str, Any], where: str = "plan.json") -> Plan:
    """The Plan that `plan_as_json` wrote.

    Raises
    ------
    JobError
        If a field is missing or wrong; names it.
    """
    top = Fields(read, f"{where}:")
    top.expect_form(PLAN_FORM)
    setups = top.raw("setups", [])
    if not isinstance(setups, list) or not all(isinstance(s, dict) for s in setups):
        raise top.wrong("setups", "must be a list of objects")
    return Plan(
        keys=top.each("keys", _key),
        unheld=top.each("unheld", lambda u: Unheld(u.text("crack"), u.text("why"))),
        resin=_resin(top.inner("resin")),
        thickness_mm=top.number("thickness", least=0.001),
        setups=tuple(setups),
        warnings=top.texts("warnings"),
    )


def _key(f: Fields) -> Key:
    positive = {name: f.number(name, least=0.001) for name in ("length", "width", "waist", "depth", "thickness")}
    shape = KeyShape(
        shape=f.text("shape"), corner_radius=f.number("corner_radius", least=0),
        clearance=f.number("clearance", least=0), pocket=f.rows("own_pocket", 3, least=2),
        key=f.rows("own_key", 3, least=2), corners=f.text("corners", "round"), **positive)
    return Key(
        id=f.text("id"), cracks=f.texts("cracks"), centre=f.numbers("centre", 2), angle_deg=f.number("angle_deg"),
        shape=shape, size_name=f.text("size", ""), pocket=f.rows("pocket", 3, least=2), key=f.rows("key", 3, least=2),
        origin=f.text("from"), reasons=f.texts("reasons"), checks=f.each("checks", _check, []))


def _check(f: Fields) -> Check:
    def figure(name: str) -> float | str:
        value = f.raw(name)
        return str(f.text(name)) if isinstance(value, str) else float(f.number(name))

    return Check(f.text("name"), f.flag("ok"), figure("value"), figure("limit"), f.text("unit", "mm"),
                 f.text("note", ""))


def _resin(f: Fields) -> ResinEstimate:
    figures = {name.name: f.number(name.name, least=0) for name in fields(ResinEstimate)
               if name.name not in ("items", "notes", "layers")}
    return ResinEstimate(items=f.each("items", _resin_item), layers=int(f.number("layers", least=0)),
                         notes=f.texts("notes"), **figures)


def _resin_item(f: Fields) -> ResinItem:
    figures = {g: f.number(g, least=0) for g in ("area_mm2", "depth_mm", "volume_ml", "least_ml", "most_ml")}
    return ResinItem(id=f.text("id"), depth_from=f.text("depth_from"), **figures)


# --- edits.json ------------------------------------------------------------------------------------------


def edits_from_json(read: dict[str, Any], where: str = "edits.json") -> Edits:
    """The user's edits, validated strictly: a misspelt name is an error, never ignored.

    Raises
    ------
    JobError
        If a field is unknown or wrong; names it.
    """
    top = Fields(read, f"{where}:")
    top.expect_form(EDITS_FORM)
    top.only("schema", "units", "keys", "cracks", "outline", "finished_top", "keep_out", "note")
    keys, cracks = top.inner_or_empty("keys"), top.inner_or_empty("cracks")
    keys.only("add", "fix", "refuse", "count")
    cracks.only("draw", "refuse", "depth")
    return Edits(
        keys=keys.each("add", lambda f: _added_key(f, False), []) + keys.each("fix", lambda f: _added_key(f, True), []),
        refused_keys=keys.rows("refuse", 2, default=[]),
        key_counts=keys.each("count", _count, []),
        drawn_cracks=cracks.lines("draw", 2, least=2),
        refused_cracks=cracks.rows("refuse", 2, default=[]),
        probed_depths=cracks.each("depth", _depth, []),
        outline=top.rows("outline", 2, least=3) if top.has("outline") else None,
        finished_top=top.rows("finished_top", 2, least=3) if top.has("finished_top") else None,
        keep_out=top.each("keep_out", _keep_out, []),
    )


def _added_key(f: Fields, fixed: bool) -> AddedKey:
    f.only("centre", "angle_deg", "size", "length", "width", "waist", "depth", "shape", "note")
    lengths = {name: f.number(name, None, least=0.1, most=2000) for name in ("length", "width", "waist", "depth")}
    return AddedKey(centre=f.numbers("centre", 2), angle_deg=f.number("angle_deg", None, least=-360, most=360),
                    size=f.text("size", None), shape=f.text("shape", None), fixed=fixed, **lengths)


def _count(f: Fields) -> tuple[float, float, int]:
    f.only("crack_at", "keys", "note")
    at, keys = f.numbers("crack_at", 2), f.number("keys", least=0, most=100)
    if keys != int(keys):
        raise f.wrong("keys", f"must be a whole number, not {keys:g}")
    return float(at[0]), float(at[1]), int(keys)


def _depth(f: Fields) -> tuple[float, float, float]:
    f.only("at", "depth", "note")
    at = f.numbers("at", 2)
    return float(at[0]), float(at[1]), f.number("depth", least=0, most=1000)


def _keep_out(f: Fields) -> KeepOut:
    f.only("area", "from", "depth", "note")
    return KeepOut(f.rows("area", 2, least=3), f.text("from", "above", choices=("above", "below")),
                   f.number("depth", None, least=0), f.text("note", ""))


# --- job.json --------------------------------------------------------------------------------------------


def note_as_json(note: JobNote) -> dict[str, Any]:
    """job.json's object."""
    return {"schema": JOB_FORM, "units": "mm", "photo": note.photo, "title": note.title,
            "thickness": _mm(note.thickness_mm), "show_units": note.units,
            "scale": _changed(note.scale, ScaleSettings()),
            "survey": _changed(note.survey, SurveySettings()), "shop": note.shop, "paper": note.paper}


def _changed(settings: Settings, default: Settings) -> dict[str, Any]:
    """The settings that differ from the defaults; a default that is bettered later is then taken up."""
    named = {f.name: getattr(settings, f.name) for f in fields(settings)}
    return {name: json.loads(json.dumps(value)) for name, value in named.items() if value != getattr(default, name)}


def note_from_json(read: dict[str, Any], where: str = "job.json") -> JobNote:
    """The JobNote that `note_as_json` wrote.

    Raises
    ------
    JobError
        If a field is missing or wrong; names it.
    """
    top = Fields(read, f"{where}:")
    top.expect_form(JOB_FORM)
    photo = top.text("photo")
    if "/" in photo or "\\" in photo or photo.startswith("."):
        raise JobError(f"{where}: photo must be the name of a file in the job folder, not {photo!r}.")
    return JobNote(photo, top.text("title", photo), top.number("thickness", least=0.001),
                   top.text("show_units", choices=("mm", "in")),
                   _scale_settings(top.inner_or_empty("scale")), _survey_settings(top.inner_or_empty("survey")),
                   top.text("shop", ""), top.text("paper", "a4", choices=("a4", "letter")))


def _scale_settings(f: Fields) -> ScaleSettings:
    usual = ScaleSettings()
    f.only(*(g.name for g in fields(usual)))
    positive = {name: f.number(name, getattr(usual, name), least=1e-6) for name in (
        "marker_size", "marker_size_sigma", "marker_height_sigma", "k1_sigma", "tilt_sigma_deg", "rule_sigma")}
    rule = None
    if f.has("rule"):
        points, distance = _pair(f, "rule")
        rule = ((points[0], points[1], points[2], points[3]), distance)
    return ScaleSettings(
        reference=f.text("reference", usual.reference), marker_height=f.number("marker_height", 0.0),
        focal_35mm=f.number("focal_35mm", None, least=1.0, most=1000.0), lens=_known_lens(f),
        check_distances=_distances(f, "check_distances"), fit_distances=_distances(f, "fit_distances"), rule=rule,
        **positive)


def _pair(f: Fields, name: str) -> tuple[FloatArray, float]:
    """Four numbers and one more, as [[x1, y1, x2, y2], distance]."""
    value = f.raw(name)
    if not isinstance(value, list) or len(value) != 2:
        raise f.wrong(name, "must be [[x1, y1, x2, y2], distance]")
    inner = Fields({"points": value[0], "distance": value[1]}, f.path_of(name))
    return inner.numbers("points", 4), inner.number("distance", least=1e-6)


def _distances(f: Fields, name: str) -> tuple[MarkDistance, ...]:
    rows = f.rows(name, 4, default=[])
    return tuple(MarkDistance(int(a), int(b), float(mm), float(sigma)) for a, b, mm, sigma in rows)


def _known_lens(f: Fields) -> KnownLens | None:
    if not f.has("lens"):
        return None
    value = f.raw("lens")
    if not isinstance(value, list) or len(value) != len(KnownLens._fields):
        raise f.wrong("lens", f"must be a list of {', '.join(KnownLens._fields)}")
    inner = Fields(dict(zip(KnownLens._fields, value, strict=True)), f.path_of("lens"))
    size, matrix = inner.numbers("image_size", 2), inner.rows("camera_matrix", 3, least=3)
    return KnownLens((int(size[0]), int(size[1])), tuple(tuple(float(v) for v in row) for row in matrix),
                     tuple(float(v) for v in inner.numbers("distortion", 5)),
                     inner.number("focal_35mm", None, least=1.0, most=1000.0))


def _survey_settings(f: Fields) -> SurveySettings:
    usual = SurveySettings()
    f.only(*(g.name for g in fields(usual)))
    return SurveySettings(**{g.name: f.number(g.name, getattr(usual, g.name), least=0) for g in fields(usual)})
