"""Harder scenes for training: other woods, what looks like a crack and is none, cracks that hardly look like one.

A crack is a gap with depth: a dark core without the wood's figure, one lip in
shadow, lips that fit each other. What is added here has some of a crack's looks
and lacks its depth. Photographs for show don't use it.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from crackmap.demo.grow_cracks import jagged
from crackmap.demo.looks import RGB, WOODS, WoodLook
from crackmap.demo.odd_cracks import odd_crack
from crackmap.demo.scene import Finish, Mark, PaintedLine, SlabScene
from crackmap.demo.stains import random_zone, spalt_zones
from crackmap.records import frozen_array

_STEP = 0.5  # between vertices of a painted line [mm]


def with_look_alikes(scene: SlabScene, centre_mm: NDArray[np.float64], reach_mm: float, seed: int) -> SlabScene:
    """The scene as a harder one: the lines and marks lie within `reach_mm` of `centre_mm`.

    `centre_mm` has shape (2,).
    """
    rng = np.random.default_rng([seed, 47])
    zones = scene.zones
    if rng.random() < 0.25:
        zones = spalt_zones(float(rng.uniform(0.5, 1.0)), seed)
    zones += tuple(random_zone(rng) for _ in range(int(rng.choice([0, 1, 2], p=[0.5, 0.35, 0.15]))))
    lines = [line for maker, chance, most in _MAKERS if rng.random() < chance
             for line in maker(rng, centre_mm, reach_mm, most)]
    light = scene.light
    if rng.random() < 0.2:
        light = dataclasses.replace(light, bands=light.bands + _thin_shadows(rng, centre_mm))
    exposure = scene.exposure
    if rng.random() < 0.25:  # out of focus
        exposure = dataclasses.replace(exposure, blur_px=float(rng.uniform(1.0, 3.5)))
    marks = scene.marks + tuple(_mark(rng, centre_mm, reach_mm) for _ in range(int(rng.integers(0, 3))))
    return dataclasses.replace(
        scene, zones=zones, lines=tuple(lines), light=light, marks=marks, own_look=_odd_wood(rng, WOODS[scene.look]),
        exposure=exposure, finish=_finish(rng, scene.finish),
        cracks=tuple(odd_crack(rng, scene, crack) for crack in scene.cracks),
    )


def _odd_wood(rng: np.random.Generator, look: WoodLook) -> WoodLook | None:
    """A wood of other colours and grain, built like `look`; sometimes `look` itself."""
    if rng.random() < 0.25:
        return None
    tone = float(np.exp(rng.normal(0, 0.22))) * (float(rng.uniform(0.3, 0.6)) if rng.random() < 0.12 else 1.0)
    tint = np.exp(rng.normal(0, 0.07, 3))
    pale = float(np.clip(rng.normal(0, 0.3), -0.4, 0.7))  # towards grey

    def changed(colour: RGB, extra: float = 1.0) -> RGB:
        c = np.array(colour) * tone * tint * extra
        c = np.clip(c + (c.mean() - c) * pale, 3, 250)
        return (float(c[0]), float(c[1]), float(c[2]))

    return dataclasses.replace(
        look,
        early=changed(look.early), late=changed(look.late, float(rng.uniform(0.6, 1.05))), sap=changed(look.sap),
        knot=changed(look.knot, float(rng.uniform(0.6, 1.4))), bark=changed(look.bark),
        ring_mm=float(look.ring_mm * np.exp(rng.uniform(-0.9, 1.1))),
        contrast=float(np.clip(look.contrast * np.exp(rng.normal(0, 0.4)), 0.05, 1.4)),
        pores=float(np.clip(look.pores * rng.uniform(0.3, 1.5), 0, 1)),
        rays=float(np.clip(look.rays * rng.uniform(0, 2) + (rng.random() < 0.15) * 0.5, 0, 1)),
        figure=float(look.figure * rng.uniform(0, 3)), drift=float(look.drift * rng.uniform(0, 2)),
        wander=float(look.wander * rng.uniform(0.3, 2.5)),
    )


def _finish(rng: np.random.Generator, finish: Finish) -> Finish:
    """Rougher sawing on some, and the dust of it."""
    if rng.random() < 0.3:
        finish = dataclasses.replace(
            finish, saw_marks=float(rng.uniform(0.5, 4)), saw_pitch=float(rng.uniform(1.2, 14)))
    if rng.random() < 0.15:
        finish = dataclasses.replace(
            finish, dust=float(rng.uniform(0.4, 1.2)), speck_level=float(rng.uniform(1.2, 2.3)))
    return finish


def _spot(rng: np.random.Generator, centre: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    return np.asarray(centre + rng.uniform(-0.7, 0.7, 2) * reach, float)


def _resampled(points: NDArray[np.float64]) -> NDArray[np.float64]:
    along = np.r_[0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    at = np.linspace(0, along[-1], max(int(along[-1] / _STEP), 3))
    return np.stack([np.interp(at, along, points[:, k]) for k in (0, 1)], 1)


def _bent(rng: np.random.Generator, length: float, bend: float, wander: float, angle: float) -> NDArray[np.float64]:
    """A smooth stroke about the origin: a bow with slow waves. [mm]"""
    s = np.linspace(-0.5, 0.5, max(int(length / _STEP), 8)) * length
    off = bend * length * (s / length) ** 2
    for k in (1, 2, 3, 5):
        off = off + wander / k * np.sin(6.28 * k * s / (length * rng.uniform(0.8, 1.5)) + rng.uniform(0, 6.28))
    c, n = np.cos(angle), np.sin(angle)
    return np.stack([s * c - off * n, s * n + off * c], 1)


def _scribble(rng: np.random.Generator, size: float) -> NDArray[np.float64]:
    """What a pencil does on wood: waves, zigzags, loops, letters of a kind, corners."""
    kind = rng.integers(5)
    s = np.linspace(0, 1, 240)
    turns = rng.uniform(1, 7)
    if kind == 0:
        points = np.stack([s * size, 0.15 * size * np.sin(6.28 * turns * s)], 1)
    elif kind == 1:
        points = np.stack([s * size, 0.2 * size * np.abs(np.mod(turns * s, 1) - 0.5)], 1)
    elif kind == 2:
        points = size * np.stack([s + 0.12 * np.cos(6.28 * turns * s), 0.2 * np.sin(6.28 * turns * s)], 1)
    elif kind == 3:
        points = 0.3 * size * np.stack([np.cos(6.28 * s), rng.uniform(0.4, 1) * np.sin(6.28 * s)], 1)
    else:
        corners = rng.uniform(-0.5, 0.5, (int(rng.integers(3, 7)), 2)) * size
        points = np.concatenate([np.linspace(a, b, 40) for a, b in zip(corners, corners[1:], strict=False)])
    a = rng.uniform(0, 6.28)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return np.asarray(_resampled(points @ turn), float)


def _line(points: NDArray[np.float64], width: NDArray[np.float64] | float, strength: float,
          absorbs: tuple[float, float, float], softness: float = 0.0, broken: float = 0.0,
          opaque: RGB | None = None) -> PaintedLine:
    wide = np.broadcast_to(np.asarray(width, float), (len(points),)).copy()
    return PaintedLine(frozen_array(points), frozen_array(wide), float(strength), absorbs, float(softness),
                       float(broken), opaque)


def _pencil(rng: np.random.Generator, centre: NDArray[np.float64], reach: float, most: int) -> list[PaintedLine]:
    lines = []
    for _ in range(int(rng.integers(1, most + 1))):
        size = float(rng.uniform(0.2, 2.0) * reach)
        if rng.random() < 0.55:  # a drawn stroke: along a rule, or freehand; along the grain too
            angle = rng.choice([0.0, np.pi / 2, rng.uniform(0, np.pi)]) + rng.normal(0, 0.05)
            points = _bent(rng, size, rng.choice([0, rng.normal(0, 0.2)]), rng.choice([0, rng.uniform(0, 2)]), angle)
        else:
            points = _scribble(rng, 0.6 * size)
        grey = float(rng.uniform(0.9, 1.0))
        lines.append(_line(points + _spot(rng, centre, reach), rng.uniform(0.25, 1.2), rng.uniform(0.25, 0.85),
                           (grey, grey, float(rng.uniform(0.85, 1))), rng.uniform(0.0, 0.4), rng.uniform(0, 0.8)))
    return lines


def _ink(rng: np.random.Generator, centre: NDArray[np.float64], reach: float, most: int) -> list[PaintedLine]:
    """Felt pen, ball pen, crayon, chalk."""
    inks: list[RGB] = [(20, 20, 24), (30, 40, 110), (150, 30, 30), (40, 90, 50), (90, 60, 40), (235, 235, 230),
                       (230, 200, 60), (60, 110, 190)]
    colour = inks[int(rng.integers(len(inks)))]
    wide = float(np.exp(rng.uniform(np.log(0.4), np.log(6))))
    lines = []
    for _ in range(int(rng.integers(1, most + 1))):
        size = float(rng.uniform(0.3, 1.5) * reach)
        points = _scribble(rng, size) if rng.random() < 0.5 else _bent(
            rng, size, rng.normal(0, 0.2), rng.uniform(0, 2), rng.uniform(0, np.pi))
        lines.append(_line(points + _spot(rng, centre, reach), wide, rng.uniform(0.5, 0.95), (0, 0, 0),
                           rng.uniform(0, 0.3), rng.choice([0, rng.uniform(0, 1)]), colour))
    return lines


def _grain_lines(rng: np.random.Generator, centre: NDArray[np.float64], reach: float, most: int) -> list[PaintedLine]:
    """Dark late wood or colour in a ring: long, soft, brown, along the grain; no lips, no ends."""
    lines = []
    bend, wander = rng.normal(0, 0.08), rng.uniform(0, 3)
    for _ in range(int(rng.integers(1, most + 1))):
        points = _bent(rng, rng.uniform(2, 6) * reach, bend, wander, rng.normal(0, 0.03))
        width = np.exp(0.3 * jagged(rng, len(points), 60, 1.0)) * rng.uniform(0.2, 2.0)
        blue = float(rng.uniform(0.75, 1.0))
        lines.append(_line(points + _spot(rng, centre, reach), width, rng.uniform(0.2, 0.75),
                           (blue * float(rng.uniform(0.55, 0.9)), 0.93 * blue, blue),
                           rng.uniform(0.2, 1.2), rng.uniform(0, 0.5)))
    return lines


def _streaks(rng: np.random.Generator, centre: NDArray[np.float64], reach: float, most: int) -> list[PaintedLine]:
    """Mineral streaks, gum and resin: lens-shaped, along the grain, the figure shows through."""
    lines = []
    for _ in range(int(rng.integers(1, most + 1))):
        points = _bent(rng, float(np.exp(rng.uniform(np.log(4), np.log(160)))), rng.normal(0, 0.05),
                       rng.uniform(0, 1), rng.normal(0, 0.04))
        t = np.linspace(0, 1, len(points))
        width = np.sin(np.pi * t) ** rng.uniform(0.5, 1.5) * np.exp(rng.uniform(np.log(0.5), np.log(5))) + 0.05
        width = width * np.exp(rng.choice([0, 0.25]) * jagged(rng, len(t), 14, 1.0))
        crisp = rng.random() < 0.5
        red = float(rng.uniform(0.4, 0.95))
        lines.append(_line(points + _spot(rng, centre, reach), width, rng.uniform(0.25, 0.8),
                           (red, float(rng.uniform(0.8, 0.95)), float(rng.uniform(0.85, 1))),
                           rng.uniform(0, 0.3) if crisp else rng.uniform(0.4, 3.0),
                           rng.uniform(0, 0.3) if crisp else rng.uniform(0.2, 1.0)))
    return lines


def _scratches(rng: np.random.Generator, centre: NDArray[np.float64], reach: float, most: int) -> list[PaintedLine]:
    """Pale, shallow strokes across or along, as feed rollers and trowels leave them."""
    angle, bright = rng.choice([np.pi / 2, rng.uniform(0, np.pi)]), float(rng.uniform(0.2, 0.9))
    lines = []
    for _ in range(int(rng.integers(1, most + 1))):
        points = _bent(rng, rng.uniform(0.2, 2) * reach, 0, 0, angle + rng.normal(0, 0.02))
        lines.append(_line(points + _spot(rng, centre, reach), rng.uniform(0.15, 0.9), rng.uniform(0.2, 0.9),
                           (-bright, -bright, -0.9 * bright), rng.uniform(0, 0.4), rng.uniform(0, 0.8)))
    return lines


def _burns(rng: np.random.Generator, centre: NDArray[np.float64], reach: float, most: int) -> list[PaintedLine]:
    """A blade that stood still: wide, brown, soft, slightly bent strokes."""
    angle, bend = rng.uniform(0, np.pi), rng.normal(0, 0.15)
    lines = []
    for k in range(int(rng.integers(1, most + 1))):
        points = _bent(rng, rng.uniform(0.4, 2) * reach, bend, 0, angle) + k * rng.uniform(2, 8)
        lines.append(_line(points + _spot(rng, centre, 0.4 * reach), rng.uniform(0.8, 9), rng.uniform(0.2, 0.85),
                           (0.7, 0.88, 1.0), rng.uniform(0.5, 4), rng.uniform(0, 0.6)))
    return lines


_MAKERS = (
    (_pencil, 0.28, 4),
    (_ink, 0.08, 3),
    (_grain_lines, 0.22, 6),
    (_streaks, 0.3, 5),
    (_scratches, 0.15, 9),
    (_burns, 0.06, 4),
)


def _thin_shadows(
    rng: np.random.Generator, centre: NDArray[np.float64]
) -> tuple[tuple[float, float, float, float], ...]:
    """Shadows of rods, strings and fingers that cross the piece."""
    bands = []
    for _ in range(int(rng.integers(1, 3))):
        angle = float(rng.uniform(0, 180))
        a = np.radians(angle)
        offset = float(centre[0] * np.sin(a) - centre[1] * np.cos(a) + rng.normal(0, 25))
        bands.append((angle, offset, float(rng.uniform(2, 25)), float(rng.uniform(0.4, 0.97))))
    return tuple(bands)


def _mark(rng: np.random.Generator, centre: NDArray[np.float64], reach: float) -> Mark:
    kind = str(rng.choice(["stain", "cup_ring", "pencil", "scar", "shadow_stripe"]))
    size = float(rng.uniform(*{"stain": (4, 60), "cup_ring": (10, 46), "shadow_stripe": (6, 45)}.get(kind, (30, 300))))
    x, y = _spot(rng, centre, reach)
    return Mark(kind, float(x), float(y), size, float(rng.uniform(-180, 180)), float(rng.uniform(0.2, 0.8)))
