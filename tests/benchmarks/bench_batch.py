"""Many photos through `crackmap batch`: photos a minute with one process and with all, and memory over time.

    python -m tests.benchmarks.bench_batch PHOTO [PHOTO ...] --count 200 --few 12

The photos are copied under as many names, each with another comment in its JPEG, so that
every one is another file. `--few` of them are run with one process first, then all of them
with as many as there are cores.
"""

from __future__ import annotations

import argparse
import csv
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np


def copy_with_comment(photo: Path, target: Path, text: str) -> None:
    """A JPEG with a comment segment after its first marker (ISO/IEC 10918-1, B.2.4.5)."""
    content, comment = photo.read_bytes(), text.encode()
    segment = b"\xff\xfe" + (len(comment) + 2).to_bytes(2, "big") + comment
    target.write_bytes(content[:2] + segment + content[2:])


def timed_batch(photos: Path, out: Path, processes: int, thickness: str) -> tuple[float, list[dict[str, str]]]:
    """Wall time of a batch [s] and its table."""
    began = time.monotonic()
    subprocess.run([sys.executable, "-m", "crackmap", "batch", str(photos), "--out", str(out), "--quiet",
                    "--processes", str(processes), "--thickness", thickness], stdout=subprocess.DEVNULL)
    seconds = time.monotonic() - began
    with (out / "summary.csv").open(encoding="utf-8-sig", newline="") as table:
        return seconds, list(csv.DictReader(table))


def main() -> None:
    """Copy, run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photos", type=Path, nargs="+")
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--few", type=int, default=12)
    parser.add_argument("--thickness", default="45mm")
    chosen = parser.parse_args()
    place = Path(tempfile.mkdtemp())
    cores = os.cpu_count() or 1
    try:
        for folder, count in (("few", chosen.few), ("all", chosen.count)):
            (place / folder).mkdir()
            for number in range(count):
                photo = chosen.photos[number % len(chosen.photos)]
                copy_with_comment(photo, place / folder / f"{number:04d}-{photo.stem}.jpg", f"copy {number}")
        for folder, processes in (("few", 1), ("few", cores), ("all", cores)):
            seconds, rows = timed_batch(place / folder, place / f"{folder}-{processes}", processes, chosen.thickness)
            peaks = np.array([float(row["peak_mb"]) for row in rows if row["peak_mb"]])
            quarters = " ".join(f"{part.max():.0f}" for part in np.array_split(peaks, 4)) if len(peaks) >= 4 else "-"
            done = sum(row["status"] == "done" for row in rows)
            print(f"{len(rows)} photos, {done} done, {processes} process(es): {seconds:.0f} s, "
                  f"{60 * len(rows) / seconds:.1f} a minute; largest memory of a run by quarters {quarters} MB",
                  flush=True)
    finally:
        shutil.rmtree(place, ignore_errors=True)


if __name__ == "__main__":
    main()
