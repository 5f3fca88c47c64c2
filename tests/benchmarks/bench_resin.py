"""Resin for photos whose cracks' and voids' depths are known: probed, seen from below, and not known at all.

Run: python -m tests.benchmarks.bench_resin DIR [--walls 0.625]
DIR holds photos with truth (tests/truth.py). Each is measured as a maker would;
then the resin is reckoned with nothing probed, and with every crack and void
probed at its widest place. True volumes are width times depth along the true
cracks times the share that their walls leave (`--walls`; 0.625 is our own
generator's, whose gaps close as height to the 0.6; through cracks there leave
0.89); of voids area times depth times 0.85. The walls of photographs that
others rendered are not told: there the share is an assumption, as in our own
reckoning.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from crackmap import pipeline
from crackmap.errors import CrackmapError
from crackmap.photo.read import read_photo
from crackmap.pipeline import StageSettings
from crackmap.records import Edits, Survey
from crackmap.resin.estimate import estimate_resin
from crackmap.settings import ScaleSettings
from crackmap.shop import Shop
from tests.truth import Truth, to_true, truths_in

THROUGH_WALLS, VOID_WALLS = 0.89, 0.85  # of the generator [-]
LEAST_WIDTH = 0.3  # as the stage's own: resin runs into no less [mm]


def measured(truth: Truth) -> Survey:
    """The survey of one photo, told what lies on it."""
    options = dict(zip(truth.options()[::2], truth.options()[1::2], strict=True))
    scale = ScaleSettings().with_changes(
        marker_size=float(options.get("--marker-size", "100mm").removesuffix("mm")),
        marker_height=float(options.get("--marker-height", "0mm").removesuffix("mm")),
        reference=options.get("--reference", "marker"))
    settings = StageSettings(truth.thickness_mm, scale)
    return pipeline.measure(pipeline.rectify_photo(read_photo(truth.photo), settings), settings, Edits())[1]


def true_volume(truth: Truth, walls: float) -> float:
    """Cracks and voids together. [ml]"""
    total = 0.0
    for crack in truth.form["cracks"]:
        line, width = np.array(crack["centreline_mm"], float), np.array(crack["width_mm"], float)
        depth = np.minimum(np.array(crack["depth_mm"], float), truth.thickness_mm)
        step = np.hypot(*np.gradient(line, axis=0).T)
        share = np.where(depth >= 0.999 * truth.thickness_mm, THROUGH_WALLS, walls)
        total += float((np.where(width >= LEAST_WIDTH, width, 0.0) * depth * share * step).sum())
    for void in truth.form["voids"]:
        area = shapely.Polygon(void["polygon_mm"]).area
        total += area * min(void["depth_mm"], truth.thickness_mm) * VOID_WALLS
    return total / 1000.0


def probes(truth: Truth, survey: Survey) -> tuple[tuple[float, float, float], ...]:
    """Depths as a maker would probe them: each crack where it is widest and half-way to each end, each void once."""
    cracks = [(np.array(c["centreline_mm"], float), np.array(c["depth_mm"], float)) for c in truth.form["cracks"]]
    points, depths = np.concatenate([c[0] for c in cracks]), np.concatenate([c[1] for c in cracks])
    found: list[tuple[float, float, float]] = []
    for crack in survey.cracks:
        widest = int(np.argmax(crack.width))
        for at in {widest, widest // 2, (widest + len(crack.width)) // 2}:
            place = crack.centreline[at]
            away = np.hypot(*(points - to_true(truth, survey.mapping, place[None])[0]).T)
            if away.min() <= 4.0:
                found.append((float(place[0]), float(place[1]),
                              float(min(depths[away.argmin()], truth.thickness_mm))))
    for void in survey.voids:
        middle = np.asarray(void.polygon).mean(axis=0)
        here = shapely.Point(to_true(truth, survey.mapping, middle[None])[0])
        for known in truth.form["voids"]:
            if shapely.Polygon(known["polygon_mm"]).buffer(5.0).contains(here):
                found.append((float(middle[0]), float(middle[1]), float(min(known["depth_mm"], truth.thickness_mm))))
    return tuple(found)


def row(truth: Truth, walls: float) -> dict[str, Any]:
    """One photo's figures. [ml]"""
    survey = measured(truth)
    unknown = estimate_resin(survey, (), Shop(), truth.thickness_mm)
    known = estimate_resin(survey, (), Shop(), truth.thickness_mm,
                           replace(Edits(), probed_depths=probes(truth, survey)))
    return {"true": true_volume(truth, walls), "unknown": unknown, "known": known}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--walls", type=float, default=0.625)
    chosen = parser.parse_args()
    print(f"{'photo':<12} {'true ml':>8} {'probed':>8} {'off %':>6} {'range':>14} {'inside':>6}   "
          f"{'not probed':>10} {'range':>14} {'inside':>6}")
    for truth in truths_in(chosen.folder):
        try:
            found = row(truth, chosen.walls)
        except CrackmapError as problem:
            print(f"{truth.photo.stem:<12} {problem}")
            continue
        true, known, unknown = found["true"], found["known"], found["unknown"]
        cells = [f"{truth.photo.stem:<12} {true:>8.0f}"]
        for each in (known, unknown):
            inside = each.least_ml <= true <= each.most_ml
            span = f"{each.least_ml:.0f} to {each.most_ml:.0f}"
            off = f" {100.0 * (each.volume_ml / max(true, 1e-9) - 1.0):>+6.0f}" if each is known else "  "
            cells.append(f"{each.volume_ml:>8.0f}{off} {span:>14} {'yes' if inside else 'no':>6}")
        print(" ".join(cells), flush=True)


if __name__ == "__main__":
    main()
