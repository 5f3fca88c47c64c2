"""What is measured on a piece of line to tell a crack from what only looks like one.

A line is cut into pieces of about `PIECE_PX`. Each piece gets a row of features:
its own, and some of the whole line's, so that a faint stretch of a plain crack
is judged by its company.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.grain_field import GrainField
from crackmap.survey.profile import FloatArray, Path, profiles
from crackmap.survey.ridge import CELL_PX, SCALES, STRENGTH_UNIT, LineMap
from crackmap.survey.tone import WoodValue, sample, tone_at

PIECE_PX = 20
SIDE_SAMPLES = np.array([0.4, 0.8, 1.2, 1.6])  # beyond the lips, in half-widths of at least 1.5 px
CORE_SAMPLES = np.array([-0.5, -0.25, 0.0, 0.25, 0.5])  # in half-widths
FAR_SAMPLES = np.array([3.0, 4.5, 6.0])  # px beyond the lips: does the wood differ from side to side?
BORDER_REACH_MM = 12.0  # lines that keep this near to the border are looked at with suspicion
FLANK_SAMPLES = np.array([0.6, 0.8])

FEATURES = (
    "strength", "strength_low", "strength_high", "depth", "depth_low", "depth_high", "both_sides", "asymmetry",
    "core_light", "core_share", "chroma_core", "chroma_sides", "red_blue", "red_green", "flank", "side_scatter",
    "log_width", "width_spread", "depth_spread", "turning", "to_grain", "coherence", "crowding", "line_length",
    "line_depth", "line_depth_high", "line_strength", "line_core_share", "line_width", "line_width_spread",
    "line_straightness", "line_to_grain", "line_to_grain_high", "line_step", "line_wander", "depth_rank", "border",
    "border_near", "border_along", "tone_level", "sharpness", "mm_per_px",
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Features of the pieces of several lines.

    Parameters
    ----------
    features : ndarray, shape (P, F)
        In the order of `FEATURES`. [-]
    line : ndarray of int, shape (P,)
        Which line each piece belongs to.
    first, last : ndarray of int, shape (P,)
        Its points on that line: first to last, the last left out.
    deep : float
        The depth that counts as deep in this picture. [-]
    """

    features: FloatArray
    line: NDArray[np.int64]
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    deep: float


def rough_widths(lines: LineMap, points: FloatArray) -> FloatArray:
    """Width that the best answering scale stands for, at each point. [px]"""
    column = np.clip(np.rint(points[:, 0]).astype(int), 0, lines.scale.shape[1] - 1)
    row = np.clip(np.rint(points[:, 1]).astype(int), 0, lines.scale.shape[0] - 1)
    by_scale = np.array([scale.sigma_px * np.sqrt(12.0) for scale in SCALES])
    return np.asarray(by_scale[lines.scale[row, column]])


def pieces_of(
    image: NDArray[np.uint8],
    seen: WoodValue,
    lines: LineMap,
    grain: GrainField,
    paths: list[Path],
    mm_per_px: float,
    deep: float | None = None,
) -> Pieces:
    """Features of all pieces of all `paths`.

    `deep` is the depth that counts as deep in this picture; that of the deeper
    tenth of the pieces if not given. [-]
    """
    every = Path(np.concatenate([p.points for p in paths]), np.concatenate([p.normals for p in paths]))
    line_of = np.repeat(np.arange(len(paths)), [len(p) for p in paths])
    point = _point_features(image, seen, lines, grain, every)
    starts, line, first, last = _cuts(paths)
    own = _over(point, starts, line_of)
    of_line = _line_features(point, paths)
    features = np.column_stack([own[name] for name in own] + [of_line[name][line] for name in of_line])
    deep = float(np.quantile(own["depth"], 0.9)) if deep is None else deep
    border = _ends_at_border(seen, paths)[line]
    near, along = _beside_border(seen, every, mm_per_px)
    size = last - first
    near, along = np.add.reduceat(near, starts) / size, np.add.reduceat(along, starts) / size
    tone = np.add.reduceat(point["tone"], starts) / size
    picture = np.broadcast_to([_sharpness(seen), np.log(mm_per_px * 2)], (len(line), 2))
    features = np.column_stack([features, own["depth"] - deep, border, near, along, tone, picture])
    return Pieces(features, line, first, last, deep)


def _point_features(
    image: NDArray[np.uint8], seen: WoodValue, lines: LineMap, grain: GrainField, path: Path
) -> dict[str, FloatArray]:
    width = np.clip(rough_widths(lines, path.points), 2.5, None)
    half = width / 2
    tone = np.maximum(tone_at(seen.tone, path.points[:, 0], path.points[:, 1]), 4.0)
    core = profiles(image, path, half[:, None] * CORE_SAMPLES)
    reach = half[:, None] + np.maximum(half, 1.5)[:, None] * SIDE_SAMPLES
    left, right = profiles(image, path, -reach), profiles(image, path, reach)
    flank = 0.5 * (
        profiles(image, path, half[:, None] * FLANK_SAMPLES)
        + profiles(image, path, -half[:, None] * FLANK_SAMPLES)
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


def _cuts(paths: list[Path]) -> tuple[NDArray[np.int64], ...]:
    """Where pieces start among all points, and each piece's line, first and last point."""
    starts, line, first, last = [], [], [], []
    before = 0
    for number, path in enumerate(paths):
        count = max(round(len(path) / PIECE_PX), 1)
        edges = np.linspace(0, len(path), count + 1).astype(int)
        starts.append(before + edges[:-1])
        line.append(np.full(count, number))
        first.append(edges[:-1])
        last.append(edges[1:])
        before += len(path)
    return tuple(np.concatenate(parts) for parts in (starts, line, first, last))


def _over(
    point: dict[str, FloatArray], starts: NDArray[np.int64], line_of: NDArray[np.int64]
) -> dict[str, FloatArray]:
    """Each piece's features from its points'."""
    size = np.diff(np.r_[starts, len(line_of)])

    def mean(name: str) -> FloatArray:
        return np.asarray(np.add.reduceat(point[name], starts) / size)

    def spread(name: str) -> FloatArray:
        square = np.add.reduceat(point[name] ** 2, starts) / size - mean(name) ** 2
        return np.sqrt(np.maximum(square, 0.0))

    turning = np.abs(np.diff(point["tangent"], prepend=point["tangent"][:1]))
    turning = np.minimum(turning, 2 * np.pi - turning)
    turning[np.diff(line_of, prepend=-1) != 0] = 0.0
    return {
        "strength": mean("strength"),
        "strength_low": np.minimum.reduceat(point["strength"], starts),
        "strength_high": np.maximum.reduceat(point["strength"], starts),
        "depth": mean("depth"),
        "depth_low": np.minimum.reduceat(point["depth"], starts),
        "depth_high": np.maximum.reduceat(point["depth"], starts),
        "both_sides": mean("both"),
        "asymmetry": mean("asymmetry"),
        "core_light": mean("core"),
        "core_share": mean("share"),
        "chroma_core": mean("chroma_core"),
        "chroma_sides": mean("chroma_sides"),
        "red_blue": mean("red_blue"),
        "red_green": mean("red_green"),
        "flank": np.clip(mean("flank"), -1, 2),
        "side_scatter": mean("scatter"),
        "log_width": mean("width"),
        "width_spread": spread("width"),
        "depth_spread": spread("depth"),
        "turning": np.add.reduceat(np.minimum(turning, 0.5), starts) / size * 10,
        "to_grain": mean("to_grain"),
        "coherence": mean("coherence"),
        "crowding": mean("crowding"),
    }


def _line_features(point: dict[str, FloatArray], paths: list[Path]) -> dict[str, FloatArray]:
    """Features of the whole lines, shape (L,) each."""
    rows = []
    before = 0
    for path in paths:
        own = slice(before, before + len(path))
        before += len(path)
        depth, share = point["depth"][own], point["share"][own]
        chord = np.hypot(*(path.points[-1] - path.points[0]))
        rows.append(
            (
                np.log(len(path)),
                depth.mean(),
                np.quantile(depth, 0.9),
                point["strength"][own].mean(),
                share.mean(),
                point["width"][own].mean(),
                point["width"][own].std(),
                chord / len(path),
                point["to_grain"][own].mean(),
                np.quantile(point["to_grain"][own], 0.9),
                abs(point["step"][own].mean()),
                point["from_grain"][own].std(),
            )  # fmt: skip
        )
    names = (
        "length",
        "depth",
        "depth_high",
        "strength",
        "core_share",
        "width",
        "width_spread",
        "straight",
        "to_grain",
    )
    names += ("to_grain_high", "step", "wander")
    return dict(zip(names, np.array(rows).T, strict=True))


def _ends_at_border(seen: WoodValue, paths: list[Path]) -> FloatArray:
    """1 for a line with an end at the border of the wood, 0 for others."""
    height, width = seen.wood.shape
    near = []
    for path in paths:
        touches = False
        for x, y in (path.points[0], path.points[-1]):
            low_x, high_x = int(max(x - 6, 0)), int(min(x + 7, width))
            low_y, high_y = int(max(y - 6, 0)), int(min(y + 7, height))
            inside = seen.wood[low_y:high_y, low_x:high_x].all()
            touches |= (not inside) or x < 6 or y < 6 or x > width - 7 or y > height - 7
        near.append(float(touches))
    return np.array(near)


def _beside_border(seen: WoodValue, path: Path, mm_per_px: float) -> tuple[FloatArray, FloatArray]:
    """How near each point is to the wood's border (1 on it, 0 far) and how much along it the line runs."""
    step = 4
    small = seen.wood[::step, ::step].astype(np.uint8)
    framed = np.pad(small, 1)  # the picture's own border counts
    distance = cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1] * step
    dx = cv2.GaussianBlur(cv2.Sobel(distance, cv2.CV_32F, 1, 0, scale=1 / 8 / step), (0, 0), 2)
    dy = cv2.GaussianBlur(cv2.Sobel(distance, cv2.CV_32F, 0, 1, scale=1 / 8 / step), (0, 0), 2)
    columns, rows = (path.points[:, k : k + 1].astype(np.float32) / step for k in (0, 1))
    away, slope_x, slope_y = (sample(m, columns, rows).ravel().astype(float) for m in (distance, dx, dy))
    near = np.clip(1 - away * mm_per_px / BORDER_REACH_MM, 0, 1)
    across = np.abs(slope_x * path.normals[:, 0] + slope_y * path.normals[:, 1])
    return near, near * np.clip(across, 0, 1)


def _sharpness(seen: WoodValue) -> float:
    """Log of fine over coarse unevenness of the picture: low where it is out of focus."""
    rows = seen.value[:: max(seen.value.shape[0] // 400, 1)].astype(np.float32)
    fine = np.abs(np.diff(rows, axis=1)).mean()
    coarse = np.abs(rows[:, 4:] - rows[:, :-4]).mean()
    columns = seen.value[:, :: max(seen.value.shape[1] // 400, 1)].astype(np.float32)
    fine = max(
        fine / max(coarse, 0.1),
        np.abs(np.diff(columns, axis=0)).mean() / max(np.abs(columns[4:] - columns[:-4]).mean(), 0.1),
    )
    return float(np.log(max(fine, 0.05)))
