"""The job folder: its files, written whole or not at all, and read with validation.

Text and JSON forms of the records live in `crackmap.jsonform`; this module
only touches the disk. A user's edits.json is read here and never written by a
measuring or placing command.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
from collections.abc import Iterable
from collections.abc import Mapping as Mapped
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from crackmap import jsonform
from crackmap.errors import JobError
from crackmap.jsonform import JobNote
from crackmap.records import Edits, Plan, Survey

JOB, SURVEY, EDITS, PLAN = "job.json", "survey.json", "edits.json", "plan.json"


@dataclass(frozen=True, slots=True)
class Job:
    """What a job folder holds, read."""

    folder: Path
    note: JobNote
    survey: Survey
    edits: Edits
    plan: Plan | None

    @property
    def photo_path(self) -> Path:
        """The copy of the photo that lies in the folder."""
        return self.folder / self.note.photo


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` to `path`, whole or not at all.

    Raises
    ------
    JobError
        If the file cannot be written; the old file, if any, is untouched.
    """
    write_all(path.parent, {path.name: content})


def write_all(folder: Path, files: Mapped[str, bytes]) -> None:
    """Write several files into `folder`: all temporary files first, then the renames.

    A full disk or a missing right shows up while the temporary files are
    written, so that the old files stay whole together.

    Raises
    ------
    JobError
        If the folder or one of the files cannot be written.
    """
    created = _make_folder(folder)
    staged: list[tuple[Path, Path]] = []
    try:
        for name, content in files.items():
            staged.append((_stage(folder, name, content), folder / name))
        for temporary, target in staged:
            temporary.replace(target)
    except OSError as problem:
        for temporary, _ in staged:
            temporary.unlink(missing_ok=True)
        for path in reversed(created):
            _remove_if_empty(path)
        where = folder / Path(getattr(problem, "filename2", None) or problem.filename or folder).name
        raise JobError(
            f"{where} cannot be written ({problem.strerror or problem}); "
            "free some space or name another folder with --out."
        ) from problem


def _make_folder(folder: Path) -> list[Path]:
    """Create `folder` and its parents; return those created, outermost first."""
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    created: list[Path] = []
    try:
        for path in reversed(missing):
            path.mkdir()
            created.append(path)
    except OSError as problem:
        for path in reversed(created):
            _remove_if_empty(path)
        raise JobError(
            f"the folder {folder} cannot be created ({problem.strerror}); name another one with --out."
        ) from problem
    if not folder.is_dir():
        raise JobError(f"{folder} is a file, not a folder; name another one with --out.")
    return created


def _remove_if_empty(path: Path) -> None:
    try:
        path.rmdir()
    except OSError:
        return  # somebody else put something there meanwhile: leave it


def _stage(folder: Path, name: str, content: bytes) -> Path:
    descriptor, path = tempfile.mkstemp(prefix=f".{name}.", suffix=".part", dir=folder)
    temporary = Path(path)
    try:
        with os.fdopen(descriptor, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(0o644)
    except OSError:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


# Drawings that a new plan makes wrong. A pocket cut from last week's file spoils a slab.
_DRAWINGS = re.compile(r"((slab|keys)(-underside|-machine)?|setup-\d+(-machine)?|pocket-[A-Z]\d+)(-mm|-in)?\.(dxf|svg)"
                       r"|plans\.jpg")


def remove_old_drawings(folder: Path, current: Iterable[str]) -> list[str]:
    """Remove drawings of an earlier plan that are not among the `current` files; returns their names.

    Raises
    ------
    JobError
        If one cannot be removed.
    """
    keep = set(current)
    old = sorted(p.name for p in folder.iterdir() if _DRAWINGS.fullmatch(p.name) and p.name not in keep)
    for name in old:
        try:
            (folder / name).unlink(missing_ok=True)
        except OSError as problem:
            raise JobError(f"{folder / name} belongs to an earlier plan and cannot be removed "
                           f"({problem.strerror}); remove it, so that nobody cuts from it.") from problem
    return old


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
        raise JobError(f"{place} is a file, so the folder {folder} cannot be made; name another one with --out.")
    try:
        with tempfile.TemporaryFile(dir=place):
            pass  # the only test that is right for every file system and user
    except OSError as problem:
        raise JobError(
            f"the folder {folder} cannot be written ({problem.strerror}); name another one with --out."
        ) from problem


def read_json(path: Path) -> dict[str, Any]:
    """The JSON object in `path`.

    Raises
    ------
    JobError
        If the file is missing, unreadable, not JSON or not an object.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as problem:
        raise JobError(f"{path} is missing; make the job with: crackmap run PHOTO --thickness ... --out "
                       f"{path.parent}") from problem
    except (OSError, UnicodeDecodeError) as problem:
        raise JobError(f"{path} cannot be read ({problem}); restore it or make the job again.") from problem
    try:
        read = json.loads(text)
    except (json.JSONDecodeError, RecursionError) as problem:
        raise JobError(f"{path} is not valid JSON ({problem}); mend or remove it.") from problem
    if not isinstance(read, dict):
        raise JobError(f"{path} must hold one JSON object; mend or remove it.")
    return read


def read_edits(folder: Path) -> Edits:
    """The user's edits, or none if there is no edits.json.

    Raises
    ------
    JobError
        If the file is there but wrong; names the field.
    """
    path = folder / EDITS
    return jsonform.edits_from_json(read_json(path), str(path)) if path.exists() else Edits()


def read_note(folder: Path) -> JobNote:
    """How the job was made (job.json)."""
    path = folder / JOB
    return jsonform.note_from_json(read_json(path), str(path))


def read_survey(folder: Path) -> Survey:
    """The survey of a job folder."""
    path = folder / SURVEY
    return jsonform.survey_from_json(read_json(path), str(path))


def read_plan(folder: Path) -> Plan:
    """The plan of a job folder."""
    path = folder / PLAN
    return jsonform.plan_from_json(read_json(path), str(path))


def read_job(folder: Path) -> Job:
    """Everything in a job folder.

    Raises
    ------
    JobError
        If it is no job folder, or a file in it is missing or wrong.
    """
    if not folder.is_dir():
        raise JobError(f"{folder} is not a job folder; make one with: crackmap run PHOTO --thickness 45mm "
                       f"--out {folder}")
    plan = read_plan(folder) if (folder / PLAN).exists() else None
    return Job(folder, read_note(folder), read_survey(folder), read_edits(folder), plan)
