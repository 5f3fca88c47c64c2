"""A job whose files no longer go together: each mix-up is refused or told."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from crackmap import job, jsonform
from crackmap.agreement import after_edits, edits_warnings
from crackmap.cli.main import main
from crackmap.errors import JobError
from crackmap.jsonedits import edits_as_json
from crackmap.records import AddedKey, Edits, Survey, frozen_array
from crackmap.scale.mapping import Mapping
from tests.builders import a_survey
from tests.review.jobs import a_job_folder

ALIGN = ["--a", "0,0", "--b", "660,0"]  # the marks of a slab 900 mm long


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return a_job_folder(tmp_path_factory.mktemp("silence") / "made")


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    """A copy of the job, to be spoiled."""
    where = tmp_path / "job"
    where.mkdir()
    for path in made.iterdir():
        if path.is_file():
            (where / path.name).write_bytes(path.read_bytes())
    return where


def refusal(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    assert ended.value.code == 2
    return capsys.readouterr().err


def changed(path: Path, **values: Any) -> None:
    read = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(read | values), encoding="utf-8")


def some_edits(survey: Survey) -> Edits:
    return Edits(keys=(AddedKey(frozen_array(survey.outline.mean(axis=0))),))


def test_a_sound_job_is_drawn_and_aligned(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["align", str(folder), *ALIGN])
    assert "They agree" in capsys.readouterr().out


@pytest.mark.parametrize("command", ["draw", "align", "ease"])
def test_a_plan_changed_by_hand(folder: Path, command: str, capsys: pytest.CaptureFixture[str]) -> None:
    read = json.loads((folder / job.PLAN).read_text(encoding="utf-8"))
    read["keys"][0]["depth"] += 1.0
    (folder / job.PLAN).write_text(json.dumps(read), encoding="utf-8")
    more = {"draw": [], "align": ALIGN, "ease": ["--key", "K1", "--by", "0.1mm"]}[command]
    assert "changed by hand" in refusal(capsys, command, str(folder), *more)


def test_a_plan_laid_out_anew_by_an_editor_is_the_same_plan(folder: Path) -> None:
    path = folder / job.PLAN
    path.write_text(json.dumps(json.loads(path.read_text(encoding="utf-8")), indent=7), encoding="utf-8")
    assert not job.read_plan(folder).by_hand


def test_an_old_plan_with_a_new_photo(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = replace(job.read_plan(folder), photo_sha256="cd" * 32)
    (folder / job.PLAN).write_bytes(jsonform.dumps(jsonform.plan_as_json(plan)))
    assert "another photo" in refusal(capsys, "align", str(folder), *ALIGN)


def test_another_photo_laid_in_the_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    survey = job.read_survey(folder)
    survey = replace(survey, photo=replace(survey.photo, sha256="cd" * 32))
    (folder / job.SURVEY).write_bytes(jsonform.dumps(jsonform.survey_as_json(survey)))
    assert "is not the photo" in refusal(capsys, "place", str(folder))


def test_edits_written_after_the_plan(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edits = some_edits(job.read_survey(folder))
    (folder / job.EDITS).write_bytes(jsonform.dumps(jsonform.edits_as_json(edits)))
    assert "does not obey it yet" in refusal(capsys, "draw", str(folder))


def test_the_thickness_changed_in_job_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changed(folder / job.JOB, thickness=38.0)
    said = refusal(capsys, "align", str(folder), *ALIGN)
    assert "45 mm thick" in said and "38 mm" in said


def test_the_bit_changed_after_the_plan(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "shop.toml").write_text("[bit]\ndiameter = 8.0\n", encoding="utf-8")
    said = refusal(capsys, "align", str(folder), *ALIGN)
    assert "[bit]" in said and "crackmap place" in said
    assert "[bit]" in refusal(capsys, "review", str(folder), "--no-browser")


def test_a_changed_bed_does_not_outdate_the_keys(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "shop.toml").write_text("[machine]\nfeed = 900\n", encoding="utf-8")
    main(["align", str(folder), *ALIGN])
    assert "They agree" in capsys.readouterr().out


def test_a_file_of_a_newer_program(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changed(folder / job.PLAN, schema="crackmap/plan/2")
    assert "schema" in refusal(capsys, "align", str(folder), *ALIGN)


def test_a_file_in_another_unit(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changed(folder / job.SURVEY, units="in")
    assert "units" in refusal(capsys, "align", str(folder), *ALIGN)


def test_edits_of_another_photo_are_told() -> None:
    survey = a_survey()
    assert not edits_warnings(survey, replace(some_edits(survey), photo_sha256=survey.photo.sha256))
    told = edits_warnings(survey, replace(some_edits(survey), photo_sha256="cd" * 32))
    assert any("another photo" in each for each in told)


def test_edits_that_lie_off_the_slab_are_told() -> None:
    survey = a_survey()
    far = Edits(keys=(AddedKey(frozen_array(survey.outline.max(axis=0) + 400.0)),))
    assert any("off the slab" in each for each in edits_warnings(survey, far))


def test_the_same_slab_is_said_but_it_lies_elsewhere(tmp_path: Path) -> None:
    """geometric: 20 mm aside, a slab of 1,400 x 480 mm overlaps itself by less than 97 %."""
    before = a_survey()
    photo = replace(before.photo, sha256="cd" * 32)
    moved = replace(before, photo=photo, outline=frozen_array(before.outline + [20.0, 20.0]))
    with pytest.raises(JobError, match="would hit other wood"):
        after_edits(before, moved, some_edits(before), tmp_path)
    assert after_edits(before, replace(before, photo=photo), some_edits(before), tmp_path).warnings == before.warnings


def test_another_marker_size_moves_the_users_edits(tmp_path: Path) -> None:
    """geometric: a scale larger by 2 % moves the far end of 1,400 mm by some 28 mm."""
    before = a_survey()
    grown = Mapping(before.mapping.slab_to_photo @ [[1 / 1.02, 0, 0], [0, 1 / 1.02, 0], [0, 0, 1]])
    told = after_edits(before, replace(before, mapping=grown), some_edits(before), tmp_path).warnings
    assert any("elsewhere" in each for each in told)
    assert after_edits(before, replace(before, mapping=grown), Edits(), tmp_path).warnings == before.warnings


def test_the_dam_map_of_an_earlier_plan_does_not_stay(tmp_path: Path) -> None:
    for name in ("tape-and-dams.png", "setup-2.dxf", "slab-machine.dxf", "my-notes.txt"):
        (tmp_path / name).write_bytes(b"old")
    assert set(job.old_drawings(tmp_path, {"slab.dxf"})) == {"tape-and-dams.png", "setup-2.dxf", "slab-machine.dxf"}


OTHER_PHOTO = Path(__file__).parents[2] / "test_images" / "901.jpg"


@pytest.mark.slow
def test_another_photo_in_a_folder_with_edits(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = job.read_job(folder)
    (folder / job.EDITS).write_text(jsonform.dumps(edits_as_json(some_edits(made.survey))).decode(), encoding="utf-8")
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    said = refusal(capsys, "run", str(OTHER_PHOTO), "--thickness", "50mm", "--out", str(folder), "--quiet")
    assert "holds your edits for another photo" in said
    assert {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()} == before


@pytest.mark.slow
def test_another_photo_in_a_folder_without_edits(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / job.EDITS).unlink(missing_ok=True)
    main(["run", str(OTHER_PHOTO), "--thickness", "50mm", "--out", str(folder), "--quiet"])
    assert "this one takes its place" in capsys.readouterr().out
    assert job.read_survey(folder).photo.file == OTHER_PHOTO.name
