"""crackmap align: the drawing in machine coordinates, and a verdict in words."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import numpy as np
import pytest

from crackmap import job, jsonform
from crackmap.cli.align import DRAWING, parse_reading
from crackmap.cli.main import main
from crackmap.errors import LengthError
from crackmap.jsonform import JobNote
from tests.builders import a_plan, a_survey


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A job as `crackmap run` leaves it, marks 1160 mm apart."""
    survey = a_survey()
    where = tmp_path / "job"
    job.write_all(where, {
        job.JOB: jsonform.dumps(jsonform.note_as_json(JobNote("photo.jpg", "slab.jpg", 45.0, "mm"))),
        job.SURVEY: jsonform.dumps(jsonform.survey_as_json(survey)),
        job.PLAN: jsonform.dumps(jsonform.plan_as_json(a_plan(survey))),
    })
    assert tuple(survey.datum.b) == (1160.0, 0.0)
    return where


def pockets(path: Path) -> list[np.ndarray]:
    """Closed outlines with arcs, in order of length."""
    found = [np.array([(x, y) for x, y, *_ in p.get_points()]) for p in ezdxf.readfile(path).modelspace()
             .query("LWPOLYLINE") if p.closed and p.has_arc]
    return sorted(found, key=lambda p: (len(p), p[:, 0].min()))


def test_the_drawing_moves_to_the_machine(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["align", str(folder), "--a", "500,100", "--b", "500,1260"])
    said = capsys.readouterr().out
    assert "+90.000 degrees" in said and "They agree" in said and "1160.00 mm" in said
    assert "centre of marker 3" in said and "spindle off" in said
    plan = job.read_plan(folder)
    # geometric: a quarter turn about A and a shift: (x, y) -> (500 - y, 100 + x)
    wanted = {(round(500 - k.centre[1], 2), round(100 + k.centre[0], 2)) for k in plan.keys}
    drawn = [np.c_[p.min(axis=0), p.max(axis=0)].mean(axis=1) for p in pockets(folder / DRAWING)]
    for x, y in wanted:
        assert min(np.hypot(d[0] - x, d[1] - y) for d in drawn) < 0.02


def test_a_difference_is_a_warning(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["align", str(folder), "--a", "0,0", "--b", "1165,0"])
    said = capsys.readouterr().out
    assert "WARNING" in said and "do not cut" in said and "5.00 mm more" in said and "--marker-size" in said
    main(["align", str(folder), "--a", "0,0", "--b", "1162,0", "--jog-sigma", "1mm"])
    assert "They agree" in capsys.readouterr().out  # 3 sigma of two readings of 1 mm is 4.2 mm


def test_inches_shown_and_read(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["align", str(folder), "--a", "0,0", "--b", f"{1160 / 25.4:.4f},0", "--units", "in"])
    assert "45.6693 in" in capsys.readouterr().out
    (folder / "slab-machine.dxf").unlink()
    with pytest.raises(SystemExit):
        main(["align", str(folder), "--a", "0,0", "--b", f"{1160 / 25.4:.4f},0"])
    assert "look like inches" in capsys.readouterr().err
    assert not (folder / "slab-machine.dxf").exists()


@pytest.mark.parametrize(("text", "expected"), [
    ("12.5,40", (12.5, 40.0)), (" -12.5 , 40mm", (-12.5, 40.0)), ("1in,2in", (25.4, 50.8)),
    ("1,2in", (25.4, 50.8)),
    ("12,5; 40,25", (12.5, 40.25)), ("0,0", (0.0, 0.0))])
def test_readings(text: str, expected: tuple[float, float]) -> None:
    assert parse_reading(text, "--a", "mm") == pytest.approx(expected)


@pytest.mark.parametrize("text", ["", "12", "1,2,3", "1,", "x,y", "1,2 furlongs"])
def test_readings_that_are_none(text: str) -> None:
    with pytest.raises(LengthError, match="--a"):
        parse_reading(text, "--a", "mm")


@pytest.mark.parametrize(("arguments", "word"), [
    (["--a", "1,1", "--b", "1,1"], "too near"), (["--a", "1;1;1", "--b", "1,1"], "--a"),
    (["--a", "1,1"], "--b")])
def test_wrong_readings_write_nothing(folder: Path, arguments: list[str], word: str,
                                      capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["align", str(folder), *arguments])
    assert ended.value.code == 2 and word in capsys.readouterr().err
    assert not (folder / DRAWING).exists()


def test_no_job_and_no_plan(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings = ["--a", "0,0", "--b", "1160,0"]
    with pytest.raises(SystemExit):
        main(["align", str(tmp_path / "nothing"), *readings])
    assert "not a job folder" in capsys.readouterr().err
    (folder / job.PLAN).unlink()
    with pytest.raises(SystemExit):
        main(["align", str(folder), *readings])
    assert "crackmap place" in capsys.readouterr().err
