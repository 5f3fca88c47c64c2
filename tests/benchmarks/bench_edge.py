"""How well the slab's edge and the voids are found, on photos with exact truth.

    python -m tests.benchmarks.bench_edge FOLDER [FOLDER ...] [--only NAME,...] [--degrade] [--pictures OUT]

Photos are rectified by their true camera, so that errors of scale do not enter.
Edge: overlap (IoU) and distance between outlines, both ways, at 1 mm steps.
Voids: those of 100 mm2 and more that nothing lying on the slab hides by half or
more; found means overlapping at all, false means a found one that overlaps no
true one.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from crackmap.errors import SurveyError
from crackmap.records import RectifiedPhoto
from crackmap.settings import SurveySettings
from crackmap.survey.face import Face, measure_face
from tests.benchmarks.truth_view import TruthView, read_rgb, truth_views

Image = NDArray[np.uint8]


@dataclass(frozen=True)
class Figures:
    """One photo's figures: edge [-, mm], voids, seconds of processor time."""

    iou: float
    mean: float
    p95: float
    most: float
    voids: int
    found: int
    void_iou: float  # of the worst one; 1 where there is none
    overlaps: tuple[float, ...]  # IoU of each void
    false: int
    cpu: float


def _valid(points: NDArray[np.float64]) -> Polygon:
    polygon = Polygon(points)
    if polygon.is_valid:
        return polygon
    mended = polygon.buffer(0)
    return max(getattr(mended, "geoms", [mended]), key=lambda g: g.area)


def edge_distances(a: Polygon, b: Polygon) -> NDArray[np.float64]:
    """Distances between two outlines, both ways, at 1 mm steps. [mm]"""
    rims = [LineString(p.exterior.coords) for p in (a, b)]
    out = []
    for rim, other in (rims, rims[::-1]):
        shapely.prepare(other)
        steps = np.arange(0.5, rim.length, 1.0)
        out.append(shapely.distance(other, shapely.line_interpolate_point(rim, steps)))
    return np.concatenate(out)


def _is_hidden(hole: Polygon, view: TruthView) -> bool:
    """Whether a marker's paper, a sheet or a rule covers half of it or more."""
    things = [r["outer_mm"] for r in view.truth.form["references"] if r["where"] == "top"]
    covered = shapely.union_all([_valid(np.array(thing) * [1, -1]) for thing in things])
    return bool(hole.intersection(covered).area >= 0.5 * hole.area)


def figures(view: TruthView, face: Face, cpu: float) -> Figures:
    """Found face against the truth."""
    true, found = _valid(view.outline), _valid(face.outline)
    distance = edge_distances(true, found)
    holes = [hole for hole in map(_valid, view.voids) if not _is_hidden(hole, view)]
    all_holes = [_valid(np.array(v["polygon_mm"]) * [1, -1]) for v in view.truth.form["voids"]]
    guesses = [_valid(v) for v in face.voids]
    overlaps = [max((h.intersection(g).area / h.union(g).area for g in guesses), default=0.0) for h in holes]
    false = sum(not any(g.intersects(h) for h in all_holes) for g in guesses)
    return Figures(
        true.intersection(found).area / true.union(found).area,
        float(distance.mean()),
        float(np.percentile(distance, 95)),
        float(distance.max()),
        len(holes),
        sum(o > 0.1 for o in overlaps),
        min(overlaps, default=1.0),
        tuple(overlaps),
        false,
        cpu,
    )


def measured(rectified: RectifiedPhoto, settings: SurveySettings) -> tuple[Face, float]:
    """The face and the processor time it took. [s]"""
    start = time.process_time()
    face = measure_face(rectified, settings)
    return face, time.process_time() - start


def _exposed(factor: float) -> Callable[[Image], Image]:
    """As if exposed `factor` times as long: in linear light, clipped."""
    code = np.arange(256) / 255
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4) * factor
    back = np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    table = np.clip(np.round(back * 255), 0, 255).astype(np.uint8)
    return lambda image: cv2.LUT(image, table)


def _jpeg60(image: Image) -> Image:
    return cv2.imdecode(cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 60])[1], cv2.IMREAD_COLOR)


def _noisy(image: Image) -> Image:
    noise = np.random.default_rng(1).normal(0, 8, image.shape).astype(np.float32)
    return np.clip(image + noise, 0, 255).astype(np.uint8)


def _warm(image: Image) -> Image:
    """White balance about 1,000 K off near daylight: red up, blue down by about a tenth in code value."""
    return np.clip(image * np.array([1.07, 1.0, 0.90]), 0, 255).astype(np.uint8)


def _shaded(image: Image) -> Image:
    """A soft-edged shadow band that takes 55 % of the light, slantwise over slab and bench."""
    height, width = image.shape[:2]
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    across = (x + 0.6 * y) / width - 0.75
    shade = 1 - 0.55 / (1 + np.exp(np.clip((np.abs(across) - 0.09) * width / 12, -30, 30)))
    code = np.arange(256) / 255
    light = cv2.LUT(image, (code**2.2).astype(np.float32)) * shade[..., None]
    return np.round(np.power(light, 1 / 2.2) * 255).astype(np.uint8)


def _halved(image: Image) -> Image:
    return cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)


DEGRADATIONS: dict[str, Callable[[Image], Image]] = {
    "jpeg 60": _jpeg60,
    "half size": _halved,
    "noise 8": _noisy,
    "1000 K warm": _warm,
    "1 stop over": _exposed(2.0),
    "1 stop under": _exposed(0.5),
    "cast shadow": _shaded,
}


def _draw(path: Path, view: TruthView, rectified: RectifiedPhoto, face: Face) -> None:
    """Truth green, found magenta, on the rectified picture."""
    canvas = rectified.pixels[..., ::-1].copy()
    for rings, colour in (
        ([view.outline, *view.voids], (0, 255, 0)),
        ([face.outline, *face.voids], (255, 0, 255)),
    ):
        for ring in rings:
            points = np.round(rectified.mapping.to_pixels(ring) * 16).astype(np.int32)
            cv2.polylines(canvas, [points], True, colour, 1, cv2.LINE_AA, shift=4)
    cv2.imwrite(str(path), canvas)


_HEAD = (
    f"{'photo':<14}{'view':<14}{'IoU':>8}{'mean':>8}{'p95':>8}{'max':>8}  {'voids':>6}{'IoU':>7}"
    f"{'false':>6}{'cpu s':>7}"
)


def _row(name: str, kind: str, f: Figures) -> str:
    return (
        f"{name:<14}{kind:<14}{f.iou:>8.4f}{f.mean:>8.2f}{f.p95:>8.2f}{f.most:>8.1f}  "
        f"{f'{f.found}/{f.voids}':>6}{f.void_iou:>7.2f}{f.false:>6}{f.cpu:>7.2f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--only", default="", help="names, parted by commas")
    parser.add_argument("--degrade", action="store_true", help="also under each degradation")
    parser.add_argument("--pictures", type=Path, help="folder for overlays")
    options = parser.parse_args()
    wanted = set(filter(None, options.only.split(",")))
    kinds: dict[str, Callable[[Image], Image]] = {"as taken": lambda image: image}
    if options.degrade:
        kinds |= DEGRADATIONS
    print(_HEAD)
    rows: dict[str, list[Figures]] = {}
    for folder in options.folders:
        for view in truth_views(folder):
            if wanted and view.name not in wanted:
                continue
            photo = read_rgb(folder / f"{view.name}.jpg")
            for kind, change in kinds.items():
                changed = change(photo)
                rectified = view.rectify(changed, changed.shape[1] / photo.shape[1])
                try:
                    face, cpu = measured(rectified, SurveySettings())
                except SurveyError as error:
                    print(f"{view.name:<14}{kind:<14}refused: {error}")
                    rows.setdefault(kind, []).append(Figures(0, 99, 99, 99, len(view.voids), 0, 0, (), 0, 0))
                    continue
                row = figures(view, face, cpu)
                rows.setdefault(kind, []).append(row)
                print(_row(view.name, kind, row), flush=True)
                if options.pictures and kind == "as taken":
                    options.pictures.mkdir(parents=True, exist_ok=True)
                    _draw(options.pictures / f"{view.name}.png", view, rectified, face)
    for kind, group in rows.items():
        print(_summary(kind, group))


def _summary(kind: str, group: list[Figures]) -> str:
    ious, means = [f.iou for f in group], [f.mean for f in group]
    found = [o for f in group for o in f.overlaps if o > 0.1] or [1.0]
    return (
        f"{'all':<14}{kind:<14}IoU median {np.median(ious):.4f} worst {min(ious):.4f}; "
        f"mean distance median {np.median(means):.2f} worst {max(means):.2f} mm; "
        f"voids {sum(f.found for f in group)}/{sum(f.voids for f in group)}, "
        f"IoU of the found median {np.median(found):.2f} worst {min(found):.2f}, "
        f"{sum(o >= 0.85 for o in found)} at 0.85 and more, false {sum(f.false for f in group)}"
    )


if __name__ == "__main__":
    main()
