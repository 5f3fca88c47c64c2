"""How well widths are measured where the true centreline is given: a table for a folder of photos with truth.

    python -m tests.benchmarks.bench_widths DIR [--only 001,002] [--single]

Every true crack is followed along its own centreline, put off by half a pixel
(smoothly), with a first guess of the width that is wrong by a third or more; so
the figures don't depend on the finder. `--single` measures by single profiles,
for comparison.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.survey.profile import FloatArray, Path, normals_of, resampled, smooth_along
from crackmap.survey.tone import brightest_channel
from crackmap.survey.width import Widths, measure_widths
from crackmap.survey.width_lips import measure_lips
from tests.benchmarks.crack_score import WIDE_PX, not_judged
from tests.benchmarks.truth_view import rectified
from tests.truth import Truth

OFF_PX, GUESS_SPREAD = 0.5, 0.35
CLASSES = ((0.7, 1.5), (1.5, 3.0), (3.0, 6.0), (6.0, 40.0))  # of the true width [px]
Measure = Callable[[NDArray[np.uint8], Path, FloatArray], Widths]


@dataclass(frozen=True, slots=True, eq=False)
class Errors:
    """Found less true at every visible point of a photo's cracks, shape (N,) each. [px]"""

    true: FloatArray
    width: FloatArray
    sigma: FloatArray
    middle: FloatArray
    seconds: float  # of processor time, for the whole photo

    def of(self, chosen: NDArray[np.bool_]) -> Errors:
        """The errors at chosen points."""
        return Errors(self.true[chosen], self.width[chosen], self.sigma[chosen], self.middle[chosen], self.seconds)


def by_strip(image: NDArray[np.uint8], path: Path, guess: FloatArray) -> Widths:
    """As the survey measures, but for the centring between its two looks."""
    return measure_lips(image, path, measure_lips(image, path, guess).width)


def by_profile(image: NDArray[np.uint8], path: Path, guess: FloatArray) -> Widths:
    """Profile by profile, twice."""
    value = brightest_channel(image)
    return measure_widths(value, path, measure_widths(value, path, guess).width)


def true_paths(
    truth: dict[str, Any], origin: FloatArray
) -> Iterator[tuple[Path, FloatArray, NDArray[np.bool_]]]:
    """Path, width and visibility of each true crack, about a point a pixel. [px]"""
    step = truth["mm_per_px"]
    hidden = not_judged(truth)
    for crack in truth["cracks"]:
        line = (np.array(crack["centreline_mm"], float) - origin) / step
        along = np.r_[0, np.cumsum(np.hypot(*np.diff(line, axis=0).T))]
        points = resampled(line, 1.0)
        if len(points) < 12:
            continue
        at = np.linspace(0, along[-1], len(points))
        visible = np.broadcast_to(np.asarray(crack.get("visible", 1), float), len(line))
        seen = (np.interp(at, along, visible) > 0.5) & ~shapely.contains_xy(hidden, *(points * step + origin).T)
        yield Path(points, normals_of(points)), np.interp(at, along, crack["width_mm"]) / step, seen


def errors_of(truth: dict[str, Any], photo: NDArray[np.uint8], measure: Measure) -> Errors:
    """Errors of one photo (BGR)."""
    rng = np.random.default_rng(0)
    picture, origin = rectified(Truth(truth, FilePath()), photo)
    rgb = np.ascontiguousarray(picture[:, :, ::-1])
    rows = []
    spent = 0.0
    for path, width, seen in true_paths(truth, origin):
        off = _wave(rng, len(path), 6.0, OFF_PX)
        points = path.points + path.normals * off[:, None]
        guess = np.maximum(width, 1.2) * np.exp(_wave(rng, len(path), 15.0, GUESS_SPREAD) + rng.normal(0, 0.15))
        begun = time.process_time()
        found = measure(rgb, Path(points, normals_of(points, 4)), guess)
        spent += time.process_time() - begun
        rows.append(np.stack([width, found.width - width, found.sigma, found.shift + off])[:, seen])
    return Errors(*np.concatenate(rows, axis=1), seconds=spent)


def _wave(rng: np.random.Generator, count: int, sigma: float, spread: float) -> FloatArray:
    wave = smooth_along(rng.normal(0, 1, count), sigma)
    return np.asarray(wave * spread / max(float(np.sqrt(np.mean(wave**2))), 1e-9))


HEADER = (
    f"{'photo':>10} {'abs mm':>7} {'bias':>7} {'abs px':>7} {'1 sigma':>8} {'2 sigma':>8} {'middle px':>9} {'CPU s':>6}"
    "  "
    + "  ".join(f"{f'{low:g} to {high:g} px':>13}" for low, high in CLASSES)
)


def line(name: str, errors: Errors, mm_per_px: float) -> str:
    """One row: cracks of 1.5 px and wider, then median absolute error/bias of each class in pixels."""
    wide = errors.of(errors.true > WIDE_PX)
    parts = []
    for low, high in CLASSES:
        own = errors.width[(errors.true >= low) & (errors.true < high)]
        parts.append(f"{np.median(np.abs(own)):6.2f}/{np.median(own):+6.2f}" if len(own) else f"{'-':>13}")
    off = np.abs(wide.width)
    return (
        f"{name:>10} {np.median(off) * mm_per_px:7.3f} {np.median(wide.width) * mm_per_px:+7.3f} {np.median(off):7.2f}"
        f" {np.mean(off < wide.sigma):8.2f} {np.mean(off < 2 * wide.sigma):8.2f}"
        f" {np.median(np.abs(wide.middle)):9.2f} {errors.seconds:6.2f}  " + "  ".join(parts)
    )


def main() -> None:
    """Parse the command line and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=FilePath)
    parser.add_argument("--only", default="")
    parser.add_argument("--single", action="store_true", help="by single profiles")
    chosen = parser.parse_args()
    only = [name for name in chosen.only.split(",") if name]
    print(HEADER)
    shares = []
    for file in sorted(chosen.folder.glob("*.json")):
        photo = file.with_suffix(".jpg")
        if not photo.exists() or (only and file.stem not in only):
            continue
        truth = json.loads(file.read_text())
        if not truth["cracks"]:
            continue
        errors = errors_of(truth, cv2.imread(str(photo)), by_profile if chosen.single else by_strip)
        print(line(file.stem, errors, truth["mm_per_px"]), flush=True)
        off = np.abs(errors.width)
        shares.append([np.median(off), *(np.mean(off < k * errors.sigma) for k in (1, 2))])
    if shares:
        print("all widths, each photo alike: median error {:.2f} px; {:.2f} within one sigma (0.68 expected),"
              " {:.2f} within two (0.95)".format(*np.mean(shares, axis=0)))


if __name__ == "__main__":
    main()
