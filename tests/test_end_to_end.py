"""The whole job on photographs with exact truth."""

from __future__ import annotations

import json
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from PIL import Image

from crackmap import job
from crackmap.cli.main import main
from crackmap.demo.random_scene import random_scene
from crackmap.demo.render import render
from crackmap.records import Survey
from crackmap.shop import Bit
from tests.truth import Truth, crack_recall, edge_iou, load_truth, scale_error_percent

PHOTOS = ["001", "002", "004", "005", "006", "007", "011", "901", "903"]
FILES = {"annotated.png", "finished.jpg", "slab.dxf", "keys.dxf", "slab.svg", "keys.svg", "setting-out.pdf",
         "template.pdf", "scale.png", "survey.json", "plan.json", "job.json", "photo.jpg"}
# 001 to 011 are rendered by path tracing, 901 and 903 made by crackmap.demo.
# Limits of the first version of the job; the benchmarks hold the figures we aim at.
SCALE_MANY, SCALE_ONE = 0.5, 1.5  # [%]


@pytest.fixture(scope="session")
def jobs(tmp_path_factory: pytest.TempPathFactory, test_images: Path) -> dict[str, tuple[Truth, Path]]:
    """Each test photo, run through the command line once."""
    out = tmp_path_factory.mktemp("jobs")
    made = {}
    for name in PHOTOS:
        truth = load_truth(test_images / f"{name}.json")
        main(["run", str(truth.photo), *truth.options(), "--out", str(out / name), "--quiet"])
        made[name] = (truth, out / name)
    return made


def _survey(folder: Path) -> Survey:
    return job.read_survey(folder)


@pytest.mark.parametrize("name", PHOTOS)
def test_every_file_is_there(jobs: dict[str, tuple[Truth, Path]], name: str) -> None:
    _, folder = jobs[name]
    written = {p.name for p in folder.iterdir()}
    assert written >= FILES and written - FILES <= {"tape-and-dams.png"}


@pytest.mark.parametrize("name", PHOTOS)
def test_the_scale_is_right(jobs: dict[str, tuple[Truth, Path]], name: str) -> None:
    truth, folder = jobs[name]
    limit = SCALE_MANY if len(truth.markers) > 1 else SCALE_ONE
    assert scale_error_percent(truth, _survey(folder).mapping) < limit


@pytest.mark.parametrize("name", PHOTOS)
def test_the_slab_is_found(jobs: dict[str, tuple[Truth, Path]], name: str) -> None:
    truth, folder = jobs[name]
    assert edge_iou(truth, _survey(folder)) > 0.95


@pytest.mark.parametrize("name", [p for p in PHOTOS if p != "011"])  # 011 has no crack
def test_where_there_are_wide_cracks_some_are_found(jobs: dict[str, tuple[Truth, Path]], name: str) -> None:
    truth, folder = jobs[name]
    assert (crack_recall(truth, _survey(folder), 2.0) or 0.0) > 0.2


@pytest.mark.parametrize("name", [p for p in PHOTOS if p != "011"])
def test_most_of_the_wide_cracks_is_found(jobs: dict[str, tuple[Truth, Path]], name: str) -> None:
    truth, folder = jobs[name]
    assert (crack_recall(truth, _survey(folder), 2.0) or 0.0) > 0.5


@pytest.mark.parametrize("name", PHOTOS)
def test_the_datum_is_the_origin_and_x_runs_to_b(jobs: dict[str, tuple[Truth, Path]], name: str) -> None:
    datum = _survey(jobs[name][1]).datum
    assert datum.a == pytest.approx([0, 0], abs=1e-6)
    assert datum.b[1] == pytest.approx(0, abs=1e-6) and datum.b[0] > 0


def test_the_frame_is_right_handed_with_y_up(jobs: dict[str, tuple[Truth, Path]]) -> None:
    """Seen in the photo, whose y runs down, a right-handed frame seen from above has a negative determinant."""
    for _, folder in jobs.values():
        mapping = _survey(folder).mapping
        origin, x, y = mapping.to_pixels([[0, 0], [1, 0], [0, 1]])
        assert np.linalg.det(np.array([x - origin, y - origin])) < 0


@pytest.mark.parametrize("name", PHOTOS)
def test_the_drawing_has_a_pocket_for_each_key(jobs: dict[str, tuple[Truth, Path]], name: str) -> None:
    _, folder = jobs[name]
    plan = job.read_plan(folder)
    drawing = ezdxf.readfile(folder / "slab.dxf")
    assert not drawing.audit().errors
    pockets = [e for e in drawing.modelspace() if e.dxf.layer.startswith("POCKET") and e.dxftype() == "LWPOLYLINE"]
    assert len(pockets) == len(plan.keys)
    assert all(p.closed for p in pockets)


@pytest.mark.parametrize("name", [p for p in PHOTOS if p != "011"])
def test_long_wide_cracks_are_held_or_have_a_reason(jobs: dict[str, tuple[Truth, Path]], name: str) -> None:
    _, folder = jobs[name]
    survey, plan = _survey(folder), job.read_plan(folder)
    named = {c for k in plan.keys for c in k.cracks} | {u.crack for u in plan.unheld}
    assert {c.id for c in survey.cracks if c.length > 150 and c.widest > 2} <= named
    assert plan.keys


def test_a_sound_slab_gets_no_keys(tmp_path: Path) -> None:
    """A slab of the generator with no crack in it, on wood with plain grain."""
    scene = random_scene(77, size_px=(1500, 1125), look="ash", markers=2, marker_size=100.0, reference="marker",
                         reference_on="top", end_checks=0, surface_checks=0, hairlines=0, branches=0, split=False,
                         ring_shakes=0, knot_checks=False, knot_holes=0, inclusions=0)
    pixels, _ = render(scene)
    Image.fromarray(pixels).save(tmp_path / "sound.png")
    main(["run", str(tmp_path / "sound.png"), "--thickness", f"{scene.thickness_mm}mm", "--out",
          str(tmp_path / "job"), "--quiet"])
    assert job.read_plan(tmp_path / "job").keys == ()


def test_a_spalted_slab_gets_no_keys(jobs: dict[str, tuple[Truth, Path]]) -> None:
    assert job.read_plan(jobs["011"][1]).keys == ()


def test_steps_run_again_alone_and_keep_the_edits(jobs: dict[str, tuple[Truth, Path]]) -> None:
    _, folder = jobs["007"]
    before = job.read_plan(folder)
    first = before.keys[0]
    edits = {"schema": "crackmap/edits/1", "units": "mm", "keys": {"refuse": [list(first.centre)]}}
    text = json.dumps(edits)
    (folder / "edits.json").write_text(text)
    try:
        for step in ("place", "measure", "draw"):
            main([step, str(folder), "--quiet"])
            assert (folder / "edits.json").read_text() == text
            centres = [k.centre for k in job.read_plan(folder).keys]
            assert all(np.hypot(*(c - first.centre)) > 5.0 for c in centres)
    finally:
        (folder / "edits.json").unlink()


def test_the_same_photo_gives_the_same_bytes(jobs: dict[str, tuple[Truth, Path]], tmp_path: Path) -> None:
    truth, folder = jobs["001"]
    main(["run", str(truth.photo), *truth.options(), "--out", str(tmp_path / "again"), "--quiet"])
    for name in sorted(FILES):
        assert (folder / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name


def test_edits_of_another_photo_are_not_used_in_silence(
        jobs: dict[str, tuple[Truth, Path]], capsys: pytest.CaptureFixture[str]) -> None:
    truth, _ = jobs["001"]
    _, folder = jobs["011"]
    (folder / "edits.json").write_text('{"schema": "crackmap/edits/1", "units": "mm"}')
    before = (folder / "survey.json").read_bytes()
    try:
        with pytest.raises(SystemExit) as ended:
            main(["run", str(truth.photo), *truth.options(), "--out", str(folder), "--quiet"])
        assert ended.value.code == 2
        assert "edits for another photo" in capsys.readouterr().err
        assert (folder / "survey.json").read_bytes() == before
    finally:
        (folder / "edits.json").unlink()


def test_a_named_shop_file_is_found_again_from_anywhere(
        test_images: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "shops").mkdir()
    (tmp_path / "shops" / "ours.toml").write_text("[bit]\ndiameter = 6.0\n")
    truth = load_truth(test_images / "007.json")
    monkeypatch.chdir(tmp_path / "shops")
    main(["run", str(truth.photo.absolute()), *truth.options(), "--shop", "ours.toml", "--out", "../job", "--quiet"])
    monkeypatch.chdir(tmp_path)
    main(["place", "job", "--quiet"])
    radii = [k.shape.corner_radius for k in job.read_plan(tmp_path / "job").keys]
    assert radii == pytest.approx([Bit(diameter=6.0).corner_radius] * len(radii))
