"""Cracks that hardly look like one: shallow, choked with dust or dirt, pale inside, stained beside."""

from __future__ import annotations

import dataclasses

import numpy as np

from crackmap.demo.grow_cracks import jagged
from crackmap.demo.looks import RGB
from crackmap.demo.scene import CrackShape, SlabScene
from crackmap.records import frozen_array

_SAWDUST = (206, 182, 148)


def odd_crack(rng: np.random.Generator, scene: SlabScene, crack: CrackShape) -> CrackShape:
    """The crack with other walls on most, and now and then shallow, filled or stained beside.

    Its centreline and widths stay as they are, and it gets no deeper.
    """
    if rng.random() < 0.6:
        crack = dataclasses.replace(crack, wall=_wall(rng, scene), glow=float(0.25 * np.exp(rng.normal(0, 0.6))))
    kind = rng.random()
    count = len(crack.width)
    if kind < 0.16:  # one sees its floor
        floor = crack.width * rng.uniform(0.6, 2.5) * np.exp(0.2 * jagged(rng, count, 12, 1.0)) + 0.2
        return dataclasses.replace(crack, depth=frozen_array(np.minimum(crack.depth, np.clip(floor, 0.2, None))))
    if kind < 0.34:
        level = np.clip(rng.uniform(0.2, 3.0) * np.exp(0.4 * jagged(rng, count, 10, 1.0)), 0.15, None)
        filled = np.abs(jagged(rng, count, 40, 1.0)) < rng.uniform(0.4, 2)
        return dataclasses.replace(
            crack, depth=frozen_array(np.where(filled, np.minimum(crack.depth, level), crack.depth)),
            dusty=frozen_array(np.maximum(filled, crack.dusty)), fill=_filling(rng, scene),
        )
    if kind < 0.44:
        return dataclasses.replace(crack, halo=float(rng.uniform(0.2, 1.0)))
    return crack


def _wall(rng: np.random.Generator, scene: SlabScene) -> RGB:
    """Fresh split wood, paler than the planed face; or weathered: dark and grey."""
    wood = np.array(scene.wood.early if rng.random() < 0.7 else scene.wood.sap, float)
    c = wood * np.exp(rng.normal(-0.2, 0.3))
    c = c + (c.mean() - c) * rng.uniform(-0.2, 0.9)
    c = np.clip(c, 4, 240)
    return (float(c[0]), float(c[1]), float(c[2]))


def _filling(rng: np.random.Generator, scene: SlabScene) -> RGB:
    """Sawdust of the same wood, paler; or dirt, which is dark."""
    early = np.array(scene.wood.early)
    share = rng.uniform(0, 0.8)
    c = early + (np.array(_SAWDUST) - early) * share if rng.random() < 0.6 else early * rng.uniform(0.3, 0.9)
    return (float(c[0]), float(c[1]), float(c[2]))
