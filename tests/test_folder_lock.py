"""One process at a time, and no lock outlives its process."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from crackmap import folder_lock
from crackmap.errors import JobError
from crackmap.folder_lock import locked

HOLDER = ("import sys, pathlib; from crackmap.folder_lock import locked\n"
          "with locked(pathlib.Path(sys.argv[1]), 'measure'):\n    print('held', flush=True); sys.stdin.read()\n")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / ".lock"


def _other_process(path: Path) -> subprocess.Popen[str]:
    child = subprocess.Popen([sys.executable, "-c", HOLDER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                             text=True)
    assert child.stdout is not None and child.stdout.readline() == "held\n"
    return child


def test_a_lock_is_held_and_gone_afterwards(path: Path) -> None:
    with locked(path, "run") as is_locked:
        assert is_locked and path.exists()
    assert not path.exists()


def test_another_process_is_named(path: Path) -> None:
    with _other_process(path) as child:
        said = rf"\(measure, process {child.pid}\).*wait until it has ended"
        with pytest.raises(JobError, match=said), locked(path, "run"):
            pass
        child.communicate("")
    with locked(path, "run") as is_locked:
        assert is_locked


def test_a_killed_process_holds_nothing(path: Path) -> None:
    with _other_process(path) as child:
        child.kill()
        child.communicate()
    assert path.exists()  # its file stays, its lock doesn't
    with locked(path, "run") as is_locked:
        assert is_locked
    assert not path.exists()


def test_waiting_for_another_process(path: Path) -> None:
    with _other_process(path) as child:
        assert child.stdin is not None
        child.stdin.close()
        with locked(path, "run", wait=30.0) as is_locked:
            assert is_locked


def test_a_failure_inside_gives_the_lock_up(path: Path) -> None:
    with pytest.raises(ZeroDivisionError), locked(path, "run"):
        raise ZeroDivisionError
    assert not path.exists()


def test_a_lock_file_without_words_is_still_a_lock(path: Path) -> None:
    with locked(path, "run"):
        path.write_text("")
        with pytest.raises(JobError, match="another crackmap is at work"), locked(path, "draw"):
            pass


def test_a_disk_without_locks_is_told(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_locks(descriptor: int) -> bool:
        raise OSError(next(iter(folder_lock._NO_LOCKS)), "none")

    monkeypatch.setattr(folder_lock, "_lock", no_locks)
    closed: list[int] = []
    really = os.close

    def close(descriptor: int) -> None:
        closed.append(descriptor)
        really(descriptor)

    monkeypatch.setattr(os, "close", close)
    with locked(path, "run") as is_locked:
        assert not is_locked
    assert len(closed) == 1


def test_a_lock_in_no_folder(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="cannot be written.*another folder"), locked(tmp_path / "none" / "lock", "run"):
        pass
