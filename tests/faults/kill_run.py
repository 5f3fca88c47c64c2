"""Kill `crackmap run` at random times over a job that holds a user's edits, and look at what is left.

    python -m tests.faults.kill_run --times 100

After every kill the folder must hold one whole job, old or new, and the edits; the
next run must end well and leave nothing behind.
"""

from __future__ import annotations

import argparse
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from crackmap import job
from crackmap.jsonform import digest_of

PHOTO = Path(__file__).parents[2] / "test_images" / "901.jpg"
EDITS = b'{"schema": "crackmap/edits/1", "units": "mm", "cracks": {"draw": [[[300, -40], [420, -35]]]}}'


@dataclass(slots=True)
class Toll:
    """What the kills came to."""

    kills: int = 0
    ended_before: int = 0  # runs that were done when the kill came
    old: int = 0
    new: int = 0
    mixed: int = 0
    edits_lost: int = 0


def run_arguments(folder: Path, thickness: float) -> list[str]:
    """A run over the job; another thickness [mm] makes another plan."""
    return [sys.executable, "-m", "crackmap", "run", str(PHOTO), "--thickness", f"{thickness:g}mm", "--quiet",
            "--out", str(folder)]


def fresh_job(folder: Path) -> float:
    """A job with a user's edits taken up; the time that the run took. [s]"""
    folder.mkdir(parents=True)
    (folder / job.EDITS).write_bytes(EDITS)
    began = time.monotonic()
    subprocess.run(run_arguments(folder, 40.0), check=True, stdout=subprocess.DEVNULL)
    return time.monotonic() - began


def kill_once(folder: Path, after: float, thickness: float, toll: Toll) -> None:
    """Begin a run, kill it after so many seconds, and count what is left."""
    before = job.read_job(folder).note.thickness_mm
    child = subprocess.Popen(run_arguments(folder, thickness), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    time.sleep(after)
    ended = child.poll() is not None
    child.send_signal(signal.SIGKILL)
    child.wait()
    toll.kills += 1
    toll.ended_before += ended
    if (folder / job.EDITS).read_bytes() != EDITS:
        toll.edits_lost += 1
    with job.held(folder, "look"):  # finishes a write that was cut off, as any command does
        read = job.read_job(folder)
    assert read.plan is not None
    agree = (read.plan.thickness_mm == read.note.thickness_mm and read.plan.photo_sha256 == read.survey.photo.sha256
             and read.plan.edits_digest == digest_of(read.edits) and not read.plan.by_hand
             and read.note.thickness_mm in (before, thickness))
    toll.mixed += not agree
    toll.old += agree and read.note.thickness_mm == before
    toll.new += agree and read.note.thickness_mm != before


def left_behind(folder: Path) -> list[str]:
    """Files that no command should leave."""
    return [path.name for path in folder.iterdir()
            if path.name.startswith(".") or path.name.endswith(".part") or path.name == "unfinished-write"]


def main() -> None:
    """Kill so many runs and print the toll."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    draw, toll = random.Random(chosen.seed), Toll()
    place = Path(tempfile.mkdtemp())
    try:
        folder = place / "job"
        takes = fresh_job(folder)
        for number in range(chosen.times):
            # A third of the kills fall on the last tenth of a run, where the files are written.
            share = draw.uniform(0.9, 1.05) if number % 3 == 0 else draw.uniform(0.0, 1.0)
            kill_once(folder, share * takes, 41.0 + number % 20, toll)
        subprocess.run(run_arguments(folder, 40.0), check=True, stdout=subprocess.DEVNULL)
        print(f"{toll}; left behind after one more run: {left_behind(folder) or 'nothing'}")
    finally:
        shutil.rmtree(place, ignore_errors=True)


if __name__ == "__main__":
    main()
