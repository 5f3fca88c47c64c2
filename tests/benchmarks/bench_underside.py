"""Both faces of a slab: how well the underside is placed, and through told from blind.

Run: python -m tests.benchmarks.bench_underside DIR [--points]
DIR holds pairs NAME_show and NAME_under, .jpg and .json (see tests/truth.py). Both
photos are measured with markers of the size in their truth. With --points three
places known on both faces are given, read to half a pixel.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

from crackmap import pipeline
from crackmap.errors import CrackmapError
from crackmap.photo.read import read_photo
from crackmap.pipeline import StageSettings
from crackmap.records import THROUGH, Edits, FloatArray, OtherFace, Survey
from crackmap.settings import ScaleSettings, UndersideSettings
from crackmap.underside.join import join_faces
from tests.truth import Truth, load_truth

WIDE_MM = 1.0  # of the cracks judged, as the goal says


def measured(truth: Truth) -> Survey:
    """The survey of one photo, with its own marker size."""
    sheets = [r["type"] for r in truth.form["references"] if r["type"] in ("a4", "letter", "card", "a3")]
    scale = (ScaleSettings(marker_size=float(truth.markers[0]["size_mm"])) if truth.markers
             else ScaleSettings(reference=sheets[0]))
    settings = StageSettings(truth.thickness_mm, scale)
    return pipeline.measure(pipeline.rectify_photo(read_photo(truth.photo), settings), settings, Edits())[1]


def under_to_show_true(under: Truth, points_true: FloatArray) -> FloatArray:
    """Underside points, true mm, in the show face's true mm."""
    matrix = np.array(under.form["under_to_show"]["matrix"], float)
    return np.asarray((np.column_stack([points_true, np.ones(len(points_true))]) @ matrix.T)[:, :2])


def placing_error(pair: tuple[Truth, Truth], show: Survey, other: OtherFace) -> FloatArray:
    """How far underside points land from their true place on the show face. [mm]"""
    true_show, true_under = pair
    at = np.array([(x, y) for x in np.linspace(0.05, 0.95, 9) for y in (-0.35, 0.0, 0.35)])
    at = at * (true_under.form["length_mm"], true_under.form["width_mm"])
    ours = other.to_show(other.survey.mapping.to_slab(true_under.camera.to_pixels(at)))
    truly = show.mapping.to_slab(true_show.camera.to_pixels(under_to_show_true(true_under, at)))
    return np.asarray(np.hypot(*(ours - truly).T))


def told_right(truth: Truth, show: Survey, other: OtherFace) -> tuple[float, float, float]:
    """Length of true crack wider than WIDE_MM that the survey has: told right, wrong, not told. [mm]"""
    cracks = {b.opening: b for b in other.below}
    lines = [(np.asarray(c.centreline), cracks[c.id].state) for c in show.cracks]
    right = wrong = untold = 0.0
    for crack in truth.form["cracks"]:
        line, width = np.asarray(crack["centreline_mm"], float), np.asarray(crack["width_mm"], float)
        depth = np.asarray(crack["depth_mm"], float)
        step = np.hypot(*np.gradient(line, axis=0).T)
        ours = show.mapping.to_slab(truth.camera.to_pixels(line))
        for place, w, d, length in zip(ours, width, depth, step, strict=True):
            if w < WIDE_MM or not lines:
                continue
            away, state = min((float(np.hypot(*(points - place).T).min()),
                               int(states[int(np.hypot(*(points - place).T).argmin())])) for points, states in lines)
            if away > 3.0:
                continue  # not found above: the crack benchmark counts it
            through = d >= 0.999 * truth.thickness_mm
            if state < 0:
                untold += length
            elif (state == THROUGH) == through:
                right += length
            else:
                wrong += length
    return right, wrong, untold


def common_points(pair: tuple[Truth, Truth], seed: int) -> UndersideSettings:
    """Three places read off both photos to half a pixel."""
    rng = np.random.default_rng(seed)
    length, width = pair[1].form["length_mm"], pair[1].form["width_mm"]
    at = np.array([(0.08 * length, -0.2 * width), (0.5 * length, 0.25 * width), (0.93 * length, -0.1 * width)])
    under = pair[1].camera.to_pixels(at) + rng.normal(0.0, 0.5, (3, 2))
    show = pair[0].camera.to_pixels(under_to_show_true(pair[1], at)) + rng.normal(0.0, 0.5, (3, 2))
    pairs = zip(show.tolist(), under.tolist(), strict=True)
    return UndersideSettings(common_px=tuple((s[0], s[1], u[0], u[1]) for s, u in pairs))


def main(folder: Path, points: bool) -> None:
    """Print the table."""
    print(f"{'pair':<8} {'method':<8} {'residual':>8} {'off rms':>8} {'off max':>8} {'right':>6} {'wrong':>6} "
          f"{'untold':>6} {'share':>6}  [mm]")
    for path in sorted(folder.glob("*_show.json")):
        name = path.name.removesuffix("_show.json")
        pair = load_truth(path), load_truth(folder / f"{name}_under.json")
        try:
            show, under = measured(pair[0]), measured(pair[1])
            other = join_faces(show, under, pair[0].thickness_mm,
                               common_points(pair, len(name)) if points else UndersideSettings())
        except CrackmapError as problem:
            print(f"{name:<8} {problem}")
            continue
        off = placing_error(pair, show, other)
        right, wrong, untold = told_right(pair[0], show, other)
        share = right / max(right + wrong + untold, 1e-9)
        rms = float(np.sqrt((off**2).mean()))
        print(f"{name:<8} {other.method:<8} {other.residual_mm:>8.2f} {rms:>8.2f} {off.max():>8.2f} "
              f"{right:>6.0f} {wrong:>6.0f} {untold:>6.0f} {share:>6.3f}", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--points", action="store_true")
    arguments = parser.parse_args(sys.argv[1:])
    main(arguments.folder, arguments.points)
