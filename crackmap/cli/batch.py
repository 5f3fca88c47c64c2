"""crackmap batch: a folder of photos, each measured by a `crackmap run` of its own."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Generator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import click
import cv2
import numpy as np

from crackmap import __version__, job, jsonform
from crackmap.cli.batch_page import PICTURES, batch_page
from crackmap.cli.batch_rows import DONE, FAILED, WAITING, Row, as_csv, row_of_job
from crackmap.cli.options import FOLDER
from crackmap.cli.run import command as run
from crackmap.cli.steps import find_shop, hold, load_shop
from crackmap.errors import CrackmapError, JobError

STATE, TABLE, PAGE = "batch.json", "summary.csv", "index.html"
_SCHEMA = "crackmap/batch/1"
_ENDINGS = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".avif", ".bmp"}
_PICTURE_PX = 640
_MOST_WORDS = 600  # of what a run that failed said
_RESERVED = {PICTURES.lower(), STATE, TABLE, PAGE}
_RUN_BYTES = 1e9  # that a run on a large photo takes [byte]


@dataclass(frozen=True, slots=True)
class _Task:
    """A photo and where its job goes; `stamp` tells of everything that its outcome hangs on."""

    photo: Path
    folder: Path
    stamp: str


@dataclass(slots=True)
class _Runs:
    """The runs under way, so that all of them can be ended."""

    processes: set[subprocess.Popen[str]] = field(default_factory=set)
    stopped: bool = False
    lock: threading.Lock = field(default_factory=threading.Lock)

    def stop(self) -> None:
        """End every run; none is begun any more."""
        with self.lock:
            self.stopped = True
            for child in self.processes:
                child.terminate()


@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("photos", type=FOLDER)
@click.argument("options", nargs=-1, type=click.UNPROCESSED)
@click.option("--out", type=FOLDER, required=True, help="Folder for the jobs, one folder a photo; made if not there.")
@click.option("--processes", type=click.IntRange(1, 256), default=None,
              help="Photos worked on at the same time. [default: as many as there are cores, and free memory for]")
@click.option("--again", is_flag=True, help="Run those too that are done and unchanged.")
@click.option("--quiet", is_flag=True, help="No progress lines.")
def command(photos: Path, options: tuple[str, ...], out: Path, processes: int | None, again: bool, quiet: bool) -> None:
    """A whole folder of photos, several at a time.

    Every photo in the folder PHOTOS is run as `crackmap run` would, with the same OPTIONS for all
    (--thickness is needed). One that fails doesn't stop the rest. OUT then holds a job folder for each,
    summary.csv and index.html. Called again, what is done and unchanged is skipped. Ends with status 1
    if a photo failed.
    """
    found = _photos(photos)
    asked = _asked(found[0], out, options)
    tasks = _tasks(found, out, options, asked)
    hold(out, "batch")
    before = {} if again else _done_before(out)
    rows = {task.photo.name: _row_before(before, task) for task in tasks}
    left = [task for task in tasks if rows[task.photo.name].status != DONE]
    processes = min(processes or _fitting(), max(len(left), 1))
    stamps = {task.photo.name: task.stamp for task in tasks}
    units = asked["units"] or load_shop(asked["shop"], tasks[0].folder).units
    if len(left) < len(tasks) and not quiet:
        click.echo(f"{len(tasks) - len(left)} of {len(tasks)} photos are done and unchanged.", err=True)
    try:
        with contextlib.closing(_outcomes(left, options, processes)) as outcomes:  # ends its runs, come what may
            for count, row in enumerate(outcomes, 1):
                rows[row.photo] = row
                _write_state(out, rows, stamps)
                if not quiet:
                    click.echo(_progress(row, count, len(left), list(rows.values()), processes), err=True)
    except KeyboardInterrupt:
        done = sum(row.status == DONE for row in rows.values())
        click.echo(f"crackmap: stopped; {done} of {len(tasks)} photos are done. Give the same command again to go on.",
                   err=True)
        raise SystemExit(130) from None
    finally:
        _write_tables(photos, out, list(rows.values()), units)
    failed = [row for row in rows.values() if row.status == FAILED]
    click.echo(f"{len(tasks)} photos: {len(tasks) - len(failed)} done, {len(failed)} failed. Look at {out / PAGE}.")
    if failed:
        raise SystemExit(1)


def _fitting() -> int:
    """As many runs as there are cores, and no more than the free memory holds."""
    free = _free_bytes()
    return _cores() if free is None else max(1, min(_cores(), int(free / _RUN_BYTES)))


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _free_bytes() -> float | None:
    """Memory that programs may still have, with what the system would give up for them; None where it isn't told."""
    try:
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
        return next(float(line.split()[1]) * 1024.0 for line in lines if line.startswith("MemAvailable:"))
    except (OSError, ValueError, IndexError, StopIteration):
        return None


def _photos(folder: Path) -> list[Path]:
    """The photos in a folder, by name.

    Raises
    ------
    JobError
        If the folder isn't there, cannot be read or holds no photo.
    """
    try:
        found = sorted(path for path in folder.iterdir()
                       if path.suffix.lower() in _ENDINGS and not path.name.startswith(".") and path.is_file())
    except OSError as problem:
        raise JobError(f"the folder {folder} cannot be read ({problem.strerror}); name the folder with the photos."
                       ) from problem
    if not found:
        raise JobError(f"{folder} holds no photo; name the folder with the photos.")
    return found


def _tasks(found: Sequence[Path], out: Path, options: Sequence[str], asked: Mapping[str, Any]) -> list[_Task]:
    """The photos, each with a job folder of its own."""
    stems = [path.stem.lower() for path in found]
    tasks, taken = [], set(_RESERVED)
    for path in found:
        alone = stems.count(path.stem.lower()) == 1 and path.stem.lower() not in taken
        name = path.stem if alone else path.name.replace(".", "-")
        while name.lower() in taken or (not alone and name.lower() in stems):
            name += "-"
        taken.add(name.lower())
        tasks.append(_Task(path, out / name, _stamp(path, out / name, options, asked)))
    return tasks


def _run_arguments(photo: Path, folder: Path, options: Sequence[str]) -> list[str]:
    return ["--out", str(folder), *options, "--", str(photo)]  # a photo's name may begin with a dash


def _asked(photo: Path, out: Path, options: Sequence[str]) -> dict[str, Any]:
    """What `run` makes of the options; wrong ones are refused here once, and not for every photo."""
    with run.make_context("run", _run_arguments(photo, out / photo.stem, options)) as context:
        return dict(context.params)


def _stamp(photo: Path, folder: Path, options: Sequence[str], asked: Mapping[str, Any]) -> str:
    """A digest of the photo, the options, the files they name, the shop file, the edits and the program."""
    digest = hashlib.sha256(json.dumps([__version__, list(options)]).encode())
    named = [asked[name] for name in sorted(asked)
             if name not in ("photo", "shop") and isinstance(asked[name], Path)]
    for path in (photo, find_shop(asked["shop"], folder), folder / job.EDITS, *named):
        digest.update(b"|")
        if path is not None and path.is_file():
            with contextlib.suppress(OSError):
                digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def _outcomes(tasks: Sequence[_Task], options: Sequence[str], processes: int) -> Generator[Row, None, None]:
    """The tasks' rows as they end; whatever interrupts this ends the runs under way."""
    runs = _Runs()
    with ThreadPoolExecutor(processes) as pool:
        waiting = [pool.submit(_outcome, task, options, runs, processes) for task in tasks]
        try:
            for ended in as_completed(waiting):
                yield ended.result()
        except BaseException:
            runs.stop()
            for each in waiting:
                each.cancel()
            raise


def _outcome(task: _Task, options: Sequence[str], runs: _Runs, processes: int) -> Row:
    """Run one photo in a process of its own: what one leaves in memory, or a crash, is no other's."""
    began = time.monotonic()
    row = Row(task.photo.name, task.folder.name, FAILED)
    threads = str(max(1, _cores() // processes))
    shares = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"), threads)
    with runs.lock:
        if runs.stopped:
            return replace(row, status=WAITING)
        try:
            child = subprocess.Popen(
                [sys.executable, "-m", "crackmap", "run", "--quiet", *_run_arguments(task.photo, task.folder, options)],
                stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
                encoding="utf-8", errors="replace", env=os.environ | shares)
        except OSError as problem:  # no memory for another process, as it may be: that photo's failure alone
            return replace(row, message=f"it could not be begun ({problem.strerror}); give the same command again.")
        runs.processes.add(child)
    try:
        assert child.stderr is not None
        said = child.stderr.read()
        peak = _wait(child)
    finally:
        with runs.lock:
            runs.processes.discard(child)
    if runs.stopped:
        return replace(row, status=WAITING)
    seconds = time.monotonic() - began
    message = " ".join(said.split()).removeprefix("crackmap: ")[:_MOST_WORDS]
    if child.returncode:
        if child.returncode < 0:
            message = f"the run was ended by signal {-child.returncode}, as where memory runs out. {message}"
        return replace(row, message=message.strip(), seconds=round(seconds, 1), peak_mb=peak)
    try:
        _write_picture(task.folder)
        return row_of_job(task.photo.name, task.folder, message, seconds, peak)
    except CrackmapError as problem:
        return replace(row, message=str(problem), seconds=round(seconds, 1), peak_mb=peak)


def _wait(child: subprocess.Popen[str]) -> float | None:
    """Wait for a run; its largest memory where the system tells it. [MB]"""
    if not hasattr(os, "wait4"):
        child.wait()
        return None
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    return round(used.ru_maxrss * (1.0 if sys.platform == "darwin" else 1024.0) / 1e6, 1)


def _write_picture(folder: Path) -> None:
    """A small copy of the annotated picture, for the page."""
    try:  # read by Python: a name's bytes need not be text
        content = np.frombuffer((folder / "annotated.png").read_bytes(), np.uint8)
        picture = cv2.imdecode(content, cv2.IMREAD_REDUCED_COLOR_2)
    except (OSError, cv2.error):
        picture = None
    if picture is None:
        raise JobError(f"{folder / 'annotated.png'} cannot be read; run that photo alone to see why.")
    rows, columns = picture.shape[:2]
    factor = min(_PICTURE_PX / columns, 1.0)
    small = cv2.resize(picture, (max(round(columns * factor), 1), max(round(rows * factor), 1)),
                       interpolation=cv2.INTER_AREA)
    job.write_whole(folder.parent / PICTURES / f"{folder.name}.jpg", cv2.imencode(".jpg", small)[1].tobytes())


def _progress(row: Row, count: int, all_: int, rows: Sequence[Row], processes: int) -> str:
    """A line on a photo that ended, with the time that the rest will take."""
    times = [each.seconds for each in rows if each.seconds]
    left = (all_ - count) * sum(times) / max(len(times), 1) / processes  # [s]
    rest = "" if count == all_ else f", about {max(left / 60.0, 1.0):.0f} min left"
    what = f"{row.keys} keys" if row.status == DONE else f"failed: {row.message}"
    return f"[{count}/{all_}{rest}] {row.photo}: {what}"


def _done_before(out: Path) -> dict[str, tuple[str, Row]]:
    """Stamps and rows of an earlier batch in `out`; nothing if it was another program's or is damaged."""
    if not (out / STATE).exists():
        return {}
    try:
        read = job.read_json(out / STATE)
        if read.get("schema") != _SCHEMA:
            return {}
        return {entry["row"]["photo"]: (entry["stamp"], Row(**entry["row"])) for entry in read["photos"]}
    except (CrackmapError, KeyError, TypeError):
        return {}  # then every photo is run again


def _row_before(before: dict[str, tuple[str, Row]], task: _Task) -> Row:
    """What an earlier batch made of a photo, if nothing has changed since and its job is there."""
    stamp, row = before.get(task.photo.name, ("", None))
    if row is not None and row.status == DONE and stamp == task.stamp and job.is_job(task.folder):
        return row
    return Row(task.photo.name, task.folder.name, WAITING)


def _write_state(out: Path, rows: dict[str, Row], stamps: dict[str, str]) -> None:
    photos = [{"stamp": stamps[name], "row": asdict(row)} for name, row in rows.items() if row.status == DONE]
    job.write_whole(out / STATE, jsonform.dumps({"schema": _SCHEMA, "photos": photos}))


def _write_tables(photos: Path, out: Path, rows: Sequence[Row], units: str) -> None:
    job.write_whole(out / TABLE, as_csv(rows))
    job.write_whole(out / PAGE, batch_page(photos.absolute().name, rows, units))
