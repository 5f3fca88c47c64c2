"""The records as JSON and back: the file contract of the job folder.

Writers give plain dictionaries; readers validate, and a wrong file gets one
sentence that names the field. `dumps` is deterministic, one line for each row
of numbers, so that a shop can keep the files under version control.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from crackmap.errors import JobError, quoted
from crackmap.fields import Fields
from crackmap.fields import rounded as _mm
from crackmap.fields import rounded_rows as _rows
from crackmap.jsoncutting import cutting_as_json, cutting_from_json, cutting_settings, sheet_settings
from crackmap.jsonedits import edits_as_json as edits_as_json
from crackmap.jsonedits import edits_from_json as edits_from_json
from crackmap.jsonresin import face_as_json, face_from_json, resin_as_json, resin_from_json, underside_settings
from crackmap.records import (
    Check,
    CountOption,
    CountOptions,
    Crack,
    Datum,
    Edits,
    FloatArray,
    Key,
    KeyShape,
    OtherFace,
    PhotoFacts,
    Plan,
    Reference,
    ScaleQuality,
    Survey,
    Unheld,
    Void,
    frozen_array,
)
from crackmap.scale.mapping import Mapping
from crackmap.settings import (
    CuttingSettings,
    KnownLens,
    MarkDistance,
    ScaleSettings,
    Settings,
    SheetSettings,
    SurveySettings,
    UndersideSettings,
)

PLAN_CHOICES = ("fewest", "balanced", "strongest")
SURVEY_FORM, PLAN_FORM, JOB_FORM = (
    "crackmap/survey/1", "crackmap/plan/1", "crackmap/job/1")


@dataclass(frozen=True, slots=True)
class UndersideNote:
    """How the photo of the other face goes with the job."""

    photo: str  # name of its copy in the folder
    title: str  # its own file name
    scale: ScaleSettings = ScaleSettings()
    settings: UndersideSettings = UndersideSettings()


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
    drawing: SheetSettings = SheetSettings()  # unit and paper of the texts are `units` and `paper`
    cutting: CuttingSettings = CuttingSettings()
    underside: UndersideNote | None = None


def dumps(value: Any) -> bytes:
    """Deterministic JSON text, UTF-8, a row of numbers a line."""
    return (_text(value, 0) + "\n").encode("utf-8", "backslashreplace")  # \udcff: a byte of an old disk's file name


def _text(value: Any, level: int) -> str:
    pad = "  " * (level + 1)
    if isinstance(value, dict) and value:
        inner = ",\n".join([f"{pad}{_leaf(k)}: {_text(v, level + 1)}" for k, v in value.items()])
        return "{\n" + inner + "\n" + "  " * level + "}"
    if isinstance(value, list) and not _NESTS.isdisjoint(map(type, value)):
        return "[\n" + ",\n".join([pad + _text(v, level + 1) for v in value]) + "\n" + "  " * level + "]"
    return _leaf(value)


def _leaf(value: Any) -> str:
    if isinstance(value, list) and value and _NUMBERS.issuperset(map(type, value)):
        text = ", ".join(map(repr, value))  # as the encoder writes them, without its start for each of thousands
        if "n" not in text:  # neither nan nor inf
            return f"[{text}]"
    return _encode(value)


_NESTS, _NUMBERS = frozenset({dict, list}), frozenset({int, float})
_encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


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
        **({"set_aside": [_crack_as_json(c) for c in survey.set_aside]} if survey.set_aside else {}),
        **({} if survey.found_outline is None else {"found_outline": _rows(survey.found_outline)}),
        **({} if survey.other_face is None else
           {"underside": face_as_json(survey.other_face, survey_as_json(survey.other_face.survey))}),
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
        outline=top.ring("outline", may_cross=True),
        voids=top.each("voids", lambda v: Void(v.text("id"), v.rows("polygon", 2, least=3))),
        cracks=top.each("cracks", _crack),
        grain_deg=top.number("grain_deg", least=-360, most=360),
        warnings=top.texts("warnings"),
        set_aside=top.each("set_aside", _crack, []),
        found_outline=top.rows("found_outline", 2) if top.has("found_outline") else None,
        other_face=_other_face(top, where) if top.has("underside") else None,
    )


def _other_face(top: Fields, where: str) -> OtherFace:
    inner = top.inner("underside")
    own = inner.raw("survey", {})
    if not isinstance(own, dict) or "underside" in own:
        raise inner.wrong("survey", "must be the survey of one face")
    return face_from_json(inner, survey_from_json(own, f"{where}: underside: survey"))


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
    """plan.json's object. Key outlines to 0.0001 mm; its seal tells a file that was changed by hand."""
    form = _plan_as_json(plan)
    return form | {"seal": _seal(form)}


def _seal(form: dict[str, Any]) -> str:
    """Digest of all fields but the seal itself, whatever their order and layout in the file."""
    rest = {name: value for name, value in form.items() if name != "seal"}
    try:
        return hashlib.sha256(json.dumps(rest, sort_keys=True).encode()).hexdigest()
    except RecursionError:  # nested deeper than any plan
        return ""


def _plan_as_json(plan: Plan) -> dict[str, Any]:
    return {
        "schema": PLAN_FORM,
        "units": "mm",
        "thickness": _mm(plan.thickness_mm),
        "keys": [_key_as_json(k) for k in plan.keys],
        "unheld": [{"crack": u.crack, "why": u.why} for u in plan.unheld],
        "resin": resin_as_json(plan.resin),
        **cutting_as_json(plan),
        "warnings": list(plan.warnings),
        "holding_basis": list(plan.basis),
        "choice": plan.choice,
        "objective": _mm(plan.objective),
        "counts": [_counts_as_json(c) for c in plan.counts],
        "photo_sha256": plan.photo_sha256,
        "edits_digest": plan.edits_digest,
        "shop_digests": dict(plan.shop_digests),
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


def _counts_as_json(counts: CountOptions) -> dict[str, Any]:
    return {"cracks": list(counts.cracks), "planned": counts.planned,
            "options": [{"keys": o.keys, "objective": _mm(o.objective), "longest_unheld": _mm(o.longest_unheld, 1),
                         "relief": None if o.relief is None else _mm(o.relief, 2)} for o in counts.options]}


def _counts(f: Fields) -> CountOptions:
    return CountOptions(f.texts("cracks"), int(f.number("planned", least=0)), f.each("options", lambda o: CountOption(
        int(o.number("keys", least=0)), o.number("objective"), o.number("longest_unheld", least=0),
        o.number("relief", None))))


def _outline_rows(outline: FloatArray) -> list[Any]:
    return [[round(float(x), 4), round(float(y), 4), round(float(b), 9)] for x, y, b in outline]


def _plain(value: float | str) -> float | str:
    return value if isinstance(value, str) else _mm(value)


def plan_from_json(read: dict[str, Any], where: str = "plan.json") -> Plan:
    """The Plan that `plan_as_json` wrote.

    Raises
    ------
    JobError
        If a field is missing or wrong; names it.
    """
    top = Fields(read, f"{where}:")
    top.expect_form(PLAN_FORM)
    keys = top.each("keys", _key)
    return Plan(
        keys=keys,
        unheld=top.each("unheld", lambda u: Unheld(u.text("crack"), u.text("why"))),
        resin=resin_from_json(top.inner("resin")),
        thickness_mm=top.number("thickness", least=0.001),
        **cutting_from_json(top, keys),
        warnings=top.texts("warnings"),
        basis=top.texts("holding_basis"),
        choice=top.text("choice", "balanced", choices=PLAN_CHOICES),
        objective=top.number("objective", 0.0),
        counts=top.each("counts", _counts, []),
        photo_sha256=top.text("photo_sha256", ""),
        edits_digest=top.text("edits_digest", ""),
        shop_digests=_digests(top),
        by_hand=top.has("seal") and top.text("seal") != _seal(read),
    )


def _digests(top: Fields) -> tuple[tuple[str, str], ...]:
    named = top.raw("shop_digests", {})
    if not isinstance(named, dict) or not all(isinstance(value, str) for value in named.values()):
        raise top.wrong("shop_digests", "must be an object of texts")
    return tuple(named.items())


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


# --- edits.json: see crackmap.jsonedits ---------------------------------------------------------------------


def digest_of(edits: Edits) -> str:
    """SHA-256 of the edits' one written form: equal for equal edits, however the file was laid out."""
    return hashlib.sha256(dumps(edits_as_json(edits))).hexdigest()


# --- job.json --------------------------------------------------------------------------------------------


def note_as_json(note: JobNote) -> dict[str, Any]:
    """job.json's object."""
    return {"schema": JOB_FORM, "units": "mm", "photo": note.photo, "title": note.title,
            "thickness": _mm(note.thickness_mm), "show_units": note.units,
            "scale": _changed(note.scale, ScaleSettings()),
            "survey": _changed(note.survey, SurveySettings()), "shop": note.shop, "paper": note.paper,
            "drawing": _changed(note.drawing, SheetSettings()), "cutting": _changed(note.cutting, CuttingSettings()),
            **({} if note.underside is None else {"underside": {
                "photo": note.underside.photo, "title": note.underside.title,
                "scale": _changed(note.underside.scale, ScaleSettings()),
                "settings": _changed(note.underside.settings, UndersideSettings())}})}


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
    photo = _photo_name(top, where)
    return JobNote(photo, top.text("title", photo), top.number("thickness", least=0.001),
                   top.text("show_units", choices=("mm", "in")),
                   _scale_settings(top.inner_or_empty("scale")), _survey_settings(top.inner_or_empty("survey")),
                   _file_text(top, "shop", ""), top.text("paper", "a4", choices=("a4", "letter")),
                   sheet_settings(top.inner_or_empty("drawing")), cutting_settings(top.inner_or_empty("cutting")),
                   _underside_note(top.inner("underside"), where) if top.has("underside") else None)


_LONGEST_PATH = 1000


def _file_text(f: Fields, name: str, default: str | None = None) -> str:
    """The name of a file, which commands put into their sentences."""
    text: str = f.text(name) if default is None else f.text(name, default)
    longest = max(map(len, text.replace("\\", "/").split("/")))
    if not (text.isprintable() and len(text) <= _LONGEST_PATH and longest <= 255):
        raise f.wrong(name, f"must be the name of a file, not {quoted(text)}")
    return text


def _photo_name(f: Fields, where: str) -> str:
    photo = _file_text(f, "photo")
    if "/" in photo or "\\" in photo or photo.startswith("."):
        raise JobError(f"{where}: photo must be the name of a file in the job folder, not {quoted(photo)}.")
    return photo


def _underside_note(f: Fields, where: str) -> UndersideNote:
    photo = _photo_name(f, where)
    return UndersideNote(photo, f.text("title", photo), _scale_settings(f.inner_or_empty("scale")),
                         underside_settings(f.inner_or_empty("settings")))


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
