"""Both faces of one slab: the show face, and the underside after turning it over about its long axis.

Underside frame: x as on the show face, y mirrored (y down in its own picture),
z down from the underside.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crackmap.demo.openings import inner_width, narrowing
from crackmap.demo.random_scene import random_scene
from crackmap.demo.random_setting import draw_camera
from crackmap.demo.random_things import draw_things
from crackmap.demo.render import render
from crackmap.demo.scene import CrackShape, EdgeLine, SlabScene, VoidShape
from crackmap.demo.wishes import SceneWishes
from crackmap.records import FloatArray, frozen_array

UNDER_TO_SHOW = [[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]]
_SHORTEST = 4  # vertices of an opening worth a crack of its own


def _mirrored(points: FloatArray) -> NDArray[np.float64]:
    return np.asarray(points * [1.0, -1.0], float)


def turn_edges(edges: EdgeLine, thickness: float) -> EdgeLine:
    """The underside's edges: a side that leans out by b mm a mm leans in by as much from below."""
    return EdgeLine(
        x=edges.x,
        top=frozen_array(-(edges.bottom + edges.bevel_bottom * thickness)),
        bottom=frozen_array(-(edges.top - edges.bevel_top * thickness)),
        y=frozen_array(-edges.y[::-1]),
        left=frozen_array(edges.left[::-1]),
        right=frozen_array(edges.right[::-1]),
        live_top=edges.live_bottom,
        live_bottom=edges.live_top,
        bevel_top=frozen_array(-edges.bevel_bottom),
        bevel_bottom=frozen_array(-edges.bevel_top),
        bark_top=edges.bark_bottom,
        bark_bottom=edges.bark_top,
    )


def turn_crack(crack: CrackShape, thickness: float) -> list[CrackShape]:
    """What a crack shows below: each stretch that goes right through, moved by its lean.

    `thickness` is the slab's. [mm]
    """
    through = np.r_[False, crack.depth >= 0.999 * thickness, False]
    starts, stops = np.flatnonzero(through[1:] & ~through[:-1]), np.flatnonzero(~through[1:] & through[:-1])
    unit = np.gradient(crack.centreline, axis=0)
    unit /= np.linalg.norm(unit, axis=1, keepdims=True)
    left = np.c_[unit[:, 1], -unit[:, 0]]
    line = _mirrored(frozen_array(crack.centreline + crack.lean * thickness * left))
    width = inner_width(crack.width) * narrowing(thickness, 3 * thickness)
    parts = []
    for first, last in zip(starts, stops, strict=True):
        if last - first < _SHORTEST:
            continue
        part = slice(int(first), int(last))
        count = int(last - first)
        parts.append(
            dataclasses.replace(
                crack,
                centreline=frozen_array(line[part]),
                width=frozen_array(width[part]),
                depth=frozen_array(np.full(count, thickness)),
                dusty=frozen_array(np.zeros(count)),
                parent=None,
                kind="split" if crack.kind == "split" else "through_opening",
            )
        )
    return parts


def turn_void(void: VoidShape) -> VoidShape:
    """A through void from below: its narrow end up."""
    return dataclasses.replace(
        void,
        centre=frozen_array(_mirrored(void.centre)),
        radii=frozen_array(np.roll(void.radii[::-1], 1) * (1 - void.taper)),
        taper=-void.taper / (1 - void.taper),
    )


def turn_over(scene: SlabScene, seed: int, **wishes: Any) -> SlabScene:
    """The same slab turned about its long axis, photographed anew (other light, bench, camera, markers)."""
    anew = random_scene(seed, **(wishes | {"look": scene.look, "length": scene.length, "width": scene.width}))
    w = SceneWishes().with_changes(**wishes)
    rng = np.random.default_rng([seed, 5])
    edges = turn_edges(scene.edges, scene.thickness_mm)
    turned = dataclasses.replace(
        anew,
        thickness_mm=scene.thickness_mm,
        edges=edges,
        camera=draw_camera(rng, w, edges, scene.length, scene.width),
        pith_depth=scene.thickness_mm - scene.pith_depth,
        pith_y=-scene.pith_y,
        sapwood=scene.sapwood,
        cracks=tuple(part for c in scene.cracks for part in turn_crack(c, scene.thickness_mm)),
        voids=tuple(turn_void(v) for v in scene.voids if v.through),
        knots=tuple(dataclasses.replace(k, y=-k.y) for k in scene.knots),
        things=(),
    )
    return dataclasses.replace(turned, things=draw_things(rng, w, turned))


def render_pair(
    seed: int, oversampling: int = 2, **wishes: Any
) -> list[tuple[SlabScene, Any, dict[str, Any]]]:
    """Show face and underside of one slab: scene, photo and truth of each.

    The underside's truth also has `face`, and `under_to_show`: the matrix that takes
    its millimetres (x, y, 1) to the show face's.
    """
    show = random_scene(seed, **wishes)
    show = dataclasses.replace(show, name=f"P{seed:02d}_show")
    under = dataclasses.replace(turn_over(show, seed + 100_000, **wishes), name=f"P{seed:02d}_under")
    pair = []
    for scene in (show, under):
        photo, truth = render(scene, oversampling)
        truth["face"] = "show" if scene is show else "under"
        if scene is under:
            truth["under_to_show"] = {"matrix": UNDER_TO_SHOW, "det": -1, "thickness_mm": scene.thickness_mm}
        pair.append((scene, photo, truth))
    return pair
