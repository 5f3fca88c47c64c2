"""Surveys made in code for the placement and resin tests: simple ones by hand, random ones by seed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from crackmap.records import (
    Crack,
    Datum,
    FloatArray,
    KeepOut,
    PhotoFacts,
    ScaleQuality,
    Survey,
    Void,
    frozen_array,
)
from crackmap.scale.mapping import Mapping


def make_survey(cracks: list[Crack], *, length: float = 1200.0, width: float = 500.0, voids: tuple[Void,
                                                                                                   ...] = (),
                outline: FloatArray | None = None, grain_deg: float = 0.0) -> Survey:
    """A slab, rectangular unless an outline is given, with its lower left corner at the origin."""
    corners = [[0, 0], [length, 0], [length, width], [0, width]] if outline is None else outline
    return Survey(PhotoFacts("made in code", "", 1, 1), Mapping(np.eye(3)),
                  ScaleQuality(0.5, 0.1, 0.1, 0.5, 0.5, 0.1),
                  Datum(frozen_array([0, 0]), frozen_array([1, 0]), "markers"), (), frozen_array(corners, 2),
                  voids,
                  tuple(cracks), grain_deg)


def straight_crack(name: str, start: tuple[float, float], length: float, width: Callable[[FloatArray],
                                                                                         FloatArray],
                   *, angle_deg: float = 0.0, ends: tuple[str, str] = ("edge", "tip"),
                   confidence: float = 0.9) -> Crack:
    """A straight crack; `width` takes the share of the length, 0 to 1. [mm]"""
    share = np.linspace(0.0, 1.0, max(2, int(length) + 1))
    a = np.radians(angle_deg)
    points = np.array(start) + share[:, None] * length * np.array([np.cos(a), np.sin(a)])
    return Crack(name, frozen_array(points, 2), frozen_array(np.broadcast_to(width(share), share.shape)),
                 ends,
                 confidence)


def tapering(widest: float) -> Callable[[FloatArray], FloatArray]:
    """Width that falls as the root of the distance to the tip, as an elastic crack's does. [mm]"""
    return lambda share: widest * np.sqrt(1.0 - share)


def random_survey(seed: int, cracks: int | None = None) -> Survey:
    """A slab with live edges, wandering end checks with branches, surface checks, voids and false cracks."""
    rng = np.random.default_rng(seed)
    length, width = rng.uniform(500, 2000), rng.uniform(250, 800)
    outline = _live_edged(rng, length, width)
    count = int(rng.integers(1, 9)) if cracks is None else cracks
    made: list[Crack] = []
    for _ in range(count):
        made += _random_crack(rng, len(made), length, width)
    voids = tuple(Void(f"V{k + 1}", _blob(rng, rng.uniform(60, length - 60), rng.uniform(60, width - 60)))
                  for k in range(int(rng.integers(0, 4))))
    return make_survey(made, voids=voids, outline=outline, grain_deg=float(rng.uniform(-4, 4)))


def random_keep_outs(seed: int, survey: Survey) -> tuple[KeepOut, ...]:
    """Up to two rectangles kept out, from above or by depth from below."""
    rng = np.random.default_rng(seed + 7_000_000)
    low, high = survey.outline.min(axis=0), survey.outline.max(axis=0)
    areas = []
    for _ in range(int(rng.integers(0, 3))):
        x, y = rng.uniform(low, high)
        w, h = rng.uniform(20, 150, 2)
        corners = frozen_array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], 2)
        below = bool(rng.integers(0, 2))
        areas.append(KeepOut(corners, "below" if below else "above", float(rng.uniform(2, 30)) if below
                             else None))
    return tuple(areas)


def _live_edged(rng: np.random.Generator, length: float, width: float) -> FloatArray:
    x = np.linspace(0.0, length, 120)
    sides = []
    for level in (0.0, width):
        wave = sum(rng.uniform(0, width / 25) * np.sin(2 * np.pi * x / rng.uniform(150, 900) + rng.uniform(0,
                                                                                                           6))
                   for _ in range(3))
        sides.append(np.column_stack([x, level + wave]))
    return frozen_array(np.vstack([sides[0], sides[1][::-1]]), 2)


def _blob(rng: np.random.Generator, x: float, y: float) -> FloatArray:
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    radius = rng.uniform(5, 25) * (1 + 0.25 * np.sin(3 * turn + rng.uniform(0, 6)))
    return frozen_array(np.column_stack([x + 1.8 * radius * np.cos(turn), y + radius * np.sin(turn)]), 2)


def _wandering(rng: np.random.Generator, start: FloatArray, angle: float, length: float) -> FloatArray:
    count = max(4, int(length / 1.5))
    heading = angle + np.cumsum(rng.normal(0, 0.035, count)) * 0.6
    steps = np.column_stack([np.cos(heading), np.sin(heading)]) * (length / count)
    return start + np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)])


def _random_crack(rng: np.random.Generator, number: int, length: float, width: float) -> list[Crack]:
    kind = rng.choice(["left", "right", "surface"], p=[0.4, 0.4, 0.2])
    long = float(rng.uniform(40, min(420, 0.45 * length)))
    y = rng.uniform(0.12 * width, 0.88 * width)
    start = np.array({"left": [0.0, y], "right": [length, y],
                      "surface": [rng.uniform(60, length - 60 - long / 2), y]}[str(kind)])
    angle = (np.pi if kind == "right" else 0.0) + rng.normal(0, 0.06)
    points = _wandering(rng, start, angle, long)
    share = np.linspace(0, 1, len(points))
    widest = float(np.exp(rng.uniform(np.log(0.6), np.log(12))))
    taper = np.sqrt(1 - share) if kind != "surface" else np.sqrt(np.maximum(4 * share * (1 - share), 0))
    wide = np.maximum(widest * taper * rng.uniform(0.85, 1.15, len(points)), 0.05)
    confidence = float(rng.choice([0.95, 0.7, 0.3], p=[0.7, 0.2, 0.1]))
    first = "tip" if kind == "surface" else "edge"
    name = f"C{number + 1}"
    if kind == "surface" or rng.uniform() < 0.6 or len(points) < 30:
        return [Crack(name, frozen_array(points, 2), frozen_array(wide), (first, "tip"), confidence)]
    at = int(rng.integers(len(points) // 4, 3 * len(points) // 4))
    side = _wandering(rng, points[at], angle + rng.choice([-0.3, 0.3]), long * float(rng.uniform(0.2, 0.5)))
    side_width = np.maximum(wide[at] * 0.6 * np.sqrt(1 - np.linspace(0, 1, len(side))), 0.05)
    return [Crack(name, frozen_array(points[:at + 1], 2), frozen_array(wide[:at + 1]), (first, "junction"),
                  confidence),
            Crack(f"C{number + 2}", frozen_array(points[at:], 2), frozen_array(wide[at:]), ("junction",
                                                                                            "tip"),
                  confidence),
            Crack(f"C{number + 3}", frozen_array(side, 2), frozen_array(side_width), ("junction", "tip"),
                  confidence)]
