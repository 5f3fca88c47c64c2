"""How well cracks are found and measured: a table for a folder of photos with truth.

    python -m tests.benchmarks.bench_cracks DIR [--only 001,002] [--degrade] [--baseline] [--overlays OUT]
    python -m tests.benchmarks.bench_cracks --boards DIR

Each photo is rectified by its true camera and searched inside its true outline,
less the true voids and what lies on the slab, so that the figures are the crack
finder's alone.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap import find_cracks
from tests.benchmarks.crack_score import CrackScore, score_cracks

MARGIN_MM = 20.0
ImageArray = NDArray[np.uint8]
Finder = Callable[[ImageArray, float, NDArray[np.bool_] | None], list[Any]]


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


def degradations() -> dict[str, Callable[[ImageArray], ImageArray]]:
    """The ways in which a photo is made worse, each on the photo file's own pixels."""

    def jpeg(photo: ImageArray) -> ImageArray:
        return cv2.imdecode(cv2.imencode(".jpg", photo, [cv2.IMWRITE_JPEG_QUALITY, 60])[1], cv2.IMREAD_COLOR)

    def noise(photo: ImageArray) -> ImageArray:
        grain = np.random.default_rng(1).normal(0, 8, photo.shape)
        return np.clip(photo + grain, 0, 255).astype(np.uint8)

    def gains(red: float, green: float, blue: float) -> Callable[[ImageArray], ImageArray]:
        def changed(photo: ImageArray) -> ImageArray:
            light = (photo / 255.0) ** 2.2 * [red, green, blue]
            return (np.clip(light, 0, 1) ** (1 / 2.2) * 255 + 0.5).astype(np.uint8)

        return changed

    def shadow(photo: ImageArray) -> ImageArray:
        height, width = photo.shape[:2]
        band = np.zeros((height, width), np.float32)
        corners = np.array([[0.3, 0], [0.45, 0], [0.7, 1], [0.5, 1]]) * [width, height]
        cv2.fillPoly(band, [corners.astype(np.int32)], 1.0)
        band = cv2.GaussianBlur(band, (0, 0), 3)[..., None]
        return ((photo / 255.0) ** 2.2 * (1 - 0.6 * band)) ** (1 / 2.2) * 255

    return {
        "as taken": lambda photo: photo,
        "JPEG 60": jpeg,
        "noise 8": noise,
        "warm 1000 K": gains(1.10, 1.0, 0.78),
        "one stop under": gains(0.5, 0.5, 0.5),
        "one stop over": gains(2.0, 2.0, 2.0),
        "cast shadow": lambda photo: shadow(photo).astype(np.uint8),
    }


def half_resolution(truth: dict[str, Any], photo: ImageArray) -> tuple[dict[str, Any], ImageArray]:
    """Photo and truth at half the pixels a side."""
    small = cv2.resize(photo, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    to_half = np.array([[0.5, 0, -0.25], [0, 0.5, -0.25], [0, 0, 1]])
    camera = dict(truth["camera"], K=(to_half @ np.array(truth["camera"]["K"])).tolist())
    matrix = (to_half @ np.array(truth["H_mm_to_undistorted_px"])).tolist()
    return dict(truth, camera=camera, H_mm_to_undistorted_px=matrix, mm_per_px=2 * truth["mm_per_px"]), small


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


def line(name: str, score: CrackScore, seconds: float) -> str:
    """One row of the table."""
    return (
        f"{name:>18} {score.precision:6.3f} {score.wide_recall:6.3f} {score.hairline_recall:6.3f}"
        f" {score.tip_median:6.1f} {score.width_abs:6.3f} {score.width_bias:+7.3f} {score.width_px:6.2f}"
        f" {score.false_per_m2:8.0f} {seconds:7.2f}"
    )


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


def slabs_table(folder: Path, only: list[str], finder: Finder, degrade: bool, overlays: Path | None) -> None:
    """Print the table for rendered photos."""
    photos = []
    for file in sorted(folder.glob("*.json")):
        if file.with_suffix(".jpg").exists() and (not only or file.stem in only):
            photos.append(
                (file.stem, json.loads(file.read_text()), cv2.imread(str(file.with_suffix(".jpg"))))
            )
    print(HEADER)
    for name, change in degradations().items():
        rows = []
        for stem, truth, photo in photos:
            overlay = overlays / f"{stem}.png" if overlays and name == "as taken" else None
            score, seconds = scored(truth, change(photo), finder, overlay)
            rows.append((score, seconds))
            if name == "as taken":
                print(line(stem, score, seconds), flush=True)
        print(
            line(name, together([score for score, _ in rows]), float(np.mean([s for _, s in rows]))),
            flush=True,
        )
        if not degrade:
            return
    rows = [scored(*half_resolution(truth, photo), finder) for _, truth, photo in photos]
    print(
        line("half resolution", together([score for score, _ in rows]), float(np.mean([s for _, s in rows])))
    )


def main() -> None:
    """Parse the command line and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--boards", type=Path)
    parser.add_argument("--only", default="")
    parser.add_argument("--degrade", action="store_true")
    parser.add_argument("--baseline", action="store_true")
    parser.add_argument("--overlays", type=Path)
    chosen = parser.parse_args()
    finder: Finder = find_cracks
    if chosen.baseline:
        from tests.benchmarks.baseline_script import find_cracks_simply

        finder = find_cracks_simply
    if chosen.overlays:
        chosen.overlays.mkdir(parents=True, exist_ok=True)
    only = [name for name in chosen.only.split(",") if name]
    if chosen.folder:
        slabs_table(chosen.folder, only, finder, chosen.degrade, chosen.overlays)
    if chosen.boards:
        from tests.benchmarks.real_boards import boards_table

        boards_table(chosen.boards, finder, chosen.overlays)


if __name__ == "__main__":
    main()
