"""Files written whole or not at all: one, or several of a folder together.

Terminology
-----------
staged
    Written to a folder of its own inside the target folder, `.writing-*`, and on the disk for sure. Until
    everything is staged no file that a user knows has been touched.
committed
    The staging folder has been renamed to `unfinished-write`. From here on the new files count: whoever finds
    that folder, after a power cut or a kill, only has to move its files to where they belong. Its name is
    plain to see, so that nobody cuts from a half-changed folder.

A folder `new` holds the new files, `gone` an empty file for each one to be removed, and `old` the former files, so
that a file which another program will not let go of (as on Windows) brings all of them back.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import tempfile
from collections.abc import Iterable
from collections.abc import Mapping as Mapped
from pathlib import Path

from crackmap.errors import JobError

COMMITTED = "unfinished-write"
_STAGING = ".writing-"
_PART = ".part"
_NEW, _OLD, _GONE = "new", "old", "gone"
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EROFS}


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` to `path`, whole or not at all.

    Raises
    ------
    JobError
        If the file cannot be written; the old file, if any, is untouched.
    """
    created = make_folder(path.parent)
    temporary: Path | None = None
    try:
        _demand_no_folder(path)
        descriptor, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=_PART, dir=path.parent)
        temporary = Path(name)
        with os.fdopen(descriptor, "wb") as stream:
            _write_through(stream.fileno(), content)
        temporary.chmod(0o644)
        temporary.replace(path)
    except BaseException as problem:  # Ctrl-C too leaves nothing behind
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        remove_empty(created)
        if isinstance(problem, OSError):
            raise _not_written(path.parent, problem) from problem
        raise


def write_all(folder: Path, files: Mapped[str, bytes], gone: Iterable[str] = ()) -> None:
    """Write several files into `folder` and remove those named in `gone`: all of it, or nothing.

    Parameters
    ----------
    folder : Path
        Made if it isn't there.
    files : mapping of str to bytes
        Contents by name.
    gone : iterable of str
        Names of files that must not outlive this write.

    Raises
    ------
    JobError
        If the folder or one of the files cannot be written; the old files are all as they were.
    """
    created = make_folder(folder)
    staging: Path | None = None
    try:
        finish_write(folder)
        for name in files:
            _demand_no_folder(folder / name)
        staging = Path(tempfile.mkdtemp(prefix=_STAGING, dir=folder))
        _stage(staging, folder, files, gone)
        committed = staging.rename(folder / COMMITTED)
        _sync_folder(folder)
    except BaseException as problem:
        if staging is not None:
            with contextlib.suppress(OSError):  # not to be finished by the next command, if it came as far as that
                (folder / COMMITTED).rename(staging)
            shutil.rmtree(staging, ignore_errors=True)
        remove_empty(created)
        if isinstance(problem, OSError):
            raise _not_written(folder, problem) from problem
        raise
    try:
        _put_in_place(committed)
    except BaseException as problem:
        _put_back(committed, files)
        if isinstance(problem, OSError):
            raise _not_written(folder, problem) from problem
        raise
    shutil.rmtree(committed, ignore_errors=True)


def finish_write(folder: Path) -> bool:
    """Finish a write that was cut off after it was committed; True if there was one.

    Raises
    ------
    JobError
        If a file cannot be put in its place.
    """
    committed = folder / COMMITTED
    if not (committed / _NEW).is_dir():
        shutil.rmtree(committed, ignore_errors=True)  # all was in place, only the clearing up was cut off
        return False
    try:
        _put_in_place(committed)
    except OSError as problem:
        raise JobError(f"an earlier command was cut off while it wrote to {folder}, and its files cannot be put in "
                       f"place ({problem.strerror or problem}); {_remedy(problem)}") from problem
    shutil.rmtree(committed, ignore_errors=True)
    return True


def is_unfinished(folder: Path, name: str) -> bool:
    """True where a write of `name` to `folder` counts already but was cut off before it was in place."""
    return (folder / COMMITTED / _NEW / name).exists()


def clear_leftovers(folder: Path) -> None:
    """Remove what writes that were cut off before they counted left in `folder`; nobody else may be writing there."""
    for path in folder.iterdir():
        if path.name.startswith(_STAGING) and path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        elif path.name.startswith(".") and path.suffix == _PART:
            with contextlib.suppress(OSError):
                path.unlink()


def make_folder(folder: Path) -> list[Path]:
    """Create `folder` and its parents; returns those created, outermost first.

    Raises
    ------
    JobError
        If one cannot be created, or a file is in its place.
    """
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    created: list[Path] = []
    try:
        for path in reversed(missing):
            path.mkdir(exist_ok=True)  # another crackmap may have been quicker
            created.append(path)
    except OSError as problem:
        remove_empty(created)
        raise JobError(f"the folder {folder} cannot be created ({problem.strerror or problem}); "
                       f"{_remedy(problem)}") from problem
    if not folder.is_dir():
        raise JobError(f"{folder} is a file, not a folder; name another one.")
    return created


def check_writable(folder: Path) -> None:
    """Fail before any long work if `folder` cannot be created or written.

    Raises
    ------
    JobError
        If a file stands in the way or the right to write is missing.
    """
    place = folder
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir():
        raise JobError(f"{place} is a file, so the folder {folder} cannot be made; name another one.")
    try:
        with tempfile.TemporaryFile(dir=place):
            pass  # the only test that is right for every file system and user
    except OSError as problem:
        raise JobError(f"the folder {folder} cannot be written ({problem.strerror or problem}); "
                       f"{_remedy(problem)}") from problem


def _stage(staging: Path, folder: Path, files: Mapped[str, bytes], gone: Iterable[str]) -> None:
    """Everything that could fail for want of room or rights, where it does no harm."""
    for part in (_NEW, _OLD, _GONE):
        (staging / part).mkdir()
    for name, content in files.items():
        descriptor = os.open(staging / _NEW / name, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o666)
        try:
            _write_through(descriptor, content)
        finally:
            os.close(descriptor)
    for name in gone:
        (staging / _GONE / name).touch()
    for name in (*files, *gone):
        with contextlib.suppress(OSError):  # a file system without links: the file itself is moved then
            (staging / _OLD / name).hardlink_to(folder / name)
    for part in (_NEW, _GONE):
        _sync_folder(staging / part)


_BINARY = getattr(os, "O_BINARY", 0)  # of Windows


def _write_through(descriptor: int, content: bytes) -> None:
    view = memoryview(content)
    while view:
        view = view[os.write(descriptor, view):]
    os.fsync(descriptor)


def _sync_folder(folder: Path) -> None:
    """Names on the disk too, where the system knows how."""
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:
        return  # Windows opens no folder
    try:
        os.fsync(descriptor)
    except OSError as problem:
        if problem.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF, errno.EACCES):
            raise
    finally:
        os.close(descriptor)


def _put_in_place(committed: Path) -> None:
    """Move what is staged to where it belongs; may be begun again at any point."""
    folder, old = committed.parent, committed / _OLD
    for staged in sorted((committed / _GONE).glob("*")):
        target = folder / staged.name
        if (old / staged.name).exists():
            target.unlink(missing_ok=True)  # renaming one link of a file over another does nothing
        elif target.exists() or target.is_symlink():
            target.replace(old / staged.name)
    for staged in sorted((committed / _NEW).iterdir()):
        target = folder / staged.name
        if not (old / staged.name).exists() and (target.exists() or target.is_symlink()):
            target.replace(old / staged.name)
        staged.replace(target)


def _put_back(committed: Path, files: Iterable[str]) -> None:
    """Undo `_put_in_place` as far as it came; if that fails too, the next command finishes the write instead."""
    folder = committed.parent
    former = {p.name for p in (committed / _OLD).iterdir()}
    still_staged = {p.name for p in (committed / _NEW).iterdir()}
    try:
        for name in sorted({*files} - still_staged):
            (folder / name).replace(committed / _NEW / name)
        for name in sorted(former):
            target = folder / name
            if not (target.exists() or target.is_symlink()):
                (committed / _OLD / name).replace(target)
        shutil.rmtree(committed.rename(folder / f"{_STAGING}undone"), ignore_errors=True)
    except OSError:
        return


def _demand_no_folder(target: Path) -> None:
    if target.is_dir() and not target.is_symlink():
        raise JobError(f"{target} is a folder where a file belongs; move it out of the way and run the command again.")


def remove_empty(created: list[Path]) -> None:
    """Remove those folders, given outermost first, that nobody put anything into."""
    for path in reversed(created):
        with contextlib.suppress(OSError):  # somebody else put something there meanwhile: leave it
            path.rmdir()


def _not_written(folder: Path, problem: OSError) -> JobError:
    name = Path(str(problem.filename2 or problem.filename or "")).name
    where = folder if not name or name.startswith(_STAGING) or name in (_NEW, _OLD, _GONE, COMMITTED) else folder / name
    return JobError(f"{where} cannot be written ({problem.strerror or problem}), so nothing was changed; "
                    f"{_remedy(problem)}")


def _remedy(problem: OSError) -> str:
    if problem.errno in _FULL:
        return "free some space on that disk, or name a folder on another one, and run the command again."
    if problem.errno in _FORBIDDEN:
        return "close the programs that have it open, see to the right to write there, or name another folder."
    return "check that disk, or name a folder on another one, and run the command again."
