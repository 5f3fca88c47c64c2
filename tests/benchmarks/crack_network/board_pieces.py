"""Real boards as training pictures: half of a folder of photographs with traced cracks, the rest is for judging."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.real_boards import board_mask

_NEAR_PX = 7  # a traced line is trusted to about 5 px; the gap's dark core lies within this
_DOUBTFUL_PX = 18  # round a traced line: neither crack nor sound wood
_DOUBT = 12  # mask value that the loss leaves out [1/255]


def fitted_names(files: list[Path]) -> list[Path]:
    """The files that may be fitted on: the first half by name."""
    return sorted(files)[: len(files) // 2]


def board_pictures(folder: Path) -> list[NDArray[np.uint8]]:
    """Pictures with masks, shape (H, W, 7) as training pieces have them, of half of the folder's boards.

    `folder` holds crack/ with centrelines.json and clean/, as bench_cracks --boards reads them.
    """
    traced = json.loads((folder / "crack" / "centrelines.json").read_text())
    pictures = []
    for file in fitted_names(list((folder / "crack").glob("*.jpg"))):
        picture = cv2.imread(str(file))
        ignored = cv2.imread(str(file.with_name(f"{file.stem}_ignore.png")), cv2.IMREAD_GRAYSCALE) > 0
        pictures.append(_with_masks(picture, [np.array(line["points"]) for line in traced[file.stem]], ignored))
    for file in fitted_names(list((folder / "clean").glob("*.jpg"))):
        picture = cv2.imread(str(file))
        pictures.append(_with_masks(picture, [], np.zeros(picture.shape[:2], bool)))
    return pictures


def _with_masks(
    picture: NDArray[np.uint8], lines: list[NDArray[np.float64]], ignored: NDArray[np.bool_]
) -> NDArray[np.uint8]:
    crack = _crack_mask(picture, lines)
    crack[ignored & (crack == 0)] = _DOUBT
    face = 255 * board_mask(picture).astype(np.uint8)
    none = np.zeros_like(crack)
    return np.dstack([picture[:, :, ::-1], crack, none, face, none])


def _crack_mask(picture: NDArray[np.uint8], lines: list[NDArray[np.float64]]) -> NDArray[np.uint8]:
    """255 in the dark core beside a traced line, a doubtful value round it."""
    rows, columns = picture.shape[:2]
    grey = cv2.GaussianBlur(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), (0, 0), 1.2).astype(np.float32)
    drawn = np.zeros((rows, columns), np.uint8)
    for line in lines:
        cv2.polylines(drawn, [np.rint(line).astype(np.int32)], False, 1)
    away = cv2.distanceTransform(1 - drawn, cv2.DIST_L2, 5) if lines else np.full((rows, columns), 1e6, np.float32)
    nearby = cv2.blur(grey, (61, 61))
    darkest = cv2.erode(grey, np.ones((2 * _NEAR_PX + 1, 2 * _NEAR_PX + 1), np.uint8))
    core = (away <= _NEAR_PX) & (grey < (nearby + darkest) / 2)
    return np.where(core, 255, np.where(away <= _DOUBTFUL_PX, _DOUBT, 0)).astype(np.uint8)
