"""False lines on slabs without a crack: by folder, by wood and in all."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

from tests.benchmarks.crack_speed import Finder
from tests.benchmarks.crack_tables import photo_of, scored
from tests.truth import truths_in

LEAST_M2 = 10.0  # less wood says little
GOAL = 30.0  # [mm/m2]


def sound_table(folders: list[Path], finder: Finder, overlays: Path | None) -> None:
    """Print what is found on the photos of the folders whose truth has no cracks."""
    lengths: dict[str, dict[str, list[tuple[float, float]]]] = defaultdict(lambda: defaultdict(list))
    print(f"{'photo':>18} {'wood':>12} {'mm/px':>6} {'m2':>6} {'false mm':>8} {'mm/m2':>6}")
    for folder in folders:
        for truth in truths_in(folder):
            if truth.form["cracks"]:
                continue
            name = f"{folder.name}/{truth.photo.stem}"
            score, _ = scored(truth, photo_of(truth), finder, overlays and overlays / f"{truth.photo.stem}.png")
            area, false = score.area_m2, score.false_per_m2 * score.area_m2
            lengths["folder"][folder.name].append((area, false))
            lengths["wood"][truth.form["species_look"]].append((area, false))
            lengths["all"][f"all (goal {GOAL:.0f})"].append((area, false))
            print(
                f"{name:>18} {truth.form['species_look']:>12} {truth.mm_per_px:6.2f} {area:6.2f} {false:8.0f}"
                f" {false / area:6.0f}",
                flush=True,
            )
    for kind, groups in lengths.items():
        for group, pairs in sorted(groups.items()):
            area, false = (sum(column) for column in zip(*pairs, strict=True))
            print(f"{kind:>18} {group:>12} {'':6} {area:6.2f} {false:8.0f} {false / area:6.0f}")
            if kind == "all" and area < LEAST_M2:
                print(f"Only {area:.1f} m2 of wood: {LEAST_M2:.0f} and more are asked for.")
