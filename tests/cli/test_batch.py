"""crackmap batch: many photos, each as its own run would do it."""

from __future__ import annotations

import csv
import io
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from crackmap.cli.batch_page import batch_page
from crackmap.cli.batch_rows import DONE, FAILED, Row, as_csv
from crackmap.cli.main import main

PHOTO = Path(__file__).parents[2] / "test_images" / "901.jpg"
OPTIONS = ["--thickness", "50mm"]


def _batch(*arguments: str) -> int:
    try:
        main(["batch", *arguments])
    except SystemExit as ended:
        return int(ended.code or 0)
    return 0


def _refusal(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert _batch(*arguments) == 2
    return capsys.readouterr().err


def _files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("photos")
    shutil.copy(PHOTO, folder / "slab one.jpg")
    (folder / "torn.jpg").write_bytes(PHOTO.read_bytes()[:5000])
    (folder / "notes.txt").write_text("no photo")
    return folder


@pytest.fixture(scope="module")
def out(photos: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("batch") / "out"
    assert _batch(str(photos), "--out", str(folder), "--quiet", *OPTIONS) == 1  # one of the two fails
    return folder


@pytest.mark.slow
def test_one_failure_does_not_stop_the_rest(out: Path) -> None:
    rows = {row["photo"]: row for row in csv.DictReader(io.StringIO((out / "summary.csv").read_text("utf-8-sig")))}
    assert set(rows) == {"slab one.jpg", "torn.jpg"}
    assert rows["slab one.jpg"]["status"] == DONE and int(rows["slab one.jpg"]["cracks"]) > 0
    assert rows["torn.jpg"]["status"] == FAILED and "copy it again" in rows["torn.jpg"]["message"]
    page = (out / "index.html").read_text("utf-8")
    assert page.index("torn.jpg") < page.index("slab one.jpg")  # failures first
    assert (out / "pictures" / "slab one.jpg").exists() and "http" not in page
    assert not (out / "torn").exists()


@pytest.mark.slow
def test_a_job_is_byte_for_byte_that_of_a_single_run(photos: Path, out: Path, tmp_path: Path) -> None:
    subprocess.run([sys.executable, "-m", "crackmap", "run", str(photos / "slab one.jpg"), "--out",
                    str(tmp_path / "single"), "--quiet", *OPTIONS], check=True, stdout=subprocess.DEVNULL)
    assert _files(out / "slab one") == _files(tmp_path / "single")


@pytest.mark.slow
def test_what_is_done_and_unchanged_is_skipped(photos: Path, out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (out / "slab one" / "plan.json").stat().st_mtime_ns
    assert _batch(str(photos), "--out", str(out), *OPTIONS) == 1
    said = capsys.readouterr()
    assert "1 of 2 photos are done and unchanged" in said.err and "[1/1] torn.jpg: failed" in said.err
    assert (out / "slab one" / "plan.json").stat().st_mtime_ns == before
    assert _batch(str(photos), "--out", str(out), "--quiet", "--thickness", "60mm") == 1  # another option: run again
    assert (out / "slab one" / "plan.json").stat().st_mtime_ns != before


def test_wrong_options_are_refused_once(photos: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "--thickness" in _refusal(capsys, str(photos), "--out", str(tmp_path / "o"))
    assert "--thicknes" in _refusal(capsys, str(photos), "--out", str(tmp_path / "o"), *OPTIONS, "--thicknes", "3mm")
    assert not (tmp_path / "o").exists()


def test_a_folder_without_photos(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "holds no photo" in _refusal(capsys, str(tmp_path), "--out", str(tmp_path / "o"), *OPTIONS)
    assert "cannot be read" in _refusal(capsys, str(tmp_path / "none"), "--out", str(tmp_path / "o"), *OPTIONS)


def test_photos_of_one_name_get_folders_of_their_own(tmp_path: Path) -> None:
    for name in ("a.jpg", "a.png", "pictures.jpg"):
        (tmp_path / name).write_bytes(b"no picture")
    assert _batch(str(tmp_path), "--out", str(tmp_path / "o"), "--quiet", *OPTIONS) == 1
    rows = list(csv.DictReader(io.StringIO((tmp_path / "o" / "summary.csv").read_text("utf-8-sig"))))
    assert [row["folder"] for row in rows] == ["a-jpg", "a-png", "pictures-jpg"]
    assert {row["status"] for row in rows} == {FAILED}


def test_a_folder_is_never_shared_and_a_dash_or_a_byte_does_no_harm(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    names = ["-a.jpg", "b-jpg.heic", "b.jpg", "b.png", os.fsdecode(b"\xff.jpg")]
    for name in names:
        (tmp_path / name).write_bytes(b"no picture")
    monkeypatch.chdir(tmp_path)
    assert _batch(".", "--out", "o", "--quiet", *OPTIONS) == 1
    rows = list(csv.DictReader(io.StringIO((tmp_path / "o" / "summary.csv").read_text("utf-8-sig"))))
    assert len({row["folder"].lower() for row in rows}) == len(names) == len(rows)
    assert not any("No such option" in row["message"] for row in rows)


def test_no_room_for_a_process_fails_its_photo_alone(
        photos: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", str(tmp_path / "none"))
    assert _batch(str(photos), "--out", str(tmp_path / "o"), "--quiet", *OPTIONS) == 1
    table = (tmp_path / "o" / "summary.csv").read_text("utf-8-sig")
    assert table.count("could not be begun") == 2


@pytest.mark.skipif(os.name == "nt", reason="signals")
def test_an_interrupt_ends_the_runs_and_says_how_to_go_on(photos: Path, tmp_path: Path) -> None:
    for number in range(6):
        shutil.copy(photos / "slab one.jpg", tmp_path / f"{number}.jpg")
    batch = subprocess.Popen([sys.executable, "-m", "crackmap", "batch", str(tmp_path), "--out", str(tmp_path / "o"),
                              "--processes", "1", *OPTIONS], stderr=subprocess.PIPE, text=True)
    assert batch.stderr is not None
    time.sleep(2.5)  # in the middle of a run, or before the first: it must end well in either case
    batch.send_signal(signal.SIGINT)
    said = batch.communicate(timeout=20)[1]
    assert batch.returncode == 130
    assert "stopped" in said and "Traceback" not in said
    assert not any(path.name.startswith(".") and path.is_dir() for path in (tmp_path / "o").rglob("*"))


@pytest.mark.skipif(os.name == "nt", reason="signals")
def test_a_run_that_is_killed_fails_alone(photos: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    dying = tmp_path / "dying"
    dying.write_text("#!/bin/sh\nkill -9 $$\n")
    dying.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(dying))
    assert _batch(str(photos), "--out", str(tmp_path / "o"), "--quiet", *OPTIONS) == 1
    rows = list(csv.DictReader(io.StringIO((tmp_path / "o" / "summary.csv").read_text("utf-8-sig"))))
    assert all(row["status"] == FAILED and "signal 9" in row["message"] for row in rows)


def test_names_cannot_break_the_page_or_the_table() -> None:
    row = Row('<b>"&.jpg', "a b#c", FAILED, "=1+1")
    page = batch_page("<i>", [row], "mm").decode()
    assert "<b>\"&" not in page and "<i>" not in page
    assert "'=1+1" in as_csv([row]).decode("utf-8-sig")
