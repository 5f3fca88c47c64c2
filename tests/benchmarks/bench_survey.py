"""Photo to survey at several sizes: wall time, processor time and peak memory by stage, against scikit-image alone.

    python -m tests.benchmarks.bench_survey PHOTO.jpg [--megapixels 3,12,48] [--repeat 3] [--no-baseline]

PHOTO.jpg needs its truth file beside it: it says what was laid down for scale.
The photo is enlarged or reduced to each size and every figure is taken in a
fresh process: its whole life for the memory, from the file to the survey for
the times (starting up is told apart). Of the repeats the quickest run is printed.
A stage's peak is the most that the process held while it ran (Linux only); an
indented stage is a part of the one below it.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

if TYPE_CHECKING:
    from tests.truth import Truth

WHOLE = "photo to survey"
_STATUS, _CLEAR = Path("/proc/self/status"), Path("/proc/self/clear_refs")


@dataclass(frozen=True)
class Spent:
    """What a stage took: wall and processor time [s], and the process's peak memory while it ran [MB]."""

    name: str
    wall: float
    cpu: float
    peak: float


class Meter:
    """Notes what stages take; the peak memory is set back at the start of each."""

    def __init__(self) -> None:
        self.rows: list[Spent] = []
        self.highest = 0.0

    def timed(self, name: str, step: Callable[..., Any]) -> Callable[..., Any]:
        """`step`, noted under `name` whenever it is called."""

        def noted(*given: Any, **named: Any) -> Any:
            self.highest = max(self.highest, _peak_mb())
            _CLEAR.write_text("5")
            wall, cpu = time.perf_counter(), time.process_time()
            answer = step(*given, **named)
            wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
            inner = max((row.peak for row in self.rows if row.name.startswith(" ")), default=0.0)
            peak = _peak_mb() if name.startswith(" ") else max(_peak_mb(), inner if name == "survey" else 0.0)
            self.highest = max(self.highest, peak)
            self.rows.append(Spent(name, wall, cpu, peak))
            return answer

        return noted

    def watch(self, module: ModuleType, function: str, name: str) -> None:
        """Note every call of a module's function."""
        setattr(module, function, self.timed(name, getattr(module, function)))


def _peak_mb() -> float:
    """Most memory that this process has held since it was last set back. [MB]"""
    line = next(x for x in _STATUS.read_text().splitlines() if x.startswith("VmHWM"))
    return float(line.split()[1]) / 1024


def ours(path: Path, settings: dict[str, object]) -> list[Spent]:
    """Photo file to Survey, by stages."""
    begun = time.perf_counter(), time.process_time()
    from crackmap.photo.read import read_photo
    from crackmap.scale.rectify import rectify
    from crackmap.settings import ScaleSettings, SurveySettings
    from crackmap.survey import find
    from crackmap.survey import survey as stage

    meter = Meter()
    meter.rows.append(Spent("starting up", time.perf_counter() - begun[0], time.process_time() - begun[1], _peak_mb()))
    for module, function, name in (
        (stage, "measure_face", "  edge and voids"), (find, "crack_chance", "    crack network"),
        (stage, "find_cracks", "  cracks"), (stage, "overall_grain_deg", "  grain"),
    ):  # fmt: skip
        meter.watch(module, function, name)
    wall, cpu = time.perf_counter(), time.process_time()
    photo = meter.timed("read", read_photo)(path)
    rectified = meter.timed("scale", rectify)(photo, ScaleSettings().with_changes(**settings))
    del photo
    meter.timed("survey", stage.survey)(rectified, SurveySettings())
    return [*meter.rows, Spent(WHOLE, time.perf_counter() - wall, time.process_time() - cpu, meter.highest)]


def baseline(path: Path, mm_per_px: float) -> list[Spent]:
    """Photo file to cracks by the script that a user would write; outline by Otsu, scale given."""
    from PIL import Image

    from tests.benchmarks.baseline_script import find_cracks_simply

    wall, cpu = time.perf_counter(), time.process_time()
    find_cracks_simply(np.asarray(Image.open(path)), mm_per_px)
    return [Spent(WHOLE, time.perf_counter() - wall, time.process_time() - cpu, _peak_mb())]


def _scale_settings(truth: Truth) -> dict[str, object]:
    if not truth.markers:
        known = ("a4", "a3", "letter", "card")
        return {"reference": next(r["type"] for r in truth.form["references"] if r["type"] in known)}
    below = truth.markers[0]["where"] == "bench"
    height = -truth.thickness_mm if below else 0.0
    return {"marker_size": float(truth.markers[0]["size_mm"]), "marker_height": height}


def measured(kind: str, path: Path, given: object, repeat: int) -> list[Spent]:
    """The stages of the quickest of `repeat` fresh processes."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_survey", "--child", kind, str(path), json.dumps(given)]
    runs = []
    for _ in range(repeat):
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            raise SystemExit(done.stderr[-2000:])
        runs.append([Spent(**row) for row in json.loads(done.stdout.splitlines()[-1])])
    return min(runs, key=lambda rows: rows[-1].wall)


def resized(photo: Path, megapixels: float, folder: Path) -> tuple[Path, float]:
    """A copy of about that many megapixels, and by how much it is larger."""
    image = cv2.imread(str(photo))
    if image is None:
        raise SystemExit(f"{photo} cannot be read.")
    zoom = (megapixels * 1e6 / (image.shape[0] * image.shape[1])) ** 0.5
    kind = cv2.INTER_CUBIC if zoom > 1 else cv2.INTER_AREA
    path = folder / f"{photo.stem}_{megapixels:g}.jpg"
    picture = cv2.resize(image, None, fx=zoom, fy=zoom, interpolation=kind)
    cv2.imwrite(str(path), picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return path, zoom


def _child(kind: str, path: Path, given: Any) -> None:
    cv2.setNumThreads(2)
    print(json.dumps([asdict(row) for row in (ours(path, given) if kind == "ours" else baseline(path, given))]))


def main() -> None:
    """Parse the command line and print."""
    if sys.argv[1:2] == ["--child"]:
        _child(sys.argv[2], Path(sys.argv[3]), json.loads(sys.argv[4]))
        return
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo", type=Path)
    parser.add_argument("--megapixels", default="3,12,48")
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--no-baseline", action="store_true")
    options = parser.parse_args()
    from tests.truth import load_truth  # not in the measured processes: it loads more than they do

    truth = load_truth(options.photo.with_suffix(".json"))
    print(f"{'Mpx':>5}  {'':24}{'wall s':>9}{'cpu s':>9}{'peak MB':>9}")
    with tempfile.TemporaryDirectory() as folder:
        for megapixels in (float(m) for m in options.megapixels.split(",")):
            path, zoom = resized(options.photo, megapixels, Path(folder))
            own = measured("ours", path, _scale_settings(truth), options.repeat)
            for row in own:
                _tell(megapixels, row.name, row.wall, row.cpu, row.peak)
            if not options.no_baseline:
                other = measured("baseline", path, truth.mm_per_px / zoom, 1)[-1]
                _tell(megapixels, "scikit-image alone", other.wall, other.cpu, other.peak)
                whole = own[-1]
                ratios = other.wall / whole.wall, other.cpu / whole.cpu, other.peak / whole.peak
                _tell(megapixels, "  times ours", *ratios)


def _tell(megapixels: float, name: str, wall: float, cpu: float, peak: float) -> None:
    print(f"{megapixels:>5g}  {name:24}{wall:>9.2f}{cpu:>9.2f}{peak:>9.1f}", flush=True)


if __name__ == "__main__":
    main()
