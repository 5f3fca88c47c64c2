"""Whether another program changed a job's files since they were last read or written here."""

from __future__ import annotations

import hashlib
from pathlib import Path

from crackmap import job

_WATCHED = (job.EDITS, job.PLAN, job.SURVEY, job.JOB)


class FolderWatch:
    """Fingerprints of the files that a review writes."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._stamps: dict[str, tuple[int, int, int] | None] = {}
        self._prints: dict[str, bytes] = {}
        self.note()

    def note(self) -> None:
        """Take the files as they are now for the known ones."""
        for name in _WATCHED:
            stamp = self._stamp(name)
            if name not in self._stamps or stamp != self._stamps[name]:
                self._stamps[name], self._prints[name] = stamp, self._print(name)

    def changed(self) -> list[str]:
        """Names of the files whose content is another than the known one."""
        changed = []
        for name in _WATCHED:
            stamp = self._stamp(name)
            if stamp == self._stamps[name]:
                continue
            if self._print(name) == self._prints[name]:
                self._stamps[name] = stamp  # touched, or written again just as it was
            else:
                changed.append(name)
        return changed

    def _stamp(self, name: str) -> tuple[int, int, int] | None:
        try:
            told = (self._folder / name).stat()
        except OSError:
            return None
        return told.st_mtime_ns, told.st_size, told.st_ino

    def _print(self, name: str) -> bytes:
        try:
            return hashlib.sha256((self._folder / name).read_bytes()).digest()
        except OSError:
            return b""
