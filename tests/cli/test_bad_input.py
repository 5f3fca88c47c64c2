"""Bad input: one clear sentence, exit status 2, nothing written."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from crackmap.cli.main import main


@pytest.fixture
def bad(tmp_path: Path, test_images: Path) -> dict[str, Path]:
    """Files that cannot be measured."""
    made = {name: tmp_path / name for name in
            ("text.jpg", "cut.jpg", "dot.png", "bare.png", "black.png", "empty.jpg", "marker.png")}
    made["text.jpg"].write_text("not an image")
    made["cut.jpg"].write_bytes((test_images / "004.jpg").read_bytes()[:60_000])
    made["empty.jpg"].write_bytes(b"")
    Image.new("RGB", (1, 1)).save(made["dot.png"])
    noise = np.random.default_rng(1).normal(150, 6, (600, 800, 3)).clip(0, 255).astype(np.uint8)
    Image.fromarray(noise).save(made["bare.png"])
    Image.new("RGB", (800, 600)).save(made["black.png"])
    return made


def refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """The sentence that `crackmap ARGUMENTS` ends in."""
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    said = capsys.readouterr().err.strip().splitlines()
    assert ended.value.code == 2, said
    sentence = [line for line in said if line.startswith("crackmap: ")]
    assert len(sentence) == 1
    assert "Traceback" not in sentence[0]
    return sentence[0]


@pytest.mark.parametrize(("photo", "words"), [
    ("nowhere.jpg", "nowhere.jpg"), ("text.jpg", "image"), ("cut.jpg", "cut"), ("dot.png", "small"),
    ("empty.jpg", "empty.jpg"), ("bare.png", "marker"), ("black.png", "")])
def test_a_photo_that_cannot_be_measured(
        photo: str, words: str, bad: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    path = bad.get(photo, tmp_path / photo)
    said = refused(["run", str(path), "--thickness", "45mm", "--out", str(out), "--quiet"], capsys)
    assert words in said
    assert not out.exists()


def test_no_marker_says_what_was_sought_and_what_to_do(
        bad: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = refused(["run", str(bad["bare.png"]), "--thickness", "45mm", "--out", str(tmp_path / "out")], capsys)
    assert "crackmap marker" in said or "--reference" in said


@pytest.mark.parametrize("thickness", ["0mm", "-3mm", "thick", "45", "99m"])
def test_a_thickness_that_is_none(
        thickness: str, test_images: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    said = refused(["run", str(test_images / "001.jpg"), "--thickness", thickness, "--out", str(out)], capsys)
    assert "--thickness" in said
    assert not out.exists()


def test_a_missing_thickness_is_named(
        test_images: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "--thickness" in refused(["run", str(test_images / "001.jpg"), "--out", str(tmp_path / "o")], capsys)


@pytest.mark.skipif(os.name == "nt", reason="file modes work otherwise there")
def test_an_output_folder_that_cannot_be_written(
        test_images: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    taken = tmp_path / "taken"
    taken.write_text("a file")
    said = refused(["run", str(test_images / "001.jpg"), "--thickness", "45mm", "--out", str(taken / "job")], capsys)
    assert "taken" in said
    # /proc takes no new files from anybody, root included.
    if Path("/proc/self").exists():
        said = refused(["run", str(test_images / "001.jpg"), "--thickness", "45mm", "--out", "/proc/job"], capsys)
        assert "cannot be" in said


def test_an_unknown_command_or_option_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert "No such command" in refused(["mesure"], capsys)
    assert "No such option" in refused(["run", "--thicknes", "45mm"], capsys)


def test_wrong_edits_are_named_before_any_work(
        test_images: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "edits.json").write_text('{"schema": "crackmap/edits/1", "units": "mm", "keyz": {}}')
    said = refused(["run", str(test_images / "001.jpg"), "--thickness", "45mm", "--out", str(tmp_path)], capsys)
    assert "keyz" in said
    assert [p.name for p in tmp_path.iterdir()] == ["edits.json"]
