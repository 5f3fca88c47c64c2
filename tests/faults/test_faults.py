"""Old files whole, edits never lost, and one sentence that says what to do."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from crackmap import job
from crackmap.errors import JobError
from crackmap.review.folder_watch import FolderWatch
from tests.faults import kill_review
from tests.faults.kill_run import EDITS, Toll, fresh_job, kill_once, left_behind, run_arguments
from tests.review.jobs import a_job_folder

posix = pytest.mark.skipif(os.name == "nt", reason="limits, mounts and signals of POSIX")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return a_job_folder(tmp_path / "job")


def _crackmap(*arguments: str, before: Callable[[], None] | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "crackmap", *arguments], capture_output=True, text=True,
                          preexec_fn=before)


def _files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def _refused(ended: subprocess.CompletedProcess[str], *words: str) -> None:
    assert ended.returncode == 2, ended.stderr
    said = [line for line in ended.stderr.splitlines() if line.startswith("crackmap:")]
    assert len(said) == 1 and "Traceback" not in ended.stderr
    assert all(word in said[0] for word in words), said


def _no_file_over(size: int) -> Callable[[], None]:
    def limit() -> None:
        import resource

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
    return limit


# --- no room ----------------------------------------------------------------------------------------------


@posix
@pytest.mark.parametrize("size", [0, 3_000, 60_000])
def test_a_file_that_cannot_grow_leaves_all_as_it_was(folder: Path, size: int) -> None:
    """What a full disk or a quota does, whatever the disk: EFBIG in the middle of a file."""
    before = _files(folder)
    _refused(_crackmap("place", str(folder), "--quiet", before=_no_file_over(size)), "free some space")
    assert _files(folder) == before and not left_behind(folder)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Callable[[int], Path]]:
    """A disk of so many kB, mounted; skipped where that isn't allowed."""
    mounted: list[Path] = []

    def mount(kilobytes: int) -> Path:
        place = tmp_path / f"disk-{kilobytes}"
        place.mkdir()
        mounting = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "none", str(place)]
        if shutil.which("mount") is None or subprocess.run(mounting, capture_output=True).returncode:
            pytest.skip("no disk can be mounted here")
        mounted.append(place)
        return place

    yield mount
    for place in mounted:
        subprocess.run(["umount", "-l", str(place)], capture_output=True)


@posix
@pytest.mark.parametrize("more", [4, 400])
def test_a_full_disk(folder: Path, small_disk: Callable[[int], Path], more: int) -> None:
    taken = sum(path.stat().st_size for path in folder.iterdir()) // 1024 + 40
    place = small_disk(taken + more)
    shutil.copytree(folder, place / "job")
    before = _files(place / "job")
    _refused(_crackmap("place", str(place / "job"), "--quiet"), "free some space")
    assert _files(place / "job") == before and not left_behind(place / "job")


# --- no rights --------------------------------------------------------------------------------------------


@posix
def test_a_read_only_disk(folder: Path, small_disk: Callable[[int], Path]) -> None:
    place = small_disk(20_000)
    shutil.copytree(folder, place / "job")
    before = _files(place / "job")
    if subprocess.run(["mount", "-o", "remount,ro", str(place)], capture_output=True).returncode:
        pytest.skip("the disk cannot be made read-only here")
    _refused(_crackmap("place", str(place / "job"), "--quiet"), "cannot be written", "another folder")
    assert _files(place / "job") == before


@posix
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="nothing is forbidden to root")
def test_a_read_only_folder(folder: Path) -> None:
    before = _files(folder)
    folder.chmod(0o555)
    try:
        _refused(_crackmap("place", str(folder), "--quiet"), "cannot be written")
    finally:
        folder.chmod(0o755)
    assert _files(folder) == before


@pytest.mark.parametrize("name", [job.PLAN, "slab.dxf", "annotated.png"])
def test_a_folder_where_a_file_belongs(folder: Path, name: str) -> None:
    (folder / name).unlink(missing_ok=True)
    (folder / name).mkdir()
    (folder / name / "mine.txt").write_text("mine")
    before = _files(folder)
    _refused(_crackmap("place", str(folder), "--quiet"), name)
    assert _files(folder) == before and (folder / name / "mine.txt").read_text() == "mine"


# --- another crackmap -------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", [["place"], ["draw"], ["measure"], ["align", "--a", "0,0", "--b", "660,0"],
                                     ["ease", "--key", "K1", "--by", "0.1mm"]])
def test_two_commands_on_one_folder(folder: Path, command: list[str]) -> None:
    before = _files(folder)
    with job.held(folder, "run"):
        _refused(_crackmap(command[0], str(folder), *command[1:]), "(run, process", "wait until it has ended")
    assert _files(folder) == before and not left_behind(folder)


def test_a_run_into_a_folder_that_is_worked_on(folder: Path) -> None:
    with job.held(folder, "place"):
        _refused(subprocess.run(run_arguments(folder, 40.0), capture_output=True, text=True), "(place, process")


def test_two_reviews_of_one_folder(folder: Path) -> None:
    with job.reviewed(folder), pytest.raises(JobError, match="review"), job.reviewed(folder):
        pass
    assert not left_behind(folder)


def test_a_lock_of_a_dead_process_is_taken_over(folder: Path) -> None:
    (folder / ".crackmap-at-work").write_text("run\n999999999\nelsewhere\n")
    ended = _crackmap("align", str(folder), "--a", "0,0", "--b", "660,0")
    assert ended.returncode == 0, ended.stderr
    assert not left_behind(folder)


# --- a kill -----------------------------------------------------------------------------------------------


@posix
@pytest.mark.slow
def test_runs_that_are_killed(tmp_path: Path) -> None:
    """A handful; `python -m tests.faults.kill_run` kills a hundred."""
    folder = tmp_path / "job"
    takes, toll = fresh_job(folder), Toll()
    for number, share in enumerate((0.3, 0.9, 0.97)):
        kill_once(folder, share * takes, 50.0 + number, toll)
    assert toll.kills == 3 and toll.mixed == 0 and toll.edits_lost == 0
    subprocess.run(run_arguments(folder, 40.0), check=True, stdout=subprocess.DEVNULL)
    assert (folder / job.EDITS).read_bytes() == EDITS and not left_behind(folder)


@posix
def test_reviews_that_are_killed(folder: Path) -> None:
    """A handful; `python -m tests.faults.kill_review` kills a hundred."""
    toll = kill_review.ReviewToll()
    for after in (0.0, 0.13, 0.31):
        kill_review.kill_once(folder, after, toll)
    assert toll.kills == 3 and toll.answered >= 3 and toll.lost == 0 and toll.mixed == 0


def test_a_write_that_was_cut_off_is_finished_and_told(folder: Path) -> None:
    """As a kill between the commit and the moves leaves it."""
    new = folder / "unfinished-write" / "new"
    new.mkdir(parents=True)
    for name in ("old", "gone"):
        (folder / "unfinished-write" / name).mkdir()
    (folder / job.EDITS).write_bytes(EDITS)
    (new / job.PLAN).write_bytes((folder / job.PLAN).read_bytes())
    (folder / job.PLAN).write_text("torn")
    ended = _crackmap("align", str(folder), "--a", "0,0", "--b", "660,0")
    assert "was cut off while it wrote" in ended.stderr
    assert job.read_plan(folder).keys and not left_behind(folder)
    assert (folder / job.EDITS).read_bytes() == EDITS


# --- odd places and clocks --------------------------------------------------------------------------------


@posix
def test_a_job_folder_behind_a_link(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(folder, target_is_directory=True)
    assert _crackmap("place", str(tmp_path / "link"), "--quiet").returncode == 0
    assert (tmp_path / "link").is_symlink() and (folder / "slab.dxf").exists() and not left_behind(folder)


@posix
@pytest.mark.parametrize("name", ["with spaces, Übergröße\nand lines", os.fsdecode(b"no-\xff-text")])
def test_folders_of_odd_names(folder: Path, tmp_path: Path, name: str) -> None:
    odd = tmp_path / name
    folder.rename(odd)
    ended = _crackmap("place", str(odd), "--quiet")
    assert ended.returncode == 0, ended.stderr
    assert (odd / "slab.dxf").exists() and not left_behind(odd)


def test_a_clock_set_back(folder: Path) -> None:
    """Files from the future are obeyed like others, and a change is seen by its content, not by its time."""
    ahead = time.time() + 3e7
    (folder / job.EDITS).write_bytes(EDITS)
    for path in folder.iterdir():
        os.utime(path, (ahead, ahead))
    watch = FolderWatch(folder)
    changed = EDITS.replace(b"300", b"310")
    (folder / job.EDITS).write_bytes(changed)
    os.utime(folder / job.EDITS, (ahead, ahead))
    assert watch.changed() == [job.EDITS]
    ended = _crackmap("place", str(folder), "--quiet")
    assert ended.returncode == 0, ended.stderr
    assert (folder / job.EDITS).read_bytes() == changed
