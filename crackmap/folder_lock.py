"""One command at a time on a folder: a lock that ends with the process that holds it, however it ends.

The lock is the operating system's own, on a small file in the folder, so that none outlives a killed process: a lock
file that is found but not locked is taken over. Its content only tells others who is at work.
"""

from __future__ import annotations

import errno
import os
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from crackmap.errors import JobError

_PAUSE = 0.05  # between two tries [s]
_NO_LOCKS = {errno.ENOLCK, errno.ENOTSUP, errno.ENOSYS, errno.EINVAL}  # some network drives know none


@contextmanager
def locked(path: Path, doing: str, wait: float = 0.0) -> Iterator[bool]:
    """Hold the lock file `path` while the block lasts; yields False where the disk knows no locks.

    Parameters
    ----------
    path : Path
        The lock file; its folder must be there.
    doing : str
        The command's name, for others to read.
    wait : float
        How long to wait for another process to end. [s]

    Raises
    ------
    JobError
        If another process holds it, or it cannot be made.
    """
    end = time.monotonic() + wait
    while (descriptor := _take(path)) is None:
        if time.monotonic() >= end:
            raise JobError(f"another crackmap{_holder(path)} is at work on {path.parent}; wait until it has ended, or "
                           "end it, and try again.")
        time.sleep(_PAUSE)
    try:
        if descriptor < 0:
            yield False
            return
        _tell(descriptor, doing)
        yield True
    finally:
        if descriptor >= 0:
            _give_up(path, descriptor)


def _take(path: Path) -> int | None:
    """The open lock file; None if another holds it, -1 if the disk knows no locks."""
    while True:
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as problem:
            raise JobError(f"the folder {path.parent} cannot be written ({problem.strerror or problem}); see to the "
                           "right to write there and the room on that disk, or name another folder.") from problem
        try:
            if not _lock(descriptor):
                os.close(descriptor)
                return None
        except OSError as problem:
            os.close(descriptor)
            if problem.errno in _NO_LOCKS:
                return -1
            raise
        if _is_in_folder(path, descriptor):
            return descriptor
        os.close(descriptor)  # its last holder took it away between our opening and locking


def _is_in_folder(path: Path, descriptor: int) -> bool:
    try:
        return os.path.samestat(path.stat(), os.fstat(descriptor))
    except FileNotFoundError:
        return False


def _tell(descriptor: int, doing: str) -> None:
    try:
        os.ftruncate(descriptor, 0)
        os.write(descriptor, f"{doing}\n{os.getpid()}\n{socket.gethostname()}\n".encode("utf-8", "replace"))
    except OSError:
        return  # a full disk: the lock holds all the same


def _holder(path: Path) -> str:
    """Who holds the lock, in brackets, as far as it says."""
    try:
        doing, number, host = path.read_text(encoding="utf-8", errors="replace").split("\n")[:3]
    except (OSError, ValueError):
        return ""
    return f" ({doing}, process {number}{'' if host == socket.gethostname() else f' on {host}'})"


def _give_up(path: Path, descriptor: int) -> None:
    try:
        path.unlink()  # while it is still ours; where the system refuses that, the file stays and does no harm
    except OSError:
        pass
    finally:
        os.close(descriptor)


if sys.platform == "win32":
    import msvcrt

    _PLACE = 1 << 20  # past the content, which stays readable to others

    def _lock(descriptor: int) -> bool:
        os.lseek(descriptor, _PLACE, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        os.lseek(descriptor, 0, os.SEEK_SET)
        return True
else:
    import fcntl

    def _lock(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
