"""A random but sensible slab photograph for any seed; wishes fix what matters to the caller."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from crackmap.demo.bench_texture import BENCHES
from crackmap.demo.looks import WOODS
from crackmap.demo.random_cracks import Blank, draw_cracks, draw_knots_and_voids
from crackmap.demo.random_setting import draw_camera, draw_exposure, draw_finish, draw_light, draw_marks
from crackmap.demo.random_things import draw_things
from crackmap.demo.scene import (
    EdgeLine,
    SlabScene,
)
from crackmap.demo.stains import spalt_zones
from crackmap.demo.wishes import SceneWishes
from crackmap.records import frozen_array


def random_scene(seed: int, **wishes: Any) -> SlabScene:
    """A slab photograph to be rendered.

    Parameters
    ----------
    seed : int
        The same seed and wishes always give the same scene.
    **wishes
        Fields of SceneWishes.

    Raises
    ------
    SettingsError
        If a wish is unknown; names the closest known one.
    """
    w = SceneWishes().with_changes(**wishes)
    rng = np.random.default_rng([seed, 3])
    look = w.look or str(rng.choice(sorted(WOODS)))
    width = w.width or float(np.round(rng.uniform(300, 820), -1))
    length = w.length or float(np.round(width * rng.uniform(1.7, 3.6), -1))
    thickness = w.thickness or float(np.round(rng.uniform(30, 70), 1))
    edges = _edges(rng, w, look, length, width)
    blank = Blank(look, edges, length, width, thickness)
    knots, voids = draw_knots_and_voids(rng, w, blank)
    cracks = draw_cracks(rng, w, blank, knots, voids)
    camera = draw_camera(rng, w, edges, length, width)
    scene = SlabScene(
        name=w.name or f"{seed:03d}",
        seed=seed,
        look=look,
        length=length,
        width=width,
        thickness_mm=thickness,
        edges=edges,
        camera=camera,
        light=draw_light(rng, w, length, width),
        bench=w.bench or str(rng.choice(sorted(BENCHES))),
        pith_depth=float(rng.uniform(0.05, 0.75) * width * rng.choice([-1, 1])),
        pith_y=float(rng.normal(0, 0.28) * width),
        sapwood=float(rng.uniform(8, 40) if rng.random() < 0.8 else rng.uniform(40, 90)),
        cracks=cracks,
        voids=voids,
        knots=knots,
        marks=draw_marks(rng, length, width),
        finish=draw_finish(rng),
        exposure=draw_exposure(rng, w),
        bench_angle_deg=float(rng.uniform(-40, 40)),
    )
    colours = BENCHES[scene.bench][1]
    picked = colours[int(rng.integers(len(colours)))]
    tone, warm = rng.uniform(0.75, 1.15), rng.normal(0, 0.025)
    red, green, blue = (
        float(np.clip(c * tone * f, 0, 255)) for c, f in zip(picked, (1 + warm, 1, 1 - warm), strict=True)
    )
    zones = spalt_zones(scene.finish.spalt, seed)
    scene = dataclasses.replace(scene, bench_colour=(red, green, blue), zones=zones)
    return dataclasses.replace(scene, things=draw_things(rng, w, scene))


def _wavy(rng: np.random.Generator, at: np.ndarray, size: float, longest: float) -> np.ndarray:
    """A natural edge: long waves and ever smaller ones on top. [mm]"""
    total = np.zeros_like(at)
    for k in range(1, 60):
        total += (
            size / k**1.25 * rng.standard_normal() * np.sin(at * 6.283 * k / longest + rng.uniform(0, 6.28))
        )
    return total


def _edges(rng: np.random.Generator, w: SceneWishes, look: str, length: float, width: float) -> EdgeLine:
    sides = w.live_sides or str(rng.choice(["both", "both", "both", "top", "bottom", "none"]))
    live_top, live_bottom = sides in ("both", "top"), sides in ("both", "bottom")
    x = np.arange(-60.0, length + 60.5, 1.0)
    y = np.arange(-width / 2 - 220, width / 2 + 220.5, 1.0)
    bark = rng.random() < 0.55 if w.bark is None else w.bark
    longest = length * rng.uniform(1.1, 1.9)

    def long_side(live: bool) -> np.ndarray:
        if live:
            bow = rng.normal(0, 0.035) * width * np.cos((x / length - 0.5) * np.pi)
            slope = rng.normal(0, 0.03) * (x - length / 2)
            return _wavy(rng, x, width * rng.uniform(0.012, 0.045), longest) + bow + slope
        return rng.normal(0, 0.004) * (x - length / 2) + 0.12 * _wavy(rng, x, 1.0, 300)

    def end(at: float) -> np.ndarray:
        return at + rng.normal(0, 0.015) * y + 0.25 * _wavy(rng, y, 1.0, 240)

    def bevel(live: bool) -> np.ndarray:
        if not live:
            return np.zeros_like(x)
        return rng.normal(0.18, 0.25) + 0.05 * _wavy(rng, x, 1.0, 600)

    def thick(live: bool) -> float:
        return float(WOODS[look].default_bark * rng.uniform(0.6, 1.5)) if live and bark else 0.0

    return EdgeLine(
        frozen_array(x),
        frozen_array(-width / 2 + long_side(live_top)),
        frozen_array(width / 2 + long_side(live_bottom)),
        frozen_array(y),
        frozen_array(end(0.0)),
        frozen_array(end(length)),
        live_top,
        live_bottom,
        frozen_array(bevel(live_top)),
        frozen_array(bevel(live_bottom)),
        thick(live_top),
        thick(live_bottom),
    )
