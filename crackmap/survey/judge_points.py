"""What is measured at every point of a line: darkness, colour, sides, width, direction."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.grain_field import GrainField
from crackmap.survey.profile import FloatArray, Path, profiles
from crackmap.survey.ridge import CELL_PX, STRENGTH_UNIT, LineMap
from crackmap.survey.tone import WoodValue, sample, tone_at
from crackmap.survey.width_model import RELATIVE, fitted_width, inputs_of, read_outputs, window_of

SIDE_SAMPLES = np.array([0.4, 0.8, 1.2, 1.6])  # beyond the lips, in half-widths of at least 1.5 px
CORE_SAMPLES = np.array([-0.5, -0.25, 0.0, 0.25, 0.5])  # in half-widths
FAR_SAMPLES = np.array([3.0, 4.5, 6.0])  # px beyond the lips: does the wood differ from side to side?
FLANK_SAMPLES = np.array([0.6, 0.8])


def rough_widths(lines: LineMap, points: FloatArray) -> FloatArray:
    """Width that the best answering scale stands for, at each point. [px] `points` has shape (N, 2)."""
    column = np.clip(np.rint(points[:, 0]).astype(int), 0, lines.width.shape[1] - 1)
    row = np.clip(np.rint(points[:, 1]).astype(int), 0, lines.width.shape[0] - 1)
    return np.asarray(lines.width[row, column] / 4.0)


def point_features(
    image: NDArray[np.uint8], seen: WoodValue, lines: LineMap, grain: GrainField, path: Path
) -> dict[str, FloatArray]:
    """Named measures at every point of `path`, shape (N,) each."""
    width = np.clip(rough_widths(lines, path.points), 2.5, None)
    half = width / 2
    tone = np.maximum(tone_at(seen.tone, path.points[:, 0], path.points[:, 1]), 4.0)
    core = profiles(image, path, half[:, None] * CORE_SAMPLES)
    reach = half[:, None] + np.maximum(half, 1.5)[:, None] * SIDE_SAMPLES
    left, right = profiles(image, path, -reach), profiles(image, path, reach)
    flank = 0.5 * (
        profiles(image, path, half[:, None] * FLANK_SAMPLES) + profiles(image, path, -half[:, None] * FLANK_SAMPLES)
    )
    beyond = half[:, None] + FAR_SAMPLES
    far_left, far_right = (profiles(seen.value, path, sign * beyond).mean(1) for sign in (-1.0, 1.0))
    core_value = np.sort(core.max(2), axis=1)[:, :3].mean(1)
    left_value, right_value = left.max(2).mean(1), right.max(2).mean(1)
    sides = 0.5 * (left + right).mean(1)
    middle = core.mean(1)
    column = np.clip(np.rint(path.points[:, 0]).astype(int), 0, lines.strength.shape[1] - 1)
    row = np.clip(np.rint(path.points[:, 1]).astype(int), 0, lines.strength.shape[0] - 1)
    angle, coherence = grain.at(path.points)
    tangent = np.arctan2(-path.normals[:, 0], path.normals[:, 1])
    side_value = np.maximum(0.5 * (left_value + right_value), 4.0)
    return {
        "strength": np.log1p(lines.strength[row, column] / STRENGTH_UNIT),
        "depth": 1 - core_value / side_value,
        "both": 1 - core_value / np.maximum(np.minimum(left_value, right_value), 4.0),
        "asymmetry": np.abs(left_value - right_value) / side_value,
        "core": np.sqrt(core_value / 255.0),
        "share": core_value / tone,
        "chroma_core": _chroma(middle),
        "chroma_sides": _chroma(sides),
        "red_blue": _log_ratio(middle, sides, 0, 2),
        "red_green": _log_ratio(middle, sides, 0, 1),
        "flank": (flank.max(2).mean(1) - core_value) / np.maximum(side_value - core_value, 4.0),
        "scatter": np.hypot(left.max(2).std(1), right.max(2).std(1)) / side_value,
        "width": np.log(width),
        "tangent": tangent,
        "to_grain": np.abs(np.sin(tangent - angle)),
        "from_grain": np.sin(2 * (tangent - angle)) * 0.5,
        "step": (far_left - far_right) / np.maximum(far_left + far_right, 8.0),
        "coherence": coherence,
        **_gap(seen, path, width),
        "crowding": _crowding(lines, path.points),
        "tone": np.sqrt(tone / 255.0),
    }


def _chroma(colour: FloatArray) -> FloatArray:
    return np.asarray((colour.max(1) - colour.min(1)) / np.maximum(colour.max(1), 8.0))


def _log_ratio(core: FloatArray, sides: FloatArray, a: int, b: int) -> FloatArray:
    """How the ratio of channels `a` and `b` changes from the sides to the core."""
    core, sides = core + 8.0, sides + 8.0
    return np.asarray(np.log(core[:, a] / core[:, b]) - np.log(sides[:, a] / sides[:, b]))


def _crowding(lines: LineMap, points: FloatArray) -> FloatArray:
    """Share of the neighbourhood that answers as a line: grain comes in crowds, cracks alone."""
    cell = 2 * CELL_PX
    size = (max(lines.strength.shape[1] // cell, 1), max(lines.strength.shape[0] // cell, 1))
    busy = cv2.resize(
        (lines.strength > 0.7 * STRENGTH_UNIT).view(np.uint8) * np.uint8(255),
        size,
        interpolation=cv2.INTER_AREA,
    )
    spread = cv2.blur(busy.astype(np.float32) / 255.0, (5, 5))
    columns = ((points[:, :1] + 0.5) / cell - 0.5).astype(np.float32)
    rows = ((points[:, 1:] + 0.5) / cell - 0.5).astype(np.float32)
    return np.asarray(sample(spread, columns, rows).ravel(), np.float64)


def _gap(seen: WoodValue, path: Path, rough: FloatArray) -> dict[str, FloatArray]:
    """Width by the fitted measure, its doubt, and how steeply the less steep of the two lips falls."""
    window = window_of(rough)
    light = (profiles(seen.value, path, window[:, None] * RELATIVE).astype(float) / 255.0) ** 2.2
    rows = inputs_of(light, rough)
    width, sigma, _ = read_outputs(fitted_width().outputs(rows), rough)
    taken = 1 - rows[:, : len(RELATIVE)]
    fall = np.diff(taken, axis=1) / (window[:, None] * (RELATIVE[1] - RELATIVE[0]))
    middle = len(RELATIVE) // 2
    lips = np.minimum(fall[:, : middle + 2].max(1), (-fall[:, middle - 2 :]).max(1))
    return {
        "gap": np.log(np.maximum(width, 0.1)),
        "gap_doubt": np.log(sigma / np.maximum(width, 0.3)),
        "steepness": np.log(np.maximum(lips, 0.005) / np.maximum(taken.max(1), 0.05)),
    }
