"""Scores on photographs of real sawn boards, whose centrelines a person has traced.

Score: found centreline pixels within 6 px of a traced line are right, traced
points within 6 px of a found line are found; pixels in an image's ignore mask
count neither way. On clean boards every pixel of found centreline is false.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

NOMINAL_MM_PER_PX = 0.25
TOLERANCE_PX = 6.0
Finder = Callable[[NDArray[np.uint8], float, NDArray[np.bool_] | None], list[Any]]


def board_mask(picture: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """The board on its dark conveyor: the largest bright area, its holes filled."""
    grey = cv2.GaussianBlur(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), (0, 0), 3)
    _, bright = cv2.threshold(grey, 0, 1, cv2.THRESH_OTSU)
    bright = cv2.morphologyEx(bright, cv2.MORPH_CLOSE, np.ones((41, 41), np.uint8))
    outlines, _ = cv2.findContours(bright, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    mask = np.zeros(grey.shape, np.uint8)
    cv2.drawContours(mask, [max(outlines, key=cv2.contourArea)], -1, 1, cv2.FILLED)
    return np.asarray(cv2.erode(mask, np.ones((9, 9), np.uint8), borderValue=1), bool)


def pixels_of(centrelines: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Points one a pixel along polylines."""
    points = [np.zeros((0, 2))]
    for line in centrelines:
        along = np.r_[0, np.cumsum(np.hypot(*np.diff(line, axis=0).T))]
        at = np.arange(0.5, max(along[-1], 1.0))
        points.append(np.stack([np.interp(at, along, line[:, k]) for k in (0, 1)], 1))
    return np.concatenate(points)


def boards_table(folder: Path, finder: Finder, overlays: Path | None) -> None:
    """Print F1 on boards with cracks and false centreline on clean ones."""
    traced = json.loads((folder / "crack" / "centrelines.json").read_text())
    right = found_total = seen = true_total = 0
    for name, lines in traced.items():
        picture = np.asarray(cv2.imread(str(folder / "crack" / f"{name}.jpg")), np.uint8)
        ignored = np.asarray(cv2.imread(str(folder / "crack" / f"{name}_ignore.png"), cv2.IMREAD_GRAYSCALE))
        ignore = np.asarray(ignored > 0, bool)
        truth = pixels_of([np.array(line["points"], float) for line in lines])
        found = _found(picture, finder, overlays, name, truth)
        truth, found = _outside(truth, ignore), _outside(found, ignore)
        hits = int((cKDTree(truth).query(found)[0] <= TOLERANCE_PX).sum()) if len(found) and len(truth) else 0
        covered = int((cKDTree(found).query(truth)[0] <= TOLERANCE_PX).sum()) if len(found) else 0
        print(
            f"{name:>12} found {len(found):5d} right {hits:5d} | true {len(truth):5d} seen {covered:5d}",
            flush=True,
        )
        right, found_total, seen, true_total = (
            right + hits,
            found_total + len(found),
            seen + covered,
            true_total + len(truth),
        )
    precision, recall = right / max(found_total, 1), seen / max(true_total, 1)
    score = 2 * precision * recall / max(precision + recall, 1e-9)
    print(f"boards with cracks: precision {precision:.3f} recall {recall:.3f} F1 {score:.3f}")
    clean = sorted((folder / "clean").glob("*.jpg"))
    false = [
        len(_found(np.asarray(cv2.imread(str(file)), np.uint8), finder, overlays, "clean_" + file.stem, None))
        for file in clean
    ]
    print(f"clean boards: false centreline {np.mean(false):.0f} px an image; each: {false}")


def _found(
    picture: NDArray[np.uint8],
    finder: Finder,
    overlays: Path | None,
    name: str,
    truth: NDArray[np.float64] | None,
) -> NDArray[np.float64]:
    cracks = finder(np.ascontiguousarray(picture[:, :, ::-1]), NOMINAL_MM_PER_PX, board_mask(picture))
    if overlays is not None:
        drawn = picture.copy()
        for point in truth if truth is not None else []:
            cv2.circle(drawn, (int(point[0]) + 8, int(point[1])), 1, (0, 220, 0), -1)
        for crack in cracks:
            cv2.polylines(
                drawn, [np.rint(crack.centreline).astype(np.int32)], False, (0, 0, 255), 2, cv2.LINE_AA
            )
            x, y = crack.centreline[len(crack.centreline) // 2].astype(int)
            cv2.putText(
                drawn, f"{crack.confidence:.2f}", (x + 6, y - 6), 0, 0.7, (255, 0, 255), 2, cv2.LINE_AA
            )
        cv2.imwrite(str(overlays / f"{name}.jpg"), drawn)
    return pixels_of([crack.centreline for crack in cracks])


def _outside(points: NDArray[np.float64], ignore: NDArray[np.bool_]) -> NDArray[np.float64]:
    column = np.clip(points[:, 0].astype(int), 0, ignore.shape[1] - 1)
    row = np.clip(points[:, 1].astype(int), 0, ignore.shape[0] - 1)
    return np.asarray(points[~ignore[row, column]])
