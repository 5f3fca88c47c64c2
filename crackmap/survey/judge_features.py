"""What is measured on a piece of line to tell a crack from what only looks like one.

A line is cut into pieces of about `PIECE_PX`. Each piece gets a row of features:
its own, and some of the pieces before and after it, so that a faint piece of a
plain crack is judged by its company, and a grain line that a crack runs out
into, a few pieces on, by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.grain_field import GrainField
from crackmap.survey.judge_points import point_features
from crackmap.survey.profile import FloatArray, Path
from crackmap.survey.ridge import LineMap
from crackmap.survey.smooth_lines import smooth_lines
from crackmap.survey.tone import WoodValue, sample

PIECE_PX = 21
ROUGHNESS_SIGMA_PX = 6.0
EVERY = 3  # points looked at: neighbours differ too little to look at each
BORDER_REACH_MM = 12.0  # lines that keep this near to the border are looked at with suspicion

OWN = (
    "strength", "strength_low", "strength_high", "depth", "depth_low", "depth_high", "both_sides", "asymmetry",
    "core_light", "core_share", "chroma_core", "chroma_sides", "red_blue", "red_green", "flank", "side_scatter",
    "log_width", "width_spread", "depth_spread", "turning", "roughness", "to_grain", "coherence", "crowding",
    "gap", "gap_spread", "gap_doubt", "steepness", "border_near", "border_along",
)  # fmt: skip
STRETCH = (
    "stretch_strength", "stretch_depth", "stretch_depth_low", "stretch_depth_high", "stretch_core_share",
    "stretch_width", "stretch_gap", "stretch_gap_low", "stretch_gap_high", "stretch_gap_spread", "stretch_steepness",
    "stretch_to_grain", "stretch_to_grain_high", "stretch_wander", "stretch_roughness", "stretch_step",
)  # fmt: skip
WHOLE = ("line_length", "line_straightness", "border", "depth_rank", "tone_level", "sharpness", "mm_per_px")
FEATURES = OWN + STRETCH + WHOLE
STRETCH_PIECES = 3  # pieces either way that a stretch reaches
# With a network's chance of crack: what it says, and in what company a line runs.
# Drawn lines, and the black lines of rot, crowd and cross the grain; checks keep to it.
CHANCE = ("chance", "chance_near", "company_to_grain", "company_density", "company_chance")
FEATURES_WITH_CHANCE = FEATURES + CHANCE
COMPANY_CELL_MM = 12.0
COMPANY_CELLS = 7  # the neighbourhood's side: 42 mm either way


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


def pieces_of(
    image: NDArray[np.uint8],
    seen: WoodValue,
    lines: LineMap,
    grain: GrainField,
    paths: list[Path],
    mm_per_px: float,
    chance: NDArray[np.uint8] | None = None,
    deep: float | None = None,
) -> Pieces:
    """Features of all pieces of all `paths`: `FEATURES`, or with a `chance` `FEATURES_WITH_CHANCE`.

    `deep` is the depth that counts as deep in this picture; that of the deeper
    tenth of the pieces if not given. [-]

    `image` has shape (H, W, 3), `chance` (H, W).
    """
    counts = np.array([len(path) for path in paths])
    lengths, straightness = _shape(paths)
    roughness = _roughness(paths)
    paths = [Path(path.points[::EVERY], path.normals[::EVERY]) for path in paths]
    every = Path(np.concatenate([p.points for p in paths]), np.concatenate([p.normals for p in paths]))
    line_of = np.repeat(np.arange(len(paths)), [len(p) for p in paths])
    point = point_features(image, seen, lines, grain, every)
    point["roughness"] = roughness
    point["border_near"], point["border_along"] = _beside_border(seen, every, mm_per_px)
    if chance is not None:
        point["chance"], point["chance_near"] = _chances(chance, every)
    starts, line, first, last = _cuts(paths)
    own = _over(point, starts, line_of)
    around = _stretches(own, line)
    deep = float(np.quantile(own["depth"], 0.9)) if deep is None else deep
    whole = {
        "line_length": lengths[line],
        "line_straightness": straightness[line],
        "border": _ends_at_border(seen, paths)[line],
        "depth_rank": own["depth"] - deep,
        "tone_level": own["tone"],
        "sharpness": np.full(len(line), _sharpness(seen)),
        "mm_per_px": np.full(len(line), np.log(mm_per_px * 2)),
    }
    named = own | around | whole
    if chance is not None:
        named |= _company(own, every.points[starts], np.diff(np.r_[starts, len(line_of)]), mm_per_px)
    features = np.column_stack([named[name] for name in (FEATURES if chance is None else FEATURES_WITH_CHANCE)])
    return Pieces(features, line, first * EVERY, np.minimum(last * EVERY, counts[line]), deep)


def _shape(paths: list[Path]) -> tuple[FloatArray, FloatArray]:
    """Log of each path's length in points, and its chord over that."""
    ends = np.array([[path.points[0], path.points[-1]] for path in paths])
    counts = np.array([len(path) for path in paths])
    return np.log(counts), np.hypot(*(ends[:, 1] - ends[:, 0]).T) / counts


def _roughness(paths: list[Path]) -> FloatArray:
    """How far every third point lies from the path smoothed further: torn fibre against a drawn curve. [log px]"""
    smoother = smooth_lines([path.points for path in paths], ROUGHNESS_SIGMA_PX)
    off = [
        np.abs(((path.points - smooth.points) * path.normals).sum(1))[::EVERY]
        for path, smooth in zip(paths, smoother, strict=True)
    ]
    return np.log(np.concatenate(off) + 0.02)


def _cuts(paths: list[Path]) -> tuple[NDArray[np.int64], ...]:
    """Where pieces start among all points, and each piece's line, first and last point."""
    starts, line, first, last = [], [], [], []
    before = 0
    for number, path in enumerate(paths):
        count = max(round(len(path) * EVERY / PIECE_PX), 1)
        edges = np.linspace(0, len(path), count + 1).astype(int)
        starts.append(before + edges[:-1])
        line.append(np.full(count, number))
        first.append(edges[:-1])
        last.append(edges[1:])
        before += len(path)
    return tuple(np.concatenate(parts) for parts in (starts, line, first, last))


def _over(point: dict[str, FloatArray], starts: NDArray[np.int64], line_of: NDArray[np.int64]) -> dict[str, FloatArray]:
    """Each piece's features from its points'."""
    size = np.diff(np.r_[starts, len(line_of)])

    def mean(name: str) -> FloatArray:
        return np.asarray(np.add.reduceat(point[name], starts) / size)

    def spread(name: str) -> FloatArray:
        square = np.add.reduceat(point[name] ** 2, starts) / size - mean(name) ** 2
        return np.asarray(np.sqrt(np.maximum(square, 0.0)))

    chances = {}
    if "chance" in point:
        chances = {name: mean(name) for name in ("chance", "chance_near")}
    turning = np.abs(np.diff(point["tangent"], prepend=point["tangent"][:1]))
    turning = np.minimum(turning, 2 * np.pi - turning)
    turning[np.diff(line_of, prepend=-1) != 0] = 0.0
    return chances | {
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
        "turning": np.add.reduceat(np.minimum(turning, 0.8), starts) / size * 5,
        "to_grain": mean("to_grain"),
        "coherence": mean("coherence"),
        "crowding": mean("crowding"),
        "gap": mean("gap"),
        "gap_spread": spread("gap"),
        "gap_doubt": mean("gap_doubt"),
        "steepness": mean("steepness"),
        "roughness": mean("roughness"),
        "border_near": mean("border_near"),
        "border_along": mean("border_along"),
        "from_grain": mean("from_grain"),
        "step": mean("step"),
        "tone": mean("tone"),
    }


def _stretches(own: dict[str, FloatArray], line: NDArray[np.int64]) -> dict[str, FloatArray]:
    """Each piece's features from itself and the pieces before and after it on its line."""
    here = np.arange(len(line))
    shifts = range(-STRETCH_PIECES, STRETCH_PIECES + 1)
    at = np.clip(here[:, None] + np.array(shifts)[None, :], 0, len(line) - 1)
    same = line[at] == line[:, None]
    count = same.sum(1)

    def mean(name: str) -> FloatArray:
        return np.asarray((own[name][at] * same).sum(1) / count)

    def spread(name: str) -> FloatArray:
        square = ((own[name][at] - mean(name)[:, None]) ** 2 * same).sum(1) / count
        return np.asarray(np.sqrt(square))

    def least(name: str) -> FloatArray:
        return np.asarray(np.where(same, own[name][at], np.inf).min(1))

    def most(name: str) -> FloatArray:
        return np.asarray(np.where(same, own[name][at], -np.inf).max(1))

    return {
        "stretch_strength": mean("strength"),
        "stretch_depth": mean("depth"),
        "stretch_depth_low": least("depth"),
        "stretch_depth_high": most("depth"),
        "stretch_core_share": mean("core_share"),
        "stretch_width": mean("log_width"),
        "stretch_gap": mean("gap"),
        "stretch_gap_low": least("gap"),
        "stretch_gap_high": most("gap"),
        "stretch_gap_spread": spread("gap"),
        "stretch_steepness": mean("steepness"),
        "stretch_to_grain": mean("to_grain"),
        "stretch_to_grain_high": most("to_grain"),
        "stretch_wander": spread("from_grain"),
        "stretch_roughness": mean("roughness"),
        "stretch_step": np.abs(mean("step")),
    }


def _chances(chance: NDArray[np.uint8], path: Path) -> tuple[FloatArray, FloatArray]:
    """Log-odds of the greatest chance within a pixel of each point, and the mean chance round about."""
    columns, rows = path.points[:, :1].astype(np.float32), path.points[:, 1:].astype(np.float32)
    best = sample(cv2.dilate(chance, np.ones((3, 3), np.uint8)), columns, rows).ravel() / 255.0
    cell = 8
    size = (max(chance.shape[1] // cell, 1), max(chance.shape[0] // cell, 1))
    near = cv2.blur(cv2.resize(chance, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255.0, (5, 5))
    around = sample(near, (columns + 0.5) / cell - 0.5, (rows + 0.5) / cell - 0.5).ravel()
    odds = np.log((best + 0.004) / (1.004 - best))
    return np.asarray(odds, float), np.sqrt(np.maximum(around, 0.0)).astype(float)


def _company(
    own: dict[str, FloatArray], points: FloatArray, size: NDArray[np.int64], mm_per_px: float
) -> dict[str, FloatArray]:
    """How likely and how far off the grain the lines round each piece are, the darker with more say; and how many."""
    cells = np.maximum(points * mm_per_px / COMPANY_CELL_MM, 0).astype(int)
    width, height = cells.max(0) + 1
    flat = cells[:, 1] * width + cells[:, 0]
    weight = size.astype(float) * np.clip(own["depth"], 0.02, 1.0)

    def near(values: FloatArray) -> FloatArray:
        grid = np.bincount(flat, values, width * height).reshape(height, width)
        side = (COMPANY_CELLS, COMPANY_CELLS)
        spread = cv2.boxFilter(grid, cv2.CV_64F, side, normalize=False, borderType=cv2.BORDER_CONSTANT)
        return np.asarray(spread.ravel()[flat])

    total = near(weight)
    return {
        "company_density": np.log(near(size.astype(float)) * mm_per_px + 1.0),
        "company_to_grain": near(weight * own["to_grain"]) / total,
        "company_chance": near(weight * own["chance"]) / total,
    }


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
