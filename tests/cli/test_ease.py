"""crackmap ease, and crackmap align for one set-up: on a job folder made in code."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import numpy as np
import pytest

from crackmap import job, jsonform
from crackmap.cli.main import main
from crackmap.jsonform import JobNote
from crackmap.keys.outline import bounding_box
from crackmap.settings import SheetSettings
from crackmap.shop import Bed, Shop
from tests.builders import a_cut_plan, a_survey

SHOP = Shop(bed=Bed(700.0, 450.0, ("left", "right", "front", "back")))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    survey = a_survey(1800.0, 600.0, 8)
    note = JobNote("photo.jpg", "slab.jpg", 45.0, "mm", drawing=SheetSettings(dxf_version="R2000"))
    where = tmp_path / "job"
    job.write_all(where, {
        job.JOB: jsonform.dumps(jsonform.note_as_json(note)),
        job.SURVEY: jsonform.dumps(jsonform.survey_as_json(survey)),
        job.PLAN: jsonform.dumps(jsonform.plan_as_json(a_cut_plan(survey, 12, SHOP))),
    })
    return where


def test_one_pocket_is_drawn_wider(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Geometric: 0.15 mm on every side."""
    main(["ease", str(folder), "--key", "k3", "--by", "0.15mm"])
    assert "0.15 mm wider on every side" in capsys.readouterr().out
    key = next(k for k in job.read_plan(folder).keys if k.id == "K3")
    drawing = ezdxf.readfile(folder / "pocket-K3.dxf")
    assert drawing.dxfversion == "AC1015"  # R2000, as the job's drawings
    (pocket,) = drawing.modelspace().query('LWPOLYLINE[layer=="POCKET"]')
    box = bounding_box(np.array([(x, y, b) for x, y, _, _, b in pocket.get_points()]))
    x0, y0, x1, y1 = bounding_box(key.pocket)
    assert box == pytest.approx((x0 - 0.15, y0 - 0.15, x1 + 0.15, y1 + 0.15), abs=1e-3)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--key", "K99", "--by", "0.1mm"], "there is no key 'K99'"),
        (["--key", "K3", "--by", "3mm"], "give more than 0 and at most 2 mm"),
        (["--key", "K3", "--by", "0.1"], "no unit"),
    ],
)
def test_a_wrong_wish_is_one_sentence(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["ease", str(folder), *arguments])
    told = capsys.readouterr().err
    assert ended.value.code == 2 and said in told and told.count("\n") == 1
    assert not list(folder.glob("pocket-*"))


def test_a_setup_is_moved_by_its_own_marks(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Geometric: with the second mark straight to the right of the first, the pockets keep their distances to both."""
    setup = job.read_plan(folder).setups[1]
    first, second = (np.array(mark.at) for mark in setup.marks[:2])
    apart = float(np.hypot(*(second - first)))
    main(["align", str(folder), "--setup", "2", "--a", "50,60", "--b", f"{50 + apart:.4f},60"])
    assert "They agree" in capsys.readouterr().out
    pockets = [p for p in ezdxf.readfile(folder / "setup-2-machine.dxf").modelspace().query("LWPOLYLINE")
               if p.dxf.layer.startswith("POCKET")]
    drawn = sorted(float(np.hypot(*(_middle(p) - [50.0, 60.0]))) for p in pockets)
    keys = [key for key in job.read_plan(folder).keys if key.id in setup.keys]
    assert drawn == pytest.approx(sorted(float(np.hypot(*(key.centre - first))) for key in keys), abs=0.05)


def _middle(polyline: ezdxf.entities.LWPolyline) -> np.ndarray:
    points = np.array([(x, y) for x, y, *_ in polyline.get_points()])
    return np.asarray(points.mean(axis=0))


def test_a_setup_that_is_not_there(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["align", str(folder), "--setup", "9", "--a", "0,0", "--b", "10,0"])
    assert ended.value.code == 2 and "--setup 9: this job has" in capsys.readouterr().err
