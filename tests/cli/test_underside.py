"""Both faces of a slab through the command line."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from crackmap import job
from crackmap.cli.main import main
from tests.benchmarks.bench_underside import placing_error
from tests.cli.test_bad_input import refused
from tests.truth import load_truth


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory, test_images: Path) -> Path:
    """A job made from the photos of both faces."""
    folder = tmp_path_factory.mktemp("both") / "job"
    main(["run", str(test_images / "P905_show.jpg"), "--thickness", "38mm", "--marker-size", "80mm",
          "--underside", str(test_images / "P905_under.jpg"), "--out", str(folder), "--quiet"])
    return folder


@pytest.mark.slow
def test_the_underside_lies_where_it_should_and_its_knot_hole_is_through(both: Path, test_images: Path) -> None:
    survey = job.read_survey(both)
    pair = load_truth(test_images / "P905_show.json"), load_truth(test_images / "P905_under.json")
    assert survey.other_face is not None
    assert np.sqrt((placing_error(pair, survey, survey.other_face) ** 2).mean()) < 5.0  # the goal by outline [mm]
    words = {b.opening: b.word for b in survey.other_face.below}
    assert any(words[void.id] == "through" for void in survey.voids)
    assert any("through" in words[crack.id] for crack in survey.cracks if crack.widest > 4.0)


@pytest.mark.slow
def test_the_plan_knows_what_is_through_and_where_to_tape(both: Path) -> None:
    resin = json.loads((both / "plan.json").read_text(encoding="utf-8"))["resin"]
    assert any("through" in item["depth_from"] for item in resin["items"])
    assert any(dam["where"] == "below" and dam["sure"] for dam in resin["dams"])
    assert resin["order"] and [p["name"] for p in resin["pours"]][:2] == ["seal coat", "layer 1"]
    picture = cv2.imread(str(both / "tape-and-dams.png"))
    assert picture is not None and picture.shape[1] >= 1500


@pytest.mark.slow
def test_later_commands_keep_the_underside(both: Path) -> None:
    before = cv2.imread(str(both / "tape-and-dams.png"))
    main(["draw", str(both), "--quiet"])
    after = cv2.imread(str(both / "tape-and-dams.png"))
    # The photo is resampled by survey.json's figures, which are rounded: a shade here and there may differ.
    assert before is not None and after is not None and after.shape == before.shape
    assert float(cv2.absdiff(before, after).mean()) < 2.0
    main(["place", str(both), "--quiet"])
    assert job.read_survey(both).other_face is not None


def test_bad_second_photo(test_images: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    given = ["run", str(test_images / "P905_show.jpg"), "--thickness", "38mm", "--marker-size", "80mm", "--out",
             str(tmp_path / "job"), "--quiet"]
    assert "name it with --underside" in refused([*given, "--turned", "end"], capsys)
    assert "--common: '1,2' is not a place in both photos" in refused(
        [*given, "--underside", str(test_images / "P905_under.jpg"), "--common", "1,2"], capsys)
    another = [*given, "--underside", str(test_images / "004.jpg")]
    assert "marker" in refused(another, capsys)  # 004 shows none: it could not be brought to scale
    assert not (tmp_path / "job").exists()
