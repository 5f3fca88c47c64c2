"""Photo to survey at several sizes: wall time, processor time and peak memory, against scikit-image alone.

    python -m tests.benchmarks.bench_survey PHOTO.jpg [--megapixels 3,12,48] [--repeat 3] [--no-baseline]

PHOTO.jpg needs its truth file beside it: it says what was laid down for scale.
The photo is enlarged or reduced to each size and every figure is taken in a
fresh process: its whole life for the memory, from the file to the survey for
the times (imports are told apart). The least of the repeats is printed.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from tests.truth import Truth, load_truth


def ours(path: Path, settings: dict[str, object]) -> None:
    """Photo file to Survey."""
    from crackmap.photo.read import read_photo
    from crackmap.scale.rectify import rectify
    from crackmap.settings import ScaleSettings, SurveySettings
    from crackmap.survey.survey import survey

    start = _clocks()
    photo = read_photo(path)
    rectified = rectify(photo, ScaleSettings().with_changes(**settings))
    del photo
    survey(rectified, SurveySettings())
    _tell(start)


def baseline(path: Path, mm_per_px: float) -> None:
    """Photo file to cracks by the script that a user would write; outline by Otsu, scale given."""
    from PIL import Image

    from tests.benchmarks.baseline_script import find_cracks_simply

    start = _clocks()
    find_cracks_simply(np.asarray(Image.open(path)), mm_per_px)
    _tell(start)


def _clocks() -> tuple[float, float]:
    return time.perf_counter(), time.process_time()


def _tell(start: tuple[float, float]) -> None:
    wall, cpu = (b - a for a, b in zip(start, _clocks(), strict=True))
    print(json.dumps([wall, cpu, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024]))


def _scale_settings(truth: Truth) -> dict[str, object]:
    if not truth.markers:
        known = ("a4", "a3", "letter", "card")
        return {"reference": next(r["type"] for r in truth.form["references"] if r["type"] in known)}
    below = truth.markers[0]["where"] == "bench"
    height = -truth.thickness_mm if below else 0.0
    return {"marker_size": float(truth.markers[0]["size_mm"]), "marker_height": height}


def measured(kind: str, path: Path, given: object, repeat: int) -> tuple[float, float, float]:
    """Least wall [s], processor time [s] and peak memory [MB] of fresh processes."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_survey", "--child", kind, str(path), json.dumps(given)]
    rows = []
    for _ in range(repeat):
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            raise SystemExit(done.stderr[-2000:])
        rows.append(json.loads(done.stdout.splitlines()[-1]))
    wall, cpu, peak = (min(column) for column in zip(*rows, strict=True))
    return wall, cpu, peak


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


def main() -> None:
    if sys.argv[1:2] == ["--child"]:
        kind, path, given = sys.argv[2], Path(sys.argv[3]), json.loads(sys.argv[4])
        ours(path, given) if kind == "ours" else baseline(path, given)
        return
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("photo", type=Path)
    parser.add_argument("--megapixels", default="3,12,48")
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--no-baseline", action="store_true")
    options = parser.parse_args()
    truth = load_truth(options.photo.with_suffix(".json"))
    print(f"{'Mpx':>5}{'':>14}{'wall s':>9}{'cpu s':>9}{'peak MB':>9}")
    with tempfile.TemporaryDirectory() as folder:
        for megapixels in (float(m) for m in options.megapixels.split(",")):
            path, zoom = resized(options.photo, megapixels, Path(folder))
            own = measured("ours", path, _scale_settings(truth), options.repeat)
            _row(megapixels, "crackmap", own)
            if not options.no_baseline:
                other = measured("baseline", path, truth.mm_per_px / zoom, 1)
                _row(megapixels, "scikit-image", other)
                print(f"{'':>5}{'ratio':>14}" + "".join(f"{b / a:>9.2f}" for a, b in zip(own, other, strict=True)))


def _row(megapixels: float, name: str, row: tuple[float, float, float]) -> None:
    print(f"{megapixels:>5g}{name:>14}{row[0]:>9.2f}{row[1]:>9.2f}{row[2]:>9.0f}", flush=True)


if __name__ == "__main__":
    main()
