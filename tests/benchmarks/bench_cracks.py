"""How well cracks are found and measured: tables for folders of photos with truth.

    python -m tests.benchmarks.bench_cracks DIR [--only 001,002] [--degrade] [--baseline] [--lines] [--overlays OUT]
    python -m tests.benchmarks.bench_cracks --clean DIR [DIR ...]       # false lines on slabs without cracks
    python -m tests.benchmarks.bench_cracks --confidence DIR [DIR ...]  # is 0.9 nine in ten?
    python -m tests.benchmarks.bench_cracks DIR --speed [--megapixels 12]
    python -m tests.benchmarks.bench_cracks --boards DIR

Each photo is rectified by its true camera and searched inside its true outline,
less the true voids and what lies on the slab, so that the figures are the crack
finder's alone. `--baseline` adds the rows of a script that uses scikit-image
alone, `--lines` those of our finder without its network. Slabs without cracks:
``python -m crackmap.demo.batch OUT --sound [--look-alikes]``; those among photos
with cracks are picked out.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import cv2
import numpy as np

from tests.benchmarks.crack_confidence import confidence_table
from tests.benchmarks.crack_sound import sound_table
from tests.benchmarks.crack_speed import FINDERS, cost_of
from tests.benchmarks.crack_tables import degraded_table, photo_of, slabs_table
from tests.benchmarks.real_boards import boards_table
from tests.benchmarks.truth_view import rectified, wood_mask
from tests.truth import Truth, truths_in


def speed_table(truth: Truth, megapixels: float, names: list[str]) -> None:
    """Print time and memory of each finder on a photo, enlarged; each in a process of its own."""
    picture, origin = rectified(truth, photo_of(truth))
    wood = wood_mask(truth, picture.shape, origin)
    times = float(np.sqrt(megapixels * 1e6 / wood.size))
    image = cv2.resize(picture, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC)[:, :, ::-1]
    mask = cv2.resize(wood.astype(np.uint8), image.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "picture.npz"
        np.savez(file, image=image, wood=mask, mm_per_px=truth.mm_per_px / times)
        print(f"{mask.size / 1e6:.1f} megapixels, of them {mask.mean():.0%} wood")
        print(f"{'finder':>22} {'wall s':>7} {'CPU s':>7} {'process s':>9} {'peak MB':>8} {'more MB':>8}")
        for name in names:
            cost = cost_of(name, file)
            print(
                f"{name:>22} {cost['wall_s']:7.2f} {cost['cpu_s']:7.2f} {cost['process_s']:9.2f}"
                f" {cost['peak_mb']:8.0f} {cost['more_mb']:8.0f}",
                flush=True,
            )


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--boards", type=Path)
    parser.add_argument("--clean", type=Path, nargs="+", metavar="DIR")
    parser.add_argument("--confidence", type=Path, nargs="+", metavar="DIR")
    parser.add_argument("--only", default="", help="names of photos, with commas between")
    parser.add_argument("--degrade", action="store_true")
    parser.add_argument("--baseline", action="store_true")
    parser.add_argument("--lines", action="store_true")
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--megapixels", type=float, default=12.0)
    parser.add_argument("--overlays", type=Path)
    chosen = parser.parse_args()
    if not (chosen.folder or chosen.boards or chosen.clean or chosen.confidence):
        parser.error("name a folder of photos with truth")
    return chosen


def main() -> None:
    """Parse the command line and print."""
    chosen = _options()
    names = ["crackmap", *["crackmap, lines alone"] * chosen.lines, *["scikit-image script"] * chosen.baseline]
    only = [name for name in chosen.only.split(",") if name]
    truths = truths_in(chosen.folder) if chosen.folder else []
    truths = [truth for truth in truths if not only or truth.photo.stem in only]
    if chosen.overlays:
        chosen.overlays.mkdir(parents=True, exist_ok=True)
    if chosen.confidence:
        confidence_table([truth for folder in chosen.confidence for truth in truths_in(folder)])
        return
    if chosen.speed:
        speed_table(truths[0], chosen.megapixels, names)
        return
    for name in names:
        print(f"\n{name}")
        finder, overlays = FINDERS[name](), chosen.overlays if name == "crackmap" else None
        if truths:
            before = slabs_table(truths, finder, overlays)
            if chosen.degrade:
                degraded_table(truths, finder, before)
        if chosen.clean:
            sound_table(chosen.clean, finder, overlays)
        if chosen.boards:
            boards_table(chosen.boards, finder, overlays)


if __name__ == "__main__":
    main()
