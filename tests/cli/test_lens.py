"""crackmap lens: the sheet, and a lens file from photos of it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from crackmap.cli.lens import load_lens
from crackmap.cli.main import main
from crackmap.errors import ScaleError
from tests.lens_scene import Renderer, TrueCamera, poses

CAMERA = TrueCamera.phone(900, 675, (-0.06, 0, 0, 0, 0))


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("photos")
    renderer, rng = Renderer(CAMERA), np.random.default_rng(8)
    paths = []
    for number, pose in enumerate(poses(CAMERA, 4, rng)):
        paths.append(folder / f"sheet{number}.png")
        Image.fromarray(renderer.photo(pose, rng).pixels).save(paths[-1])
    return paths


def test_the_sheet_is_written(tmp_path: Path) -> None:
    main(["lens", "board", "--out", str(tmp_path / "sheet.pdf"), "--paper", "a3"])
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF-")


def test_a_lens_file_from_photos(
        photos: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = tmp_path / "slab.png"
    Image.new("RGB", (900, 675), "tan").save(other)
    out = tmp_path / "lens.json"
    main(["lens", "fit", *map(str, photos), str(other), "--out", str(out), "--square", "30mm", "--quiet"])
    form = json.loads(out.read_text())
    # geometric: the camera that rendered the photos
    assert form["distortion"][0] == pytest.approx(-0.06, rel=0.05)
    assert form["camera_matrix"][0][0] == pytest.approx(CAMERA.matrix[0, 0], rel=1e-3)
    assert form["image"] == {"width": 900, "height": 675}
    assert [p["file"] for p in form["photos"]] == [p.name for p in photos]
    said = capsys.readouterr().out
    assert "Passed over" in said and "slab.png" in said
    for words in ("focal length", "px rms", "of the picture", "sheet0.png", "8 to 12"):
        assert words in said
    known = load_lens(out)
    assert known.image_size == (900, 675) and known.distortion[0] == form["distortion"][0]
    again = tmp_path / "again.json"
    main(["lens", "fit", *map(str, photos), str(other), "--out", str(again), "--square", "30mm", "--quiet"])
    assert again.read_bytes() == out.read_bytes()


def test_too_few_photos_write_nothing(
        photos: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "lens.json"
    with pytest.raises(SystemExit) as ended:
        main(["lens", "fit", str(photos[0]), "--out", str(out), "--quiet"])
    assert ended.value.code == 2 and "too few" in capsys.readouterr().err and not out.exists()


def test_a_lens_file_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(ScaleError, match="cannot be read"):
        load_lens(tmp_path / "none.json")
    (tmp_path / "broken.json").write_text("{")
    with pytest.raises(ScaleError, match="not valid JSON"):
        load_lens(tmp_path / "broken.json")
    (tmp_path / "other.json").write_text('{"schema": "crackmap/plan/1"}')
    with pytest.raises(ScaleError, match="schema"):
        load_lens(tmp_path / "other.json")
