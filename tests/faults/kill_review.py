"""Kill a review at random times while a key is moved again and again, and look for moves that were lost.

    python -m tests.faults.kill_review --times 100

Every move that the review answered must be in edits.json after the kill, and plan.json must be the plan of those edits.
"""

from __future__ import annotations

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from crackmap import job
from crackmap.jsonform import digest_of
from tests.faults.kill_run import left_behind
from tests.review.jobs import a_job_folder, a_session

STEP = 0.01  # a move [mm]


@dataclass(slots=True)
class ReviewToll:
    """What the kills came to."""

    kills: int = 0
    answered: int = 0
    unanswered_but_kept: int = 0
    lost: int = 0
    mixed: int = 0


def edit_without_end(folder: Path) -> None:
    """Move the first key to and fro; print each move's number once it is answered."""
    session = a_session(folder)
    key = session.state()["plan"]["keys"][0]
    print(repr(float(key["centre"][0])), flush=True)
    for number in range(1, 1000):
        to = [key["centre"][0] + number * STEP, key["centre"][1]]
        session.change(session.state()["version"], {"do": "move_key", "key": key["id"], "centre": to})
        print(number, flush=True)


def kill_once(folder: Path, after: float, toll: ReviewToll) -> None:
    """Begin to edit, kill that so many seconds after its first answer, and count what is left."""
    child = subprocess.Popen([sys.executable, "-m", "tests.faults.kill_review", "--edit", str(folder)],
                             stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    assert child.stdout is not None
    start, answered = float(child.stdout.readline()), int(child.stdout.readline())
    time.sleep(after)
    child.kill()
    answered += len([line for line in child.communicate()[0].split("\n") if line.strip()])
    toll.kills += 1
    toll.answered += answered
    with job.held(folder, "look"):  # finishes a write that was cut off, as any command does
        read = job.read_job(folder)
    assert read.plan is not None
    toll.mixed += read.plan.edits_digest != digest_of(read.edits) and bool(read.edits.keys)
    kept = round((float(read.edits.keys[0].centre[0]) - start) / STEP) if read.edits.keys else 0
    toll.lost += max(answered - kept, 0)
    toll.unanswered_but_kept += kept == answered + 1
    toll.mixed += kept > answered + 1


def main() -> None:
    """Kill so many reviews and print the toll."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--edit", type=Path, help="edit this job folder until killed")
    chosen = parser.parse_args()
    if chosen.edit is not None:
        edit_without_end(chosen.edit)
        return
    draw, toll = random.Random(chosen.seed), ReviewToll()
    place = Path(tempfile.mkdtemp())
    try:
        folder = a_job_folder(place / "job")
        for _ in range(chosen.times):
            kill_once(folder, draw.uniform(0.0, 1.0), toll)
        with job.held(folder, "look"):
            print(f"{toll}; left behind: {[n for n in left_behind(folder) if n != '.crackmap-at-work'] or 'nothing'}")
    finally:
        shutil.rmtree(place, ignore_errors=True)


if __name__ == "__main__":
    main()
