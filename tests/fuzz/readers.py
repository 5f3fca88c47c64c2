"""Every reader of crackmap: valid input to start from, how to damage it, and what must then stand."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import numpy as np

from crackmap import job, jsonform
from crackmap.cli.align import alignment_lines, parse_reading
from crackmap.cli.drawing_options import with_choices
from crackmap.cli.lens import load_lens
from crackmap.cli.options import Length
from crackmap.cli.scale_options import RulePoints, TapedDistance
from crackmap.cli.steps import load_shop
from crackmap.cli.underside_options import CommonPlaces
from crackmap.errors import CrackmapError, SettingsError
from crackmap.jsonform import UndersideNote, dumps
from crackmap.photo.read import read_photo
from crackmap.records import PhotoFacts, frozen_array
from crackmap.scale.alignment import align
from crackmap.scale.camera import Lens
from crackmap.scale.lens_file import LensFile, ViewFit, lens_as_json, lens_for_photo
from crackmap.scale.mapping import Mapping
from crackmap.settings import ScaleSettings, UndersideSettings
from crackmap.shop import TestedFit
from crackmap.shop_edit import with_tested_fit
from crackmap.underside.join import join_faces
from crackmap.units import in_words_for, parse_length, parse_positive_length, show_fraction, show_length
from tests.builders import a_survey
from tests.fuzz.bench import SHOP, Bench, open_session, put_right, run_command
from tests.fuzz.mutations import NUMBERS, mutated_json, toml_text
from tests.fuzz.pictures import mutated_picture, small_pictures
from tests.fuzz.texts import SAMPLES, mutated_text
from tests.test_jsonform import A_NOTE
from tests.underside.faces import THICKNESS, show_face, underside

Mutate = Callable[[bytes, list[bytes], Random], bytes]


@dataclass(frozen=True, slots=True)
class Reader:
    """One reader and how it is tried."""

    seeds: list[bytes]
    mutate: Mutate
    read: Callable[[bytes], None]  # raises what the reader raises
    go_on: Callable[[bytes], None] | None = None  # the next stages, with what read well


def _same_again(write: Callable[[Any], dict[str, Any]], read: Callable[[Any], Any], record: Any) -> None:
    """What was read can be written, and reads as the same."""
    form = write(record)
    again = write(read(json.loads(dumps(form))))
    assert dumps(again) == dumps(form), "what was read reads otherwise once written"


def _job_file(bench: Bench, name: str, file: str) -> tuple[Path, Callable[[bytes], Any]]:
    """A job folder of the reader's own, and what puts content into one of its files."""
    folder = bench.copy_of(bench.drawn_job, name)
    return folder, (folder / file).write_bytes


# --- survey.json ------------------------------------------------------------------------------------------


def survey_reader(bench: Bench) -> Reader:
    """survey.json, alone and with an underside; then placing, drawing and the review."""
    folder, put = _job_file(bench, "survey", job.SURVEY)
    show = replace(a_survey(), cracks=show_face().cracks, voids=show_face().voids, outline=show_face().outline)
    both = replace(show, other_face=join_faces(show, underside(3.0, (20.0, 5.0)), THICKNESS), set_aside=show.cracks[:1],
                   found_outline=show.outline)
    # Sparser lines: a mutation then hits something other than one of a thousand points.
    form = json.loads(dumps(jsonform.survey_as_json(both)))
    _thin_out(form)

    def read(content: bytes) -> None:
        put(content)
        _same_again(jsonform.survey_as_json, jsonform.survey_from_json, job.read_survey(folder))

    def go_on(content: bytes) -> None:
        with put_right(folder):
            put(content)
            open_session(folder).state()
            run_command("align", str(folder), "--a", "0,0", "--b", "460,0")
        with put_right(folder):
            put(content)
            run_command("place", str(folder), "--afresh", "--quiet")

    seeds = [(folder / job.SURVEY).read_bytes(), json.dumps(form).encode()]
    return Reader(seeds, mutated_json, read, go_on)


def _thin_out(form: dict[str, Any]) -> None:
    """Every twentieth point of outlines and cracks, widths and states with them."""
    for face in (form, form["underside"]["survey"]):
        face["outline"] = face["outline"][::20]
        for crack in [*face["cracks"], *face.get("set_aside", [])]:
            crack["centreline"], crack["width"] = crack["centreline"][::20], crack["width"][::20]
    for below in form["underside"]["below"]:
        if len(below["state"]) > 1:
            below["state"], below["width"] = below["state"][::20], below["width"][::20]


# --- edits.json -------------------------------------------------------------------------------------------


def edits_reader(bench: Bench) -> Reader:
    """edits.json; then the review, which obeys every edit, and placing."""
    folder, put = _job_file(bench, "edits", job.EDITS)
    survey = job.read_survey(folder)

    def read(content: bytes) -> None:
        put(content)
        _same_again(jsonform.edits_as_json, jsonform.edits_from_json, job.read_edits(folder))

    def go_on(content: bytes) -> None:
        with put_right(folder):
            put(content)
            open_session(folder).state()
        with put_right(folder):
            put(content)
            run_command("place", str(folder), "--quiet")

    first, second = (c.centreline.tolist() for c in survey.cracks[:2])
    middle, low, high = first[30], survey.outline.min(axis=0) + 30, survey.outline.max(axis=0) - 30
    top = [[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]]
    form = {
        "schema": "crackmap/edits/1", "units": "mm",
        "keys": {"add": [{"centre": second[30], "angle_deg": 88, "size": "large", "note": "by eye"},
                         {"centre": first[45], "length": 80, "width": 32, "waist": 14, "depth": 18}],
                 "fix": [{"centre": middle, "angle_deg": 90, "shape": "straight"}],
                 "refuse": [first[10]], "count": [{"crack_at": second[20], "keys": 2, "note": "two will do"}]},
        "cracks": {"draw": [[[200, 60], [260, 64], [320, 60]]], "refuse": [second[5]],
                   "end": [{"at": first[-1], "to": first[-8], "note": "ends here"}],
                   "depth": [{"at": first[5], "depth": 30}]},
        "outline": top, "finished_top": [[x * 0.9, y * 0.9] for x, y in top],
        "keep_out": [{"area": [[100, 20], [160, 20], [160, 60], [100, 60]], "from": "below", "depth": 20,
                      "note": "base", "screws": [[110, 30], [150, 50]]}], "note": "the maker's word"}
    bare = {"schema": "crackmap/edits/1", "units": "mm", "keys": {"refuse": [middle]}, "cracks": {}}
    return Reader([json.dumps(each, default=float).encode() for each in (form, form, bare)], mutated_json, read, go_on)


# --- plan.json, job.json ----------------------------------------------------------------------------------


def plan_reader(bench: Bench) -> Reader:
    """plan.json with boards, set-ups and pours; then drawing, aligning, easing and the review."""
    folder, put = _job_file(bench, "plan", job.PLAN)

    def read(content: bytes) -> None:
        put(content)
        _same_again(jsonform.plan_as_json, jsonform.plan_from_json, job.read_plan(folder))

    def go_on(content: bytes) -> None:
        with put_right(folder):
            put(content)
            plan = job.read_plan(folder)
            run_command("align", str(folder), "--a", "0,0", "--b", "460,0")
            for setup in plan.setups[:1]:
                _refused_or_done("align", str(folder), "--a", "0,0", "--b", "200,0", "--setup", str(setup.number))
            for key in plan.keys[:1]:
                _refused_or_done("ease", str(folder), "--key", key.id, "--by", "0.1mm")
            run_command("draw", str(folder), "--quiet")
        with put_right(folder):
            put(content)
            open_session(folder).state()
            run_command("place", str(folder), "--quiet")

    return Reader([(folder / job.PLAN).read_bytes()], mutated_json, read, go_on)


def _refused_or_done(*arguments: str) -> None:
    """A command that may refuse without keeping the next from being tried."""
    try:
        run_command(*arguments)
    except CrackmapError as refusal:
        assert len(str(refusal).splitlines()) == 1, refusal


def job_reader(bench: Bench) -> Reader:
    """job.json with every setting; then drawing by it, and measuring the photo by it."""
    folder, put = _job_file(bench, "job", job.JOB)
    measured = bench.copy_of(bench.measured_job, "job-measured")
    under = UndersideNote("underside.jpg", "IMG_2.jpg", ScaleSettings(marker_size=80.0),
                          UndersideSettings("end", ((1.0, 2.0, 3.0, 4.0),), (7,)))
    full = replace(A_NOTE, underside=under, shop="")
    choices = with_choices(replace(A_NOTE, shop=""), {"dxf_version": "R12", "drawing_units": "in", "spare_keys": 2,
                                                       "resin_colour": "185c68", "key_gap": 4.0})

    def read(content: bytes) -> None:
        put(content)
        _same_again(jsonform.note_as_json, jsonform.note_from_json, job.read_note(folder))

    def go_on(content: bytes) -> None:
        with put_right(folder):
            put(content)
            run_command("draw", str(folder), "--quiet")
        with put_right(measured):
            (measured / job.JOB).write_bytes(content)
            run_command("measure", str(measured), "--quiet")

    notes = [dumps(jsonform.note_as_json(note)) for note in (full, choices)]
    return Reader([(measured / job.JOB).read_bytes(), *notes], mutated_json, read, go_on)


# --- shop file, lens file ---------------------------------------------------------------------------------


def shop_reader(bench: Bench) -> Reader:
    """The shop file, and the edit of it that a test cut makes; then placing and drawing by it, and a test cut."""
    folder, put = _job_file(bench, "shop", "shop.toml")
    own, drawing = folder / "shop.toml", folder / "testcut.dxf"

    def read(content: bytes) -> None:
        put(content)
        shop = load_shop(own, folder)
        with_tested_fit(content.decode(), TestedFit(shop.bit.diameter, 0.15, shop.keys.key_wood), "shop.toml")

    def go_on(content: bytes) -> None:
        with put_right(folder):
            put(content)
            _refused_or_done("testcut", "--shop", str(own), "--out", str(drawing), "--overwrite")
            run_command("place", str(folder), "--afresh", "--quiet")

    mutate = partial(mutated_json, write=toml_text, read=_toml_tree)
    plain = b'[bit]\ndiameter = "3mm"\n[keys]\nshape = "straight"\ncorners = "chisel"\n[wood]\nspecies = "walnut"\n'
    return Reader([SHOP.encode(), SHOP.encode(), plain], mutate, read, go_on)


def _toml_tree(content: bytes) -> Any:
    return tomllib.loads(content.decode("utf-8", "replace"))


def lens_reader(bench: Bench) -> Reader:
    """The lens file; what it says is used at once for photos of several shapes; then a photo is measured by it."""
    path, photo, out = bench.scratch / "lens.json", bench.scratch / "lens-photo.jpg", bench.scratch / "lens-job"
    photo.write_bytes(bench.small_photo)
    sizes = [(750, 562), (1500, 1124), (562, 750), (4000, 3000)]
    facts = [PhotoFacts("p.jpg", "", w, h, None, o) for (w, h), o in zip(sizes, (1, 3, 6, 8), strict=True)]

    def read(content: bytes) -> None:
        path.write_bytes(content)
        known = load_lens(path)
        for each in facts:
            try:
                lens, _ = lens_for_photo(known, each)
            except CrackmapError:  # of another shape
                continue
            mapping = Mapping(np.array([[1.0, 0, 100], [0, -1, 500], [0, 0, 1]]), lens.camera_matrix, lens.distortion)
            mapping.to_slab(mapping.to_pixels([[0.0, 0.0], [500.0, 300.0]]))

    def go_on(content: bytes) -> None:
        path.write_bytes(content)
        run_command("run", str(photo), "--thickness", "37.5mm", "--out", str(out), "--lens", str(path), "--quiet")

    measured = LensFile(750, 562, Lens(frozen_array([[729.0, 0.0, 374.5], [0.0, 729.0, 280.5], [0.0, 0.0, 1.0]]),
                                       frozen_array([-0.02, 0.01, 0.0, 0.0, 0.0])), 0.2, 0.1, 0.3, 0.8, 1.001, 26.0,
                        (ViewFit("a.jpg", 60, 0.2), ViewFit("b.jpg", 12, 0.9, False)), ("a note",))
    seed = dumps(lens_as_json(measured))
    bare = json.dumps({k: v for k, v in json.loads(seed).items()
                       if k in ("schema", "units", "image", "camera_matrix", "distortion")}).encode()
    return Reader([seed, seed, bare], mutated_json, read, go_on)


# --- texts of the command line ----------------------------------------------------------------------------


def lengths_reader(_: Bench) -> Reader:
    """Lengths, readings, taped distances, rules, common places, clearances, colours and words to be put into inches."""
    from crackmap.cli.testcut import _clearance

    asked: list[Callable[[str], Any]] = [
        parse_length, partial(parse_length, default_unit="in"), lambda t: parse_positive_length(t, "--thickness"),
        lambda t: Length().convert(t, None, None), lambda t: parse_reading(t, "--a", "in"),
        lambda t: TapedDistance().convert(t, None, None), lambda t: RulePoints().convert(t, None, None),
        lambda t: CommonPlaces().convert(t, None, None), lambda t: _clearance(t, "--fitted"),
        lambda t: with_choices(A_NOTE, {"resin_colour": t})]

    def read(content: bytes) -> None:
        text = content.decode("utf-8", "surrogatepass")
        refusals = []
        for ask in asked:
            try:
                answer = ask(text)
            except CrackmapError as refusal:
                refusals.append(refusal)
                continue
            numbers = answer if isinstance(answer, tuple) else (answer,)
            for number in (n for n in numbers if isinstance(n, float)):
                show_length(number, "in"), show_fraction(number)
                assert np.isfinite(number), f"{text!r} gave {number}"
        in_words_for(text, "in")
        worst = [each for each in refusals if len(str(each)) > 1000 or len(str(each).splitlines()) != 1]
        if worst or len(refusals) == len(asked):
            raise (worst or refusals)[0]

    def mutate(content: bytes, _: list[bytes], random: Random) -> bytes:
        text = mutated_text(content.decode("utf-8", "surrogatepass"), random)
        return text.encode("utf-8", "surrogatepass" if random.random() < 0.5 else "replace")

    return Reader([text.encode() for text in SAMPLES], mutate, read)


def align_reader(bench: Bench) -> Reader:
    """Readings of the machine against the marks of the slab; then the drawing in its coordinates."""
    folder = bench.copy_of(bench.drawn_job, "align")
    survey = job.read_survey(folder)

    def asked_of(content: bytes) -> dict[str, Any]:
        asked = json.loads(content)
        texts = {name: str(asked.get(name, "")) for name in ("a", "b", "jog", "units")}
        return texts | {"marks": asked.get("marks")}

    def read(content: bytes) -> None:
        asked = asked_of(content)
        units = "in" if asked["units"] == "in" else "mm"
        points = [parse_reading(asked[name], f"--{name}", units) for name in ("a", "b")]
        jog = parse_positive_length(asked["jog"], "--jog-sigma")
        marks = asked["marks"] or [survey.datum.a, survey.datum.b]
        found = align(marks[0], marks[1], points[0], points[1], survey.scale.scale_sigma_percent, jog)
        assert np.isfinite(found.matrix).all()
        alignment_lines(found, ["A", "B"], units)

    def go_on(content: bytes) -> None:
        asked = asked_of(content)
        run_command("align", str(folder), "--a", asked["a"], "--b", asked["b"], "--jog-sigma", asked["jog"])

    def mutate(content: bytes, _: list[bytes], random: Random) -> bytes:
        asked = json.loads(content)
        name = random.choice(("a", "a", "b", "b", "jog", "marks"))
        if name == "marks":
            asked["marks"] = [[random.choice(_FINITE) for _ in range(2)] for _ in range(2)]
        else:
            asked[name] = mutated_text(asked[name], random)
        return json.dumps(asked).encode()

    seeds = [{"a": "12.50,40.25", "b": "472.5,40.25", "jog": "0.15mm", "units": "mm"},
             {"a": "0;0", "b": "18.110;0in", "jog": "0.01in", "units": "in"},
             {"a": "-1-3/4in,2in", "b": "16.36in, 2 in", "jog": "0.15mm", "units": "in"}]
    return Reader([json.dumps(each).encode() for each in seeds], mutate, read, go_on)


_FINITE = [float(n) for n in NUMBERS if isinstance(n, float) and np.isfinite(n)] + [0.0, 460.0, 25.4]


# --- photos -----------------------------------------------------------------------------------------------


def photo_reader(bench: Bench) -> Reader:
    """A photo file; then the whole run on it."""
    path, out = bench.scratch / "photo-in.jpg", bench.scratch / "photo-job"

    def read(content: bytes) -> None:
        path.write_bytes(content)
        photo = read_photo(path)
        assert photo.pixels.shape == (photo.facts.height_px, photo.facts.width_px, 3)

    def go_on(content: bytes) -> None:
        path.write_bytes(content)
        run_command("run", str(path), "--thickness", "37.5mm", "--out", str(out), "--same-slab", "--quiet")

    return Reader([*small_pictures(), bench.small_photo], mutated_picture, read, go_on)


# --- the review -------------------------------------------------------------------------------------------


def review_reader(bench: Bench) -> Reader:
    """Requests to the review: paths, headers and the bodies of changes; each change is undone again."""
    from tests.fuzz.requests import Asker, request_seeds

    folder = bench.copy_of(bench.drawn_job, "review")
    asker = Asker(folder)
    seeds = [json.dumps(each).encode() for each in request_seeds(asker.session.standing)]

    def read(content: bytes) -> None:
        try:
            asked = json.loads(content)
        except (ValueError, RecursionError) as problem:
            asker.send({"method": "POST", "path": "/change"}, content)
            raise SettingsError("the request's own form was damaged.") from problem
        asker.ask(asked)

    return Reader(seeds, mutated_json, read)


READERS: dict[str, Callable[[Bench], Reader]] = {
    "photo": photo_reader, "survey": survey_reader, "edits": edits_reader, "plan": plan_reader, "job": job_reader,
    "shop": shop_reader, "lengths": lengths_reader, "lens": lens_reader, "align": align_reader, "review": review_reader}

