"""How well cracks are found and measured: tables for a folder of photos with truth.

    python -m tests.benchmarks.bench_cracks DIR [--only 001,002] [--degrade] [--baseline] [--lines] [--overlays OUT]
    python -m tests.benchmarks.bench_cracks DIR --speed [--megapixels 12]
    python -m tests.benchmarks.bench_cracks --boards DIR

Each photo is rectified by its true camera and searched inside its true outline,
less the true voids and what lies on the slab, so that the figures are the crack
finder's alone. `--baseline` adds the rows of a script that uses scikit-image
alone, `--lines` those of our finder without its network.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from tests.benchmarks.crack_score import CrackScore, score_cracks
from tests.benchmarks.crack_speed import FINDERS, Finder, cost_of
from tests.benchmarks.degraded import degradations, half_resolution
from tests.benchmarks.real_boards import boards_table

MARGIN_MM = 20.0
ImageArray = NDArray[np.uint8]


def rectified(truth: dict[str, Any], photo: ImageArray) -> tuple[ImageArray, NDArray[np.float64]]:
    """The show face at the photo's own mm per pixel, and the slab position of pixel (0, 0)."""
    outline = np.array(truth["outline_mm"])
    step = truth["mm_per_px"]
    origin = outline.min(0) - MARGIN_MM
    columns, rows = np.ceil((outline.max(0) + MARGIN_MM - origin) / step).astype(int)
    x, y = np.meshgrid(np.arange(columns) * step + origin[0], np.arange(rows) * step + origin[1])
    at = (
        photo_positions(truth, np.stack([x.ravel(), y.ravel()], 1))
        .astype(np.float32)
        .reshape(rows, columns, 2)
    )
    picture = cv2.remap(photo, at, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return picture, origin


def photo_positions(truth: dict[str, Any], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Photo pixels of slab points by the true camera."""
    matrix = np.array(truth["camera"]["K"])
    ideal = cv2.perspectiveTransform(
        points.reshape(-1, 1, 2), np.array(truth["H_mm_to_undistorted_px"])
    ).reshape(-1, 2)
    rays = np.c_[(ideal - matrix[:2, 2]) / [matrix[0, 0], matrix[1, 1]], np.ones(len(ideal))]
    lens = np.array(truth["camera"]["dist_k1k2p1p2k3"], float)
    return np.asarray(cv2.projectPoints(rays, np.zeros(3), np.zeros(3), matrix, lens)[0].reshape(-1, 2))


def wood_mask(
    truth: dict[str, Any], shape: tuple[int, ...], origin: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """True outline less the voids and the things lying on the slab."""

    def filled(mask: ImageArray, polygon: Any, value: int) -> None:
        pixels = (np.asarray(polygon, float) - origin) / truth["mm_per_px"]
        cv2.fillPoly(mask, [np.rint(pixels * 16).astype(np.int32)], value, shift=4)

    mask = np.zeros(shape[:2], np.uint8)
    filled(mask, truth["outline_mm"], 1)
    for void in truth["voids"]:
        filled(mask, void["polygon_mm"], 0)
    for reference in truth["references"]:
        if reference["where"] == "top":
            grown = shapely.Polygon(reference["outer_mm"]).buffer(2.0)
            filled(mask, grown.exterior.coords[:], 0)
    return mask.astype(bool)


def scored(
    truth: dict[str, Any], photo: ImageArray, finder: Finder, overlay: Path | None = None
) -> tuple[CrackScore, float]:
    """One photo's figures and the finder's CPU seconds per 12 megapixels of picture."""
    picture, origin = rectified(truth, photo)
    mask = wood_mask(truth, picture.shape, origin)
    rgb = np.ascontiguousarray(picture[:, :, ::-1])
    begun = time.process_time()
    found = finder(rgb, truth["mm_per_px"], mask)
    spent = (time.process_time() - begun) * 12e6 / mask.size
    step = truth["mm_per_px"]
    in_mm = [(crack.centreline * step + origin, crack.width * step) for crack in found]
    if overlay is not None:
        draw_overlay(picture, truth, origin, found, overlay)
    return score_cracks(truth, in_mm), spent


def draw_overlay(
    picture: ImageArray, truth: dict[str, Any], origin: NDArray[np.float64], found: list[Any], file: Path
) -> None:
    """Found cracks in red, true ones in green beside them (shifted by 4 px)."""
    drawn = picture.copy()
    for crack in truth["cracks"]:
        pixels = (np.array(crack["centreline_mm"]) - origin) / truth["mm_per_px"] + 4
        cv2.polylines(drawn, [np.rint(pixels * 8).astype(np.int32)], False, (0, 220, 0), 1, cv2.LINE_AA, 3)
    for found_crack in found:
        pixels = np.rint(found_crack.centreline * 8).astype(np.int32)
        cv2.polylines(drawn, [pixels], False, (0, 0, 255), 1, cv2.LINE_AA, 3)
        middle = found_crack.centreline[len(found_crack.centreline) // 2].astype(int)
        cv2.putText(
            drawn,
            f"{found_crack.confidence:.2f}",
            tuple(middle + [4, -6]),
            0,
            0.4,
            (255, 0, 255),
            1,
            cv2.LINE_AA,
        )
    cv2.imwrite(str(file), drawn)


HEADER = (
    f"{'photo':>18} {'prec':>6} {'wide R':>6} {'hair R':>6} {'tips':>6} {'w abs':>6} {'w bias':>7}"
    f" {'w px':>6} {'false/m2':>8} {'s/12MP':>7}"
)
GOALS = f"{'goal':>18} {0.95:6.2f} {0.95:6.2f} {0.70:6.2f} {4.0:6.1f} {'':>6} {'':>7} {0.20:6.2f} {30:8.0f}"
FALLS_BY = 0.1  # a row may fall by a tenth under a degradation; more is marked


def line(name: str, score: CrackScore, seconds: float) -> str:
    """One row of the table."""
    return (
        f"{name:>18} {score.precision:6.3f} {score.wide_recall:6.3f} {score.hairline_recall:6.3f}"
        f" {score.tip_median:6.1f} {score.width_abs:6.3f} {score.width_bias:+7.3f} {score.width_px:6.2f}"
        f" {score.false_per_m2:8.0f} {seconds:7.2f}"
    )


def fallen(score: CrackScore, before: CrackScore) -> str:
    """Names of the shares that fell by more than a tenth of what they were."""
    names = {"precision": "prec", "wide_recall": "wide R", "hairline_recall": "hair R"}
    worse = [
        label for name, label in names.items() if getattr(score, name) < (1 - FALLS_BY) * getattr(before, name)
    ]
    return f"  << {', '.join(worse)} down by more than a tenth" if worse else ""


def together(scores: list[CrackScore]) -> CrackScore:
    """All photos as one: shares weighted by length, medians averaged over photos."""

    def weighted(values: list[float], weights: list[float]) -> float:
        pairs = [(v, w) for v, w in zip(values, weights, strict=True) if not np.isnan(v) and w > 0]
        return sum(v * w for v, w in pairs) / sum(w for _, w in pairs) if pairs else np.nan

    def column(name: str) -> list[float]:
        return [getattr(score, name) for score in scores]

    ones = [1.0] * len(scores)
    weights = {
        "precision": column("found_mm"),
        "wide_recall": column("wide_mm"),
        "hairline_recall": column("hairline_mm"),
        "tip_median": column("tips"),
    }
    names = (
        "precision",
        "wide_recall",
        "hairline_recall",
        "tip_median",
        "width_abs",
        "width_bias",
        "width_px",
        "false_per_m2",
    )
    means = [weighted(column(name), weights.get(name, ones)) for name in names]
    return CrackScore(
        *means,
        sum(column("found_mm")),
        sum(column("wide_mm")),
        sum(column("hairline_mm")),
        sum(scores_tips(scores)),
    )


def scores_tips(scores: list[CrackScore]) -> list[int]:
    """Number of tips asked of each photo."""
    return [score.tips for score in scores]


Photos = list[tuple[str, dict[str, Any], ImageArray]]


def photos_of(folder: Path, only: list[str]) -> Photos:
    """(name, truth, BGR picture) of each photo with truth in a folder."""
    return [
        (file.stem, json.loads(file.read_text()), np.asarray(cv2.imread(str(file.with_suffix(".jpg"))), np.uint8))
        for file in sorted(folder.glob("*.json"))
        if file.with_suffix(".jpg").exists() and (not only or file.stem in only)
    ]


def slabs_table(photos: Photos, finder: Finder, degrade: bool, overlays: Path | None) -> None:
    """Print the table for rendered photos; with `degrade` once more for each way of making them worse."""
    print(HEADER + "\n" + GOALS)
    before = None
    for name, change in degradations().items():
        rows = []
        for stem, truth, photo in photos:
            overlay = overlays / f"{stem}.png" if overlays and before is None else None
            rows.append(scored(truth, change(photo), finder, overlay))
            if before is None:
                print(line(stem, *rows[-1]), flush=True)
        before = _row(name, rows, before)
        if not degrade:
            return
    _row("half resolution", [scored(*half_resolution(truth, photo), finder) for _, truth, photo in photos], before)


def _row(name: str, rows: list[tuple[CrackScore, float]], before: CrackScore | None) -> CrackScore:
    """Print all photos as one; returns the score that later rows are compared with."""
    score = together([score for score, _ in rows])
    seconds = float(np.mean([seconds for _, seconds in rows]))
    print(line(name, score, seconds) + ("" if before is None else fallen(score, before)), flush=True)
    return before or score


def speed_table(photos: Photos, megapixels: float, names: list[str]) -> None:
    """Print time and memory of each finder on the first photo, enlarged; each in a process of its own."""
    _, truth, photo = photos[0]
    picture, origin = rectified(truth, photo)
    wood = wood_mask(truth, picture.shape, origin)
    times = float(np.sqrt(megapixels * 1e6 / wood.size))
    image = cv2.resize(picture, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC)[:, :, ::-1]
    mask = cv2.resize(wood.astype(np.uint8), image.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "picture.npz"
        np.savez(file, image=image, wood=mask, mm_per_px=truth["mm_per_px"] / times)
        print(f"{mask.size / 1e6:.1f} megapixels, of them {mask.mean():.0%} wood")
        print(f"{'finder':>22} {'wall s':>7} {'CPU s':>7} {'process s':>9} {'peak MB':>8} {'more MB':>8}")
        for name in names:
            cost = cost_of(name, file)
            print(
                f"{name:>22} {cost['wall_s']:7.2f} {cost['cpu_s']:7.2f} {cost['process_s']:9.2f}"
                f" {cost['peak_mb']:8.0f} {cost['more_mb']:8.0f}",
                flush=True,
            )


def main() -> None:
    """Parse the command line and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--boards", type=Path)
    parser.add_argument("--only", default="")
    parser.add_argument("--degrade", action="store_true")
    parser.add_argument("--baseline", action="store_true")
    parser.add_argument("--lines", action="store_true")
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--megapixels", type=float, default=12.0)
    parser.add_argument("--overlays", type=Path)
    chosen = parser.parse_args()
    names = ["crackmap", *["crackmap, lines alone"] * chosen.lines, *["scikit-image script"] * chosen.baseline]
    if chosen.overlays:
        chosen.overlays.mkdir(parents=True, exist_ok=True)
    photos = photos_of(chosen.folder, [name for name in chosen.only.split(",") if name]) if chosen.folder else []
    if photos and chosen.speed:
        speed_table(photos, chosen.megapixels, names)
        return
    for name in names:
        print(f"\n{name}")
        finder, overlays = FINDERS[name](), chosen.overlays if name == "crackmap" else None
        if photos:
            slabs_table(photos, finder, chosen.degrade, overlays)
        if chosen.boards:
            boards_table(chosen.boards, finder, overlays)


if __name__ == "__main__":
    main()
