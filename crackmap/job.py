"""The job folder: its files, written whole or not at all, and read with validation.

Text and JSON forms of the records live in `crackmap.jsonform`; this module
only touches the disk. A user's edits.json is read here and never written by a
measuring or placing command.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from collections.abc import Mapping as Mapped
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from crackmap import jsonform
from crackmap.errors import JobError, quoted
from crackmap.folder_lock import locked
from crackmap.jsonform import JobNote
from crackmap.records import Edits, Plan, Survey
from crackmap.safe_write import (
    check_writable,
    clear_leftovers,
    finish_write,
    is_unfinished,
    make_folder,
    remove_empty,
    write_all,
    write_whole,
)

__all__ = [
    "EDITS", "JOB", "PLAN", "SURVEY", "Job", "check_writable", "demand_job", "held", "is_job", "old_drawings",
    "read_edits", "read_job", "read_json", "read_note", "read_plan", "read_survey", "reviewed", "write_all",
    "write_drawn", "write_whole",
]

JOB, SURVEY, EDITS, PLAN = "job.json", "survey.json", "edits.json", "plan.json"
_LOCK, _REVIEW_LOCK = ".crackmap-at-work", ".crackmap-in-review"


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


# Drawings that a new plan makes wrong. A pocket cut from last week's file spoils a slab.
_DRAWINGS = re.compile(r"((slab|keys)(-underside|-machine)?|setup-\d+(-machine)?|pocket-[A-Z]\d+)(-mm|-in)?\.(dxf|svg)"
                       r"|plans\.jpg|tape-and-dams\.png")


def old_drawings(folder: Path, current: Iterable[str]) -> list[str]:
    """Names of drawings of an earlier plan in `folder` that are not among the `current` files."""
    keep = set(current)
    return sorted(p.name for p in folder.glob("*")
                  if _DRAWINGS.fullmatch(p.name) and p.name not in keep and not p.is_dir())


def write_drawn(folder: Path, files: Mapped[str, bytes]) -> list[str]:
    """Write a job's files with its drawings, and in the same stroke remove those of an earlier plan.

    Returns
    -------
    removed : list of str
        Names of the drawings that are no more.

    Raises
    ------
    JobError
        If one cannot be written or removed; nothing was changed then.
    """
    old = old_drawings(folder, files)
    write_all(folder, files, old)
    return old


@contextmanager
def held(folder: Path, doing: str, wait: float = 0.0) -> Iterator[tuple[str, ...]]:
    """Keep every other crackmap from writing to `folder` while the block lasts.

    A write that was cut off is finished first and its leftovers are cleared away. A folder made for the lock goes
    again if nothing was written into it.

    Parameters
    ----------
    folder : Path
        Made if it isn't there.
    doing : str
        The command's name, for others to read.
    wait : float
        How long to wait for another process to end. [s]

    Yields
    ------
    notes : tuple of str
        Sentences that the user should read.

    Raises
    ------
    JobError
        If another process is at work there, or the folder cannot be written.
    """
    check_writable(folder)
    created = make_folder(folder)
    try:
        with locked(folder / _LOCK, doing, wait) as is_locked:
            notes = [] if is_locked else [f"The disk of {folder} knows no locks: run one crackmap at a time on it."]
            clear_leftovers(folder)
            if finish_write(folder):
                notes.append(f"An earlier command was cut off while it wrote to {folder}; its files were put in place.")
            yield tuple(notes)
    finally:
        remove_empty(created)


@contextmanager
def reviewed(folder: Path) -> Iterator[None]:
    """Keep a second review from `folder` while the block lasts; other commands may write in between.

    Raises
    ------
    JobError
        If it is reviewed already.
    """
    with locked(folder / _REVIEW_LOCK, "review"):
        yield


class _NameTwice(ValueError):
    """An object of a JSON file has two fields of one name."""


def _each_name_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object's fields; of two with one name, Python would keep the last and say nothing."""
    named = dict(pairs)
    if len(named) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _NameTwice(f"the name {quoted(twice)} stands twice in one object")
    return named


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
        read = json.loads(text, object_pairs_hook=_each_name_once)
    except json.JSONDecodeError as problem:
        raise JobError(f"{path} is not valid JSON ({problem}); mend or remove it.") from problem
    except RecursionError as problem:
        raise JobError(f"{path} is not valid JSON (nested deeper than any job file); mend or remove it.") from problem
    except ValueError as problem:
        what = problem if isinstance(problem, _NameTwice) else "it holds a number of thousands of digits"
        raise JobError(f"{path} cannot be understood: {what}; mend or remove it.") from problem
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


def demand_job(folder: Path) -> None:
    """Fail before anything is written to a folder that holds no job.

    Raises
    ------
    JobError
        If there is no folder, or no job.json in it.
    """
    if not folder.is_dir():
        raise JobError(f"{folder} is not a job folder; make one with: crackmap run PHOTO --thickness 45mm "
                       f"--out {folder}")
    if not is_job(folder):
        raise JobError(f"{folder.resolve()} holds no job ({JOB} is missing); make one with: crackmap run PHOTO "
                       f"--thickness 45mm --out {folder}, or name the folder of one that is there.")


def is_job(folder: Path) -> bool:
    """True where `folder` holds a job, be it one whose last write was cut off."""
    return (folder / JOB).exists() or is_unfinished(folder, JOB)


def read_job(folder: Path) -> Job:
    """Everything in a job folder.

    Raises
    ------
    JobError
        If it is no job folder, or a file in it is missing or wrong.
    """
    demand_job(folder)
    plan = read_plan(folder) if (folder / PLAN).exists() else None
    return Job(folder, read_note(folder), read_survey(folder), read_edits(folder), plan)
