"""All files of a write or none, wherever it stops."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from crackmap import safe_write
from crackmap.errors import JobError
from crackmap.safe_write import clear_leftovers, finish_write, write_all, write_whole

OLD = {"a.txt": b"old a", "b.txt": b"old b", "drawing.dxf": b"old drawing"}
NEW = {"a.txt": b"new a", "b.txt": b"new b", "c.txt": b"new c"}



@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_all(tmp_path / "job", OLD)
    return tmp_path / "job"


def _files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def _stop_at(monkeypatch: pytest.MonkeyPatch, name: str, count: int, problem: BaseException) -> list[int]:
    """Make the `count`-th call of os.<name> raise."""
    really: Callable[..., object] = getattr(os, name)
    calls: list[int] = []

    def counted(*arguments: object, **named: object) -> object:
        calls.append(1)
        if len(calls) == count:
            raise problem
        return really(*arguments, **named)

    monkeypatch.setattr(os, name, counted)
    return calls


@pytest.mark.parametrize("name", ["write", "fsync", "rename", "replace", "link", "mkdir"])
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EACCES, errno.EIO])
def test_an_error_at_any_call_leaves_old_or_new(folder: Path, monkeypatch: pytest.MonkeyPatch, name: str,
                                                code: int) -> None:
    for count in range(1, 40):
        with monkeypatch.context() as patch:
            calls = _stop_at(patch, name, count, OSError(code, os.strerror(code)))
            try:
                write_all(folder, NEW, ["drawing.dxf"])
                written = True
            except JobError as problem:
                written = False
                assert "so nothing was changed" in str(problem)
            reached = len(calls) >= count
        finish_write(folder)
        assert _files(folder) == (NEW if written else OLD)
        write_all(folder, OLD, ["c.txt"])
        if not reached:
            return
    pytest.fail("the write never came to its end")


@pytest.mark.parametrize("name", ["write", "fsync", "rename", "replace", "unlink", "rmdir"])
def test_a_kill_at_any_call_leaves_old_or_new(folder: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """In a child that ends at once, as SIGKILL ends it."""
    if not hasattr(os, "fork"):
        pytest.skip("no fork here")
    for count in range(1, 60):
        child = os.fork()
        if child == 0:
            try:
                calls: list[int] = []
                really: Callable[..., object] = getattr(os, name)

                def dying(*arguments: object, calls: list[int] = calls, really: Callable[..., object] = really,
                          count: int = count, **named: object) -> object:
                    calls.append(1)
                    if len(calls) == count:
                        os._exit(9)
                    return really(*arguments, **named)

                setattr(os, name, dying)
                write_all(folder, NEW, ["drawing.dxf"])
            finally:
                os._exit(0)
        ended = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        clear_leftovers(folder)
        finish_write(folder)
        left = _files(folder)
        assert left in (OLD, NEW)
        assert ended == 9 or left == NEW
        write_all(folder, OLD, ["c.txt"])
        if ended == 0:
            return
    pytest.fail("the write never came to its end")


def test_one_file_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_whole(tmp_path / "a.txt", b"old")
    _stop_at(monkeypatch, "fsync", 1, OSError(errno.ENOSPC, "full"))
    with pytest.raises(JobError, match="free some space"):
        write_whole(tmp_path / "a.txt", b"new")
    assert _files(tmp_path) == {"a.txt": b"old"}


def test_what_is_not_ours_is_left(tmp_path: Path) -> None:
    (tmp_path / ".mine").write_bytes(b"mine")
    (tmp_path / ".a.txt.x1.part").write_bytes(b"")
    (tmp_path / ".writing-x1").mkdir()
    clear_leftovers(tmp_path)
    assert _files(tmp_path) == {".mine": b"mine"}


def test_no_unfinished_write_to_finish(folder: Path) -> None:
    assert not finish_write(folder)
    (folder / safe_write.COMMITTED).mkdir()
    assert not finish_write(folder)
    assert _files(folder) == OLD
