"""The review's server: from the command to what a browser needs first, and from a move to its answer.

    python -m tests.benchmarks.bench_review [--megapixels 12 48] [--moves 25]

On a drawn slab of 20 keys. CPU is that of the server's process, which other work on
the machine does not lengthen; wall time is what a maker waits on a quiet one.
"""

from __future__ import annotations

import argparse
import math
import os
import tempfile
import time
from pathlib import Path
from statistics import median

from tests.review.jobs import Served, a_job_folder, served

_LENGTH, _WIDTH, _MARGIN = 1800.0, 600.0, 180.0  # of the drawn slab and its bench [mm]
_CRACKS = 5


def main() -> None:
    """Print one line a picture size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--megapixels", type=float, nargs="*", default=[12.0, 48.0])
    parser.add_argument("--moves", type=int, default=25)
    wanted = parser.parse_args()
    print(f"{'MP':>5} {'keys':>5} {'start wall s':>13} {'start CPU s':>12} {'move wall ms':>13} {'move CPU ms':>12} "
          f"{'try CPU ms':>11} {'state kB':>9} {'peak MB':>8}")
    for size in wanted.megapixels:
        with tempfile.TemporaryDirectory() as folder:
            mm_per_px = math.sqrt((_LENGTH + _MARGIN) * (_WIDTH + _MARGIN) / (size * 1e6))
            print(_row(a_job_folder(Path(folder) / "job", _CRACKS, mm_per_px, _LENGTH, _WIDTH), wanted.moves, size),
                  flush=True)


def _row(folder: Path, moves: int, size: float) -> str:
    start = time.perf_counter()
    with served(folder) as server:
        state = server.job()
        picture = state["picture"]
        server.ask("GET", "/")
        level = max(0, picture["levels"] - 2)  # what fills a window of 1280 x 800
        across = -(-picture["width"] // (picture["tile"] * 2**level))
        down = -(-picture["height"] // (picture["tile"] * 2**level))
        for y in range(down):
            for x in range(across):
                server.ask("GET", f"/tile/{level}/{x}/{y}")
        usable, begun = time.perf_counter() - start, _cpu(server)
        walls, cpus, tries = [], [], []
        for k in range(moves + 2):
            key = state["plan"]["keys"][k % len(state["plan"]["keys"])]
            action = {"do": "move_key", "key": key["id"], "centre": [key["centre"][0] + 1.0, key["centre"][1]]}
            before = _cpu(server)
            server.post("/try", state["version"], action)
            tried, at = _cpu(server), time.perf_counter()
            _, state = server.post("/change", state["version"], action)
            walls.append(time.perf_counter() - at)
            cpus.append(_cpu(server) - tried)
            tries.append(tried - before)
        peak = int(next(line for line in Path(f"/proc/{server.running.pid}/status").read_text().splitlines()
                        if line.startswith("VmHWM")).split()[1]) / 1024
        kilobytes = len(server.ask("GET", "/job")[1]) / 1000
        return (f"{size:5.0f} {len(state['plan']['keys']):5d} {usable:13.2f} {begun:12.2f} "
                f"{1000 * median(walls[2:]):13.0f} {1000 * median(cpus[2:]):12.0f} {1000 * median(tries[2:]):11.0f} "
                f"{kilobytes:9.0f} {peak:8.0f}")


def _cpu(server: Served) -> float:
    """CPU time of the server's process so far. [s]"""
    user, system = Path(f"/proc/{server.running.pid}/stat").read_text().rsplit(")", 1)[1].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


if __name__ == "__main__":
    main()
