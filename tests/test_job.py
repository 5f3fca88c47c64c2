"""The job folder: whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from crackmap import job
from crackmap.errors import JobError


def test_files_are_written_and_replaced(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "job"
    job.write_all(folder, {"a.txt": b"one", "b.txt": b"two"})
    job.write_all(folder, {"a.txt": b"three"})
    assert (folder / "a.txt").read_bytes() == b"three"
    assert (folder / "b.txt").read_bytes() == b"two"
    assert sorted(p.name for p in folder.iterdir()) == ["a.txt", "b.txt"]


def test_a_failure_half_way_leaves_the_old_files_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job.write_all(tmp_path, {"a.txt": b"old a", "b.txt": b"old b"})
    written = []

    def full_disk(descriptor: int) -> None:
        written.append(descriptor)
        if len(written) == 2:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(JobError, match="No space left on device"):
        job.write_all(tmp_path, {"a.txt": b"new a", "b.txt": b"new b"})
    assert (tmp_path / "a.txt").read_bytes() == b"old a"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "b.txt"]


def test_nothing_stays_behind_when_a_new_folder_cannot_be_filled(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full_disk(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(JobError):
        job.write_all(tmp_path / "x" / "y", {"a.txt": b"a"})
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way_is_said(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("x")
    with pytest.raises(JobError, match="is a file"):
        job.check_writable(tmp_path / "taken")
    with pytest.raises(JobError, match="is a file"):
        job.check_writable(tmp_path / "taken" / "deeper")
    with pytest.raises(JobError, match="is a file"):
        job.write_all(tmp_path / "taken", {"a": b""})


@pytest.mark.parametrize(("text", "said"), [
    ("", "not valid JSON"), ("[1]", "one JSON object"), ("{", "not valid JSON"), ("[" * 100_000, "not valid JSON")])
def test_a_broken_file_is_said(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "survey.json").write_text(text)
    with pytest.raises(JobError, match=said):
        job.read_survey(tmp_path)


def test_a_missing_job_is_said(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="is not a job folder"):
        job.read_job(tmp_path / "none")
    with pytest.raises(JobError, match=r"job\.json is missing"):
        job.read_job(tmp_path)


def test_no_edits_file_means_no_edits(tmp_path: Path) -> None:
    assert job.read_edits(tmp_path).keys == ()
