"""Small pieces of slab pictures with exact masks, for training and for tests of the survey."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crackmap.demo.lens import aim
from crackmap.demo.look_alikes import with_look_alikes
from crackmap.demo.noise import Float32
from crackmap.demo.random_scene import random_scene
from crackmap.demo.render import compose, expose
from crackmap.demo.scene import CameraPose, SlabScene
from crackmap.demo.truth import write_truth


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """A piece of a picture and what each pixel shows.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        sRGB.
    crack, void, face, thing : ndarray of float32, shape (H, W)
        Share of each pixel that is crack, void, show face (openings included) or
        a thing lying on top. [-]
    mm_per_px : float
    truth : dict
        As `render` gives; `centreline_px` and the other pixels are the patch's own.
    """

    pixels: NDArray[np.uint8]
    crack: Float32
    void: Float32
    face: Float32
    thing: Float32
    mm_per_px: float
    truth: dict[str, Any]


def render_patch(
    scene: SlabScene,
    centre_mm: ArrayLike,
    size_px: int = 256,
    mm_per_px: float = 0.5,
    turn_deg: float = 0.0,
    slant_deg: float = 0.0,
    slant_towards_deg: float = 0.0,
    oversampling: int = 2,
) -> Patch:
    """A square piece of a scene round a point of the show face.

    Parameters
    ----------
    centre_mm : array of float, shape (2,)
        Slab frame, y down. [mm]
    slant_deg : float
        Angle between the line of sight and the vertical: near the border of a
        wide-angle photo it reaches 30 degrees, which shows the walls of cracks.
    """
    x, y = (float(v) for v in np.asarray(centre_mm, float).reshape(2))
    height = scene.camera.height
    middle = ((size_px - 1) / 2,) * 2
    pose = CameraPose(
        (size_px, size_px), height / mm_per_px, middle, (x, y), height, slant_deg, slant_towards_deg, turn_deg
    )
    close = dataclasses.replace(
        scene, camera=pose, exposure=dataclasses.replace(scene.exposure, vignette=0.0)
    )
    lens = aim(pose)
    layers = compose(close, lens, oversampling, strip_px=size_px)
    truth = write_truth(close, lens, layers.body, layers.thing)
    return Patch(
        expose(close, layers.light), layers.crack, layers.void, layers.face, layers.thing, mm_per_px, truth
    )


def random_patch(
    seed: int,
    size_px: int = 256,
    mm_per_px: float | None = None,
    near_crack: float = 0.75,
    look_alikes: bool = False,
    near_feature: float = 0.0,
    **wishes: Any,
) -> Patch:
    """A piece of a random scene: round a point of a crack with chance `near_crack`, else anywhere.

    On a scene without cracks it lies at a void, a knot or the slab's edge with
    chance `near_feature`.

    `wishes` go to `random_scene`; `mm_per_px` is drawn between 0.15 and 1.2 when
    None. With `look_alikes` the wood is odder and more on it resembles a crack.

    Chances are 0 to 1. [-]
    """
    rng = np.random.default_rng([seed, 9])
    scene = random_scene(seed, **wishes)
    if scene.cracks and rng.random() < near_crack:
        line = scene.cracks[int(rng.integers(len(scene.cracks)))].centreline
        centre = line[int(rng.integers(len(line)))]
    elif near_feature and not scene.cracks and rng.random() < near_feature:
        centre = _feature(rng, scene)
    else:
        centre = np.array([rng.uniform(0.05, 0.95) * scene.length, rng.uniform(-0.45, 0.45) * scene.width])
    pitch = mm_per_px or float(np.exp(rng.uniform(np.log(0.15), np.log(1.2))))
    centre = centre + rng.uniform(-0.3, 0.3, 2) * size_px * pitch
    if look_alikes:
        scene = with_look_alikes(scene, centre, size_px * pitch / 2, seed)
    return render_patch(
        scene,
        centre,
        size_px,
        pitch,
        float(rng.uniform(0, 360)),
        float(rng.uniform(0, 28)),
        float(rng.uniform(0, 360)),
    )


def _feature(rng: np.random.Generator, scene: SlabScene) -> NDArray[np.float64]:
    """The middle of a void or a knot, or a point of the slab's edge. [mm]"""
    e = scene.edges
    k, m = int(rng.integers(len(e.x))), int(rng.integers(len(e.y)))
    places = [void.centre for void in scene.voids] + [(knot.x, knot.y) for knot in scene.knots]
    places += [(e.x[k], e.top[k]), (e.x[k], e.bottom[k]), (e.left[m], e.y[m]), (e.right[m], e.y[m])]
    return np.array(places[int(rng.integers(len(places)))], float)
