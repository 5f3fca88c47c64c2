"""How cracks grow in an invented slab: along the grain, jagged, tapering to a tip."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter1d

from crackmap.demo.scene import CrackShape, EdgeLine, KnotShape, VoidShape
from crackmap.records import frozen_array

_STEP = 1.0  # between vertices [mm]


def jagged(rng: np.random.Generator, count: int, coarse: float, size: float) -> NDArray[np.float64]:
    """A rough line: random walk kept in bounds, with kinks about `coarse` vertices apart, sd `size`. [mm]"""
    total = np.zeros(count)
    for scale, share in ((coarse, 0.75), (coarse / 3.5, 0.4), (1.6, 0.1)):
        knots = max(int(count / scale) + 3, 4)
        total += share * np.interp(np.arange(count), np.arange(knots) * scale, rng.standard_normal(knots))
    return total * size


def _round_knots(points: NDArray[np.float64], knots: Sequence[KnotShape]) -> NDArray[np.float64]:
    """Bend a line along the grain round the knots near it, each on the side where the line passes."""
    bent = points.copy()
    for k in knots:
        dx = (points[:, 0] - k.x) / (1.25 * k.stretch + 0.35)
        dy = points[:, 1] - k.y
        side = 1.0 if dy[np.abs(dx).argmin()] >= 0 else -1.0
        a2 = (1.05 * k.radius) ** 2
        push = 0.85 * a2 / np.maximum(np.hypot(dx, dy), k.radius) * np.exp(-np.abs(dy) / (3 * k.radius))
        bent[:, 1] += side * push
    return bent


def _path(
    rng: np.random.Generator, start: NDArray[np.float64], heading_deg: float, length: float, wander: float
) -> NDArray[np.float64]:
    count = max(int(length / _STEP) + 1, 8)
    s = np.arange(count) * _STEP
    grow = np.clip(s / 30, 0, 1)
    slow = sum(
        wander / k * np.sin(s * 6.28 * k / (length * rng.uniform(1.1, 2.2) + 60) + rng.uniform(0, 6.28))
        for k in (1, 2, 3)
    )
    off = (slow - slow[0]) + grow * jagged(rng, count, 22, 0.55 * min(1.5, 0.4 + length / 150))
    a = np.radians(heading_deg)
    return start + np.outer(s, [np.cos(a), np.sin(a)]) + np.outer(off - off[0], [-np.sin(a), np.cos(a)])


def _depths(
    rng: np.random.Generator, width: NDArray[np.float64], thickness: float, eager: float
) -> NDArray[np.float64]:
    """Wide cracks are deep: through where wide enough, else about `eager` times the width."""
    smooth = gaussian_filter1d(width, 6.0, mode="nearest")
    depth = smooth * eager * np.exp(0.15 * jagged(rng, len(width), 30, 1.0)) + 1.5
    return np.asarray(np.minimum(depth, thickness), float)


def _dust(
    rng: np.random.Generator, depth: NDArray[np.float64], width: NDArray[np.float64], chance: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Fill stretches of a crack with sawdust to within a millimetre or two of the face."""
    dusty = np.zeros(len(depth))
    if rng.random() < chance:
        for _ in range(rng.integers(1, 3)):
            span = int(rng.uniform(0.06, 0.25) * len(depth)) + 4
            first = rng.integers(0, max(len(depth) - span, 1))
            dusty[first : first + span] = 1
        fill = (rng.uniform(0.5, 2.6) + 0.12 * width) * np.exp(0.3 * jagged(rng, len(depth), 8, 1.0))
        # The heap slopes down into the crack on both sides of what it fills.
        slope = rng.uniform(0.5, 1.4) * distance_transform_edt(dusty == 0)
        depth = np.minimum(depth, np.maximum(fill, 0.2) + slope)
        dusty = np.maximum(dusty, (slope < 6.0).astype(float))
    return depth, dusty


def make_crack(
    rng: np.random.Generator,
    kind: str,
    line: NDArray[np.float64],
    width: NDArray[np.float64],
    thickness: float,
    eager: float,
    dust_chance: float = 0.2,
    parent: int | None = None,
) -> CrackShape:
    """A crack along `line` whose lips are roughened about a smooth `width`. [mm]

    `line` has shape (N, 2), `width` (N,).
    """
    rough = np.clip(0.16 * width, 0.03, 0.5)
    # Each lip is jagged on its own; near the tip the roughness fades with the width.
    left = width / 2 + rough * jagged(rng, len(width), 15, 0.75)
    right = width / 2 + rough * jagged(rng, len(width), 15, 0.75)
    true_width = np.maximum(left + right, np.minimum(width, 0.04))
    unit = np.gradient(line, axis=0)
    unit /= np.linalg.norm(unit, axis=1, keepdims=True)
    line = line + np.c_[unit[:, 1], -unit[:, 0]] * ((left - right) / 2)[:, None]
    depth, dusty = _dust(rng, _depths(rng, true_width, thickness, eager), true_width, dust_chance)
    return CrackShape(
        kind,
        frozen_array(line),
        frozen_array(true_width),
        frozen_array(depth),
        frozen_array(dusty),
        lean=float(rng.normal(0, 0.05)),
        parent=parent,
        halo=float(max(0, rng.normal(0.1, 0.25))),
    )


def end_check(
    rng: np.random.Generator,
    edges: EdgeLine,
    y: float,
    from_left: bool,
    length: float,
    widest: float,
    thickness: float,
    knots: Sequence[KnotShape],
) -> CrackShape:
    """A crack from an end of the slab, widest there. Lengths are in mm."""
    x = float(np.interp(y, edges.y, edges.left if from_left else edges.right))
    heading = rng.normal(0, 1.6) + (0 if from_left else 180)
    line = _round_knots(_path(rng, np.array([x, y]), heading, length, rng.uniform(0.5, 3.0)), knots)
    line = line - line[0] + [x, y]
    t = np.linspace(0, 1, len(line))
    profile = (1 - t) ** rng.uniform(0.55, 1.15) * (1 + 0.16 * jagged(rng, len(t), 45, 1.0))
    width = widest * np.clip(profile, 0, None) * (1 - t**8)
    return make_crack(rng, "end_check", line, np.maximum(width, 0.02), thickness, rng.uniform(6, 16))


def split_along(
    rng: np.random.Generator,
    edges: EdgeLine,
    y: float,
    widest: float,
    thickness: float,
    knots: Sequence[KnotShape],
) -> CrackShape:
    """A crack from end to end. Lengths are in mm."""
    left = float(np.interp(y, edges.y, edges.left))
    right = float(np.interp(y, edges.y, edges.right))
    line = _round_knots(_path(rng, np.array([left, y]), 0.0, right - left, rng.uniform(2, 6)), knots)
    t = np.linspace(0, 1, len(line))
    width = (
        widest
        * (0.55 + 0.45 * np.abs(2 * t - rng.uniform(0.6, 1.4)))
        * (1 + 0.15 * jagged(rng, len(t), 60, 1.0))
    )
    return make_crack(rng, "split", line, np.maximum(width, 0.3), thickness, 40.0)


def inner_check(
    rng: np.random.Generator,
    kind: str,
    x: float,
    y: float,
    length: float,
    widest: float,
    thickness: float,
    knots: Sequence[KnotShape],
) -> CrackShape:
    """A surface check or hairline: closed at both ends. Lengths are in mm."""
    heading = rng.normal(0, 2.0) + rng.choice([0, 180])
    line = _path(rng, np.array([0.0, 0.0]), heading, length, rng.uniform(0.2, 1.2))
    line = _round_knots(line - line.mean(0) + [x, y], knots)
    t = np.linspace(0, 1, len(line))
    profile = np.sin(np.pi * t) ** rng.uniform(0.45, 1.0) * (1 + 0.2 * jagged(rng, len(t), 18, 1.0))
    width = np.maximum(widest * np.clip(profile, 0, None), 0.02)
    return make_crack(rng, kind, line, width, thickness, rng.uniform(4, 9), 0.1)


def knot_check(
    rng: np.random.Generator,
    x: float,
    y: float,
    radius: float,
    stretch: float,
    length: float,
    widest: float,
    thickness: float,
) -> CrackShape:
    """A crack that starts in a knot or at its hole and runs off along the grain.

    Lengths are in mm; `stretch` is along over across the grain. [-]
    """
    side = rng.choice([-1, 1])
    inside = rng.uniform(-0.3, 0.8)
    start = np.array([x + side * inside * radius * stretch, y + rng.uniform(-0.4, 0.4) * radius])
    line = _path(rng, start, (0 if side > 0 else 180) + rng.normal(0, 4), length, rng.uniform(0.3, 2))
    t = np.linspace(0, 1, len(line))
    profile = (
        np.minimum(1, (t + 0.02) / 0.12)
        * (1 - t) ** rng.uniform(0.6, 1.1)
        * (1 + 0.2 * jagged(rng, len(t), 15, 1))
    )
    return make_crack(
        rng, "knot_check", line, np.maximum(widest * profile, 0.02), thickness, rng.uniform(5, 12), 0.1
    )


def ring_shake(
    rng: np.random.Generator,
    x: float,
    y: float,
    radius: float,
    sweep_deg: float,
    stretch: float,
    widest: float,
    thickness: float,
) -> CrackShape:
    """A crack along an annual ring: an arc, long drawn out along the grain.

    Lengths are in mm; `stretch` is along over across the grain. [-]
    """
    count = max(int(np.radians(sweep_deg) * radius * (1 + stretch) / 2 / _STEP), 12)
    a = np.radians(sweep_deg) * np.linspace(-0.5, 0.5, count) + rng.choice([0, np.pi])
    arc = np.c_[radius * stretch * np.cos(a), radius * np.sin(a)]
    arc = arc - arc.mean(0) + [x, y]
    arc[:, 1] += jagged(rng, count, 20, 0.4)
    t = np.linspace(0, 1, count)
    width = np.maximum(widest * np.sin(np.pi * t) ** 0.7, 0.02)
    return make_crack(rng, "ring_shake", arc, width, thickness, rng.uniform(4, 9), 0.1)


def branch_from(
    rng: np.random.Generator, cracks: Sequence[CrackShape], parent: int, thickness: float
) -> CrackShape:
    """A side crack that leaves its stem at a sharp angle and bends back along it. `thickness` is the slab's. [mm]"""
    stem = cracks[parent]
    count = len(stem.centreline)
    at = int(count * rng.uniform(0.3, 0.7))
    along = stem.centreline[min(at + 12, count - 1)] - stem.centreline[max(at - 12, 0)]
    heading = float(np.degrees(np.arctan2(along[1], along[0])))
    side = rng.choice([-1, 1])
    length = (count - at) * _STEP * rng.uniform(0.35, 0.85) + 15
    line = _path(rng, np.zeros(2), heading, length, rng.uniform(0.5, 2.0))
    s = np.arange(len(line)) * _STEP
    a = np.radians(heading)
    spread = side * rng.uniform(4, 9) * (1 - np.exp(-s / rng.uniform(25, 60))) * min(1.0, length / 60)
    line = stem.centreline[at] + line - line[0] + np.outer(spread, [-np.sin(a), np.cos(a)])
    t = np.linspace(0, 1, len(line))
    local = float(stem.width[max(at - 3, 0) : at + 3].mean())
    profile = (1 - t) ** rng.uniform(0.6, 1.1) * (1 + 0.18 * jagged(rng, len(t), 25, 1.0))
    width = np.maximum(local * rng.uniform(0.3, 0.75) * np.clip(profile, 0, None), 0.02)
    return make_crack(rng, "branch", line, width, thickness, rng.uniform(5, 12), 0.15, parent)


def void_shape(
    rng: np.random.Generator, kind: str, x: float, y: float, radius: float, thickness: float
) -> VoidShape:
    """A knot hole (roundish) or a bark inclusion (long, ragged, mostly shallow). Lengths are in mm."""
    count = 180
    a = np.arange(count) * (2 * np.pi / count)
    ragged, fall = (0.12, 1.15) if kind == "knot_hole" else (0.2, 0.85)
    wave = sum(
        ragged / k**fall * rng.standard_normal() * np.cos(k * a + rng.uniform(0, 6.28)) for k in range(2, 26)
    )
    radii = radius * np.clip(1 + wave, 0.45, 1.7)
    through = bool(kind == "knot_hole" and rng.random() < 0.5)
    stretch = float(rng.uniform(1.0, 1.7) if kind == "knot_hole" else rng.uniform(2.6, 5.0))
    depth = (
        thickness
        if through
        else thickness * rng.uniform(0.25, 0.8)
        if kind == "knot_hole"
        else rng.uniform(3, 14)
    )
    return VoidShape(
        kind,
        frozen_array([x, y]),
        frozen_array(radii),
        stretch,
        float(depth),
        through,
        float(rng.uniform(0.05, 0.35) if through else rng.uniform(0.2, 0.5)),
    )
