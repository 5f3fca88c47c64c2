"""Whether another program changed a job's files since they were last read or written here."""

from __future__ import annotations

import hashlib
from pathlib import Path

from crackmap import job

_WATCHED = (job.EDITS, job.PLAN, job.SURVEY, job.JOB)


class FolderWatch:
    """Fingerprints of the files that a review writes.

    Contents alone are compared: times may stand still on a coarse clock, or go back with one that is set, and some
    programs put a file's old time back after they changed it.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._prints: dict[str, bytes] = {}
        self.note()

    def note(self) -> None:
        """Take the files as they are now for the known ones."""
        self._prints = {name: self._print(name) for name in _WATCHED}

    def changed(self) -> list[str]:
        """Names of the files whose content is another than the known one."""
        return [name for name in _WATCHED if self._print(name) != self._prints[name]]

    def _print(self, name: str) -> bytes:
        try:
            return hashlib.sha256((self._folder / name).read_bytes()).digest()
        except OSError:
            return b""
