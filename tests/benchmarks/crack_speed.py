"""Time and memory of a crack finder in a process of its own.

    python -m tests.benchmarks.crack_speed PICTURE.npz FINDER

PICTURE.npz holds `image` (H, W, 3) RGB, `wood` (H, W) and `mm_per_px`; FINDER is
a name in `FINDERS`. Prints one JSON line: wall and CPU seconds of the search,
seconds of the whole process, and its greatest memory above what the picture
and Python with numpy and OpenCV take.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Finder = Callable[[NDArray[np.uint8], float, NDArray[np.bool_] | None], list[Any]]


def _ours() -> Finder:
    from crackmap import find_cracks

    return find_cracks


def _by_lines() -> Finder:
    from crackmap.survey.find import find_cracks_by_lines

    return find_cracks_by_lines


def _simple_script() -> Finder:
    from tests.benchmarks.baseline_script import find_cracks_simply

    return find_cracks_simply


# Imported only where asked for: what a finder needs to import is part of its time and memory.
FINDERS: dict[str, Callable[[], Finder]] = {
    "crackmap": _ours, "crackmap, lines alone": _by_lines, "scikit-image script": _simple_script,
}  # fmt: skip


def cost_of(name: str, picture: Path) -> dict[str, float]:
    """What the finder costs on a stored picture, measured in a fresh process."""
    command = [sys.executable, "-m", "tests.benchmarks.crack_speed", str(picture), name]
    began = time.perf_counter()
    answer = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    cost: dict[str, float] = json.loads(answer.splitlines()[-1])
    return cost | {"process_s": time.perf_counter() - began}


def _peak_mb() -> float:
    """Greatest memory of this process; not `ru_maxrss`, which begins at what the parent held. [MB]"""
    line = next(x for x in Path("/proc/self/status").read_text().splitlines() if x.startswith("VmHWM"))
    return float(line.split()[1]) / 1024


def main() -> None:
    """Search once and print."""
    stored = np.load(sys.argv[1])
    image, wood, mm_per_px = stored["image"], stored["wood"], float(stored["mm_per_px"])
    import cv2

    cv2.setNumThreads(2)
    finder = FINDERS[sys.argv[2]]()
    before = _peak_mb()
    wall, cpu = time.perf_counter(), time.process_time()
    finder(image, mm_per_px, wood)
    print(json.dumps({
        "wall_s": time.perf_counter() - wall, "cpu_s": time.process_time() - cpu, "peak_mb": _peak_mb(),
        "more_mb": _peak_mb() - before,
    }))  # fmt: skip


if __name__ == "__main__":
    main()
