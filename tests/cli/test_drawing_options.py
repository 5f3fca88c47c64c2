"""Options of drawing and cutting: kept in job.json, and old drawings removed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from crackmap import job, jsonform
from crackmap.cli.drawing_options import parted, with_choices
from crackmap.cli.steps import settings_of
from crackmap.errors import JobError, SettingsError
from crackmap.jsonform import JobNote

NOTE = JobNote("photo.jpg", "slab.jpg", 45.0, "in")


def test_choices_are_kept_and_the_rest_stays() -> None:
    given = {"dxf_version": "R12", "spare_keys": 2, "key_gap": 4.5, "hold": None, "with_reference": False,
             "stroke_texts": True, "resin_colour": "#102030"}
    note = with_choices(NOTE, given)
    back = jsonform.note_from_json(json.loads(jsonform.dumps(jsonform.note_as_json(note))))
    assert (back.drawing, back.cutting) == (note.drawing, note.cutting)
    settings = settings_of(with_choices(back, {"spare_keys": 3}))
    assert settings.sheets.dxf_version == "R12" and settings.sheets.units == "in"
    assert settings.sheets.resin_colour == (16, 32, 48) and settings.sheets.resin_look == "tinted"
    assert not settings.sheets.with_reference and settings.sheets.stroke_texts
    assert (settings.cutting.spare_keys, settings.cutting.key_gap, settings.cutting.hold) == (3, 4.5, "auto")


def test_options_are_parted_from_other_options() -> None:
    own, rest = parted({"spare_keys": 1, "marker_size": 60.0})
    assert own == {"spare_keys": 1} and rest == {"marker_size": 60.0}


def test_a_wrong_colour_is_refused() -> None:
    with pytest.raises(SettingsError, match="six hexadecimal digits"):
        with_choices(NOTE, {"resin_colour": "blue"})


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [("drawing", {"dxf_versoin": "R12"}, "dxf_versoin"), ("cutting", {"key_gap": "wide"}, "key_gap")],
)
def test_a_misspelt_choice_in_job_json_is_named(field: str, value: dict[str, str], said: str) -> None:
    form = jsonform.note_as_json(NOTE) | {field: value}
    with pytest.raises(JobError, match=said):
        jsonform.note_from_json(form)


def test_drawings_of_an_earlier_plan_are_removed_and_nothing_else(tmp_path: Path) -> None:
    ours = ["slab-mm.dxf", "setup-3.dxf", "setup-3.svg", "slab-machine.dxf", "setup-1-machine.dxf", "pocket-K4.dxf",
            "keys-in.dxf", "slab-underside.svg"]
    others = ["slab.dxf", "edits.json", "setup-notes.txt", "pocket-door.dxf", "myslab.dxf", "testcut.dxf"]
    for name in [*ours, *others]:
        (tmp_path / name).write_text("x")
    assert sorted(job.write_drawn(tmp_path, {"slab.dxf": b"new"})) == sorted(ours)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(others)
