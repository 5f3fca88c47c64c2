"""Tables of how well cracks are found: photo by photo, all together, and on photos made worse."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.crack_score import CrackScore, score_cracks
from tests.benchmarks.crack_speed import Finder
from tests.benchmarks.degraded import degradations, half_resolution
from tests.benchmarks.truth_view import rectified, wood_mask
from tests.truth import Truth

ImageArray = NDArray[np.uint8]
Row = tuple[CrackScore, float]
HEADER = (
    f"{'photo':>18} {'prec':>6} {'wide R':>6} {'hair R':>6} {'tips':>6} {'w abs':>6} {'w bias':>7}"
    f" {'w px':>6} {'false/m2':>8} {'s/12MP':>7}"
)
GOALS = f"{'goal':>18} {0.95:6.2f} {0.95:6.2f} {0.70:6.2f} {4.0:6.1f} {'':>6} {'':>7} {0.20:6.2f} {30:8.0f}"
FALLS_BY = 0.1  # a figure may worsen by a tenth under a degradation; more is marked
SHARES = {"precision": "prec", "wide_recall": "wide R", "hairline_recall": "hair R"}  # the more the better
ERRORS = {"tip_median": "tips", "width_abs": "w abs", "false_per_m2": "false/m2"}  # the less the better


def photo_of(truth: Truth) -> ImageArray:
    """The photo of a truth, BGR."""
    return np.asarray(cv2.imread(str(truth.photo)), np.uint8)


def scored(truth: Truth, photo: ImageArray, finder: Finder, overlay: Path | None = None) -> Row:
    """One photo's figures and the finder's CPU seconds per 12 megapixels of picture."""
    picture, origin = rectified(truth, photo)
    mask = wood_mask(truth, picture.shape, origin)
    rgb = np.ascontiguousarray(picture[:, :, ::-1])
    begun = time.process_time()
    found = finder(rgb, truth.mm_per_px, mask)
    spent = (time.process_time() - begun) * 12e6 / mask.size
    if overlay is not None:
        draw_overlay(picture, truth, origin, found, overlay)
    step = truth.mm_per_px
    return score_cracks(truth.form, [(c.centreline * step + origin, c.width * step) for c in found]), spent


def draw_overlay(
    picture: ImageArray, truth: Truth, origin: NDArray[np.float64], found: list[Any], file: Path
) -> None:
    """Found cracks in red with their confidence, true ones in green beside them (shifted by 4 px)."""
    drawn = picture.copy()
    for crack in truth.form["cracks"]:
        pixels = (np.array(crack["centreline_mm"]) - origin) / truth.mm_per_px + 4
        cv2.polylines(drawn, [np.rint(pixels * 8).astype(np.int32)], False, (0, 220, 0), 1, cv2.LINE_AA, 3)
    for found_crack in found:
        pixels = np.rint(found_crack.centreline * 8).astype(np.int32)
        cv2.polylines(drawn, [pixels], False, (0, 0, 255), 1, cv2.LINE_AA, 3)
        at = found_crack.centreline[len(found_crack.centreline) // 2].astype(int) + [4, -6]
        text = f"{found_crack.confidence:.2f}"
        cv2.putText(drawn, text, tuple(at), 0, 0.4, (255, 0, 255), 1, cv2.LINE_AA)
    cv2.imwrite(str(file), drawn)


def line(name: str, score: CrackScore, seconds: float) -> str:
    """One row of the table."""
    return (
        f"{name:>18} {score.precision:6.3f} {score.wide_recall:6.3f} {score.hairline_recall:6.3f}"
        f" {score.tip_median:6.1f} {score.width_abs:6.3f} {score.width_bias:+7.3f} {score.width_px:6.2f}"
        f" {score.false_per_m2:8.0f} {seconds:7.2f}"
    )


def worsened(score: CrackScore, before: CrackScore) -> list[str]:
    """The figures that are worse by more than a tenth of what they were, each with its change in per cent."""
    marked = []
    for name, label in (SHARES | ERRORS).items():
        now, then = getattr(score, name), getattr(before, name)
        change = (now - then) / then if then > 0 else 0.0
        if (change if name in ERRORS else -change) > FALLS_BY:
            marked.append(f"{label} {change:+.0%}")
    return marked


def together(scores: list[CrackScore]) -> CrackScore:
    """All photos as one: shares weighted by length, false length by area, medians averaged over photos."""

    def weighted(name: str, weights: list[float]) -> float:
        pairs = [(getattr(s, name), w) for s, w in zip(scores, weights, strict=True)]
        known = [(value, weight) for value, weight in pairs if not np.isnan(value) and weight > 0]
        return sum(value * weight for value, weight in known) / sum(w for _, w in known) if known else np.nan

    def column(name: str) -> list[float]:
        return [float(getattr(score, name)) for score in scores]

    ones = [1.0] * len(scores)
    return CrackScore(
        precision=weighted("precision", column("found_mm")),
        wide_recall=weighted("wide_recall", column("wide_mm")),
        hairline_recall=weighted("hairline_recall", column("hairline_mm")),
        tip_median=weighted("tip_median", column("tips")),
        width_abs=weighted("width_abs", ones),
        width_bias=weighted("width_bias", ones),
        width_px=weighted("width_px", ones),
        false_per_m2=weighted("false_per_m2", column("area_m2")),
        found_mm=sum(column("found_mm")),
        wide_mm=sum(column("wide_mm")),
        hairline_mm=sum(column("hairline_mm")),
        tips=sum(score.tips for score in scores),
        area_m2=sum(column("area_m2")),
    )


def slabs_table(truths: list[Truth], finder: Finder, overlays: Path | None) -> list[Row]:
    """Print a row for each photo and one for all; returns the photos' rows."""
    print(HEADER + "\n" + GOALS)
    rows = []
    for truth in truths:
        overlay = overlays / f"{truth.photo.stem}.png" if overlays else None
        rows.append(scored(truth, photo_of(truth), finder, overlay))
        print(line(truth.photo.stem, *rows[-1]), flush=True)
    _print_together("as taken", rows)
    return rows


def degraded_table(truths: list[Truth], finder: Finder, before: list[Row]) -> None:
    """Print a row for all photos under each degradation, and which figures of all and of single photos worsened."""
    changes: dict[str, Callable[[Truth, ImageArray], tuple[Truth, ImageArray]]] = {
        name: lambda truth, photo, change=change: (truth, change(photo))  # type: ignore[misc]
        for name, change in list(degradations().items())[1:]
    }
    for name, change in (changes | {"half resolution": half_resolution}).items():
        rows = [scored(*change(truth, photo_of(truth)), finder) for truth in truths]
        marked = worsened(_print_together(name, rows), together([score for score, _ in before]))
        if marked:
            print(f"{'':>18} worse by more than a tenth: {', '.join(marked)}")
        for truth, (score, _), (then, _) in zip(truths, rows, before, strict=True):
            lost = [text for text in worsened(score, then) if text.split(" ")[0] not in ("tips", "w")]
            if lost:
                print(f"{'':>18}   {truth.photo.stem}: {', '.join(lost)}", flush=True)


def _print_together(name: str, rows: list[Row]) -> CrackScore:
    score = together([score for score, _ in rows])
    print(line(name, score, float(np.mean([seconds for _, seconds in rows]))), flush=True)
    return score
