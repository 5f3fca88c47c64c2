"""From a scene to a photograph and its truth.

Everything is composed in linear light on sub-pixels of the photo itself: each
sub-pixel's sight line is bent by the lens and followed to the slab, so there is
no resampling, and what is drawn lies where the truth says. The camera's own
faults (blur, noise, coding) come last.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.demo.bench_texture import LitBench
from crackmap.demo.edges import inside_distance
from crackmap.demo.lens import Lens, Rays, aim, cast_rays
from crackmap.demo.lighting import glare, main_light, map_shadow, shade, towards_light
from crackmap.demo.looks import encoded, linear
from crackmap.demo.noise import Float32, fibre, sample
from crackmap.demo.openings import paint_crack, paint_void
from crackmap.demo.painted import add_painted
from crackmap.demo.patch_grid import Grid
from crackmap.demo.scene import SlabScene
from crackmap.demo.sides import paint_sides, reach_outside
from crackmap.demo.surface_marks import add_finish
from crackmap.demo.things import paint_thing
from crackmap.demo.truth import write_truth
from crackmap.demo.wood_texture import Log, albedo, grow_log

_STRIP = 32  # photo rows composed at a time, to keep memory small


@dataclass(frozen=True, slots=True, eq=False)
class Layers:
    """A composed view before the camera's faults, at photo resolution.

    Attributes
    ----------
    light : ndarray of float32, shape (H, W, 3)
        Linear light.
    face, body, crack, void, thing : ndarray of float32, shape (H, W)
        Share of each pixel that is show face (openings and what lies on it
        included), slab seen at all, crack or void in plain sight, or a thing
        lying on top. [-]
    """

    light: Float32
    face: Float32
    body: Float32
    crack: Float32
    void: Float32
    thing: Float32


def render(scene: SlabScene, oversampling: int = 2) -> tuple[NDArray[np.uint8], dict[str, Any]]:
    """The photograph of a scene, and its truth.

    Parameters
    ----------
    scene : SlabScene
    oversampling : int
        Sub-pixels a side in each pixel.

    Returns
    -------
    photo : ndarray of uint8, shape (H, W, 3)
        sRGB.
    truth : dict
        As JSON; slab millimetres, y down.
    """
    lens = aim(scene.camera)
    layers = compose(scene, lens, oversampling)
    photo = expose(scene, layers.light)
    return photo, write_truth(scene, lens, layers.body, layers.thing)


def compose(scene: SlabScene, lens: Lens, oversampling: int = 2, strip_px: int = _STRIP) -> Layers:
    """The view in linear light and the share of each pixel that each layer has."""
    width, height = lens.size_px
    footprint = float(lens.mapping().mm_per_px_at([scene.camera.look_at])[0]) / oversampling
    log = grow_log(scene, footprint)
    bench = LitBench(scene, map_shadow(scene), footprint * oversampling)
    light = np.empty((height, width, 3), np.float32)
    shares = np.empty((height, width, 5), np.float32)
    for first in range(0, height, strip_px):
        rows = (first, min(first + strip_px, height))
        rays = cast_rays(lens, rows, oversampling)
        picture, covers = _compose_block(scene, log, bench, rays, oversampling)
        size = (width, rows[1] - rows[0])
        light[rows[0] : rows[1]] = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        for k, cover in enumerate(covers):
            shares[rows[0] : rows[1], :, k] = cv2.resize(cover, size, interpolation=cv2.INTER_AREA)
    return Layers(light, *(np.ascontiguousarray(shares[..., k]) for k in range(5)))


def _compose_block(
    scene: SlabScene, log: Log, bench: LitBench, rays: Rays, oversampling: int
) -> tuple[Float32, list[Float32]]:
    """One block of sub-pixels: bench, sides, face, openings, then things on top."""
    footprint = bench.footprint / oversampling
    inside = inside_distance(scene.edges, rays.x, rays.y)
    face = np.clip(0.5 + inside / footprint, 0, 1)
    band = (face < 1) & (inside > -reach_outside(scene, rays))
    picture = _bench(bench, rays, face < 1, oversampling)
    body = paint_sides(scene, rays, band, picture)
    cover = {name: np.zeros_like(face) for name in ("crack", "void", "thing")}
    for thing in scene.things:
        if thing.where == "bench":
            paint_thing(scene, thing, rays, footprint, picture, np.zeros_like(face), (1 - face) * (1 - body))
    if (face > 0).any():
        top = _face(scene, log, rays, footprint, inside)
        grid = Grid(rays.x, rays.y, footprint)
        order = sorted(
            range(len(scene.cracks)), key=lambda i: scene.cracks[i].parent is None
        )  # branches first
        for i in order:
            paint_crack(scene, scene.cracks[i], rays, grid, top, cover["crack"], inside, bench)
        for void in scene.voids:
            paint_void(scene, void, rays, grid, top, cover["void"], bench)
        picture += (top - picture) * face[..., None]
    for thing in scene.things:
        if thing.where == "top":
            paint_thing(scene, thing, rays, footprint, picture, cover["thing"])
    seen = face * (1 - cover["thing"])
    crack = cover["crack"] * (1 - cover["void"]) * seen  # a void swallows the cracks that run into it
    return picture, [face, np.maximum(face, body), crack, cover["void"] * seen, cover["thing"]]


def _bench(bench: LitBench, rays: Rays, needed: NDArray[np.bool_], oversampling: int) -> Float32:
    """The bench where it is not hidden by the show face; zero elsewhere.

    Sampled once a pixel: nothing is measured on it, and it is the costliest texture.
    """
    full = (needed.shape[1], needed.shape[0])
    small = (full[0] // oversampling, full[1] // oversampling)
    x, y = (cv2.resize(m, small, interpolation=cv2.INTER_AREA) for m in rays.at(bench.scene.thickness_mm))
    near = cv2.dilate(needed.astype(np.uint8), np.ones((7, 7), np.uint8))
    wanted = cv2.resize(near, small, interpolation=cv2.INTER_AREA) > 0
    picture = np.zeros((*x.shape, 3), np.float32)
    if wanted.any():
        picture[wanted] = bench.seen_at(x[wanted], y[wanted])
    return np.asarray(cv2.resize(picture, full, interpolation=cv2.INTER_LINEAR), np.float32)


def _face(scene: SlabScene, log: Log, rays: Rays, footprint: float, inside: Float32) -> Float32:
    """The lit show face, in the box that it fills; zero elsewhere."""
    top = np.zeros((*inside.shape, 3), np.float32)
    on = inside > -1.0
    rows, columns = np.flatnonzero(on.any(1)), np.flatnonzero(on.any(0))
    w = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    grid = Grid(rays.x[w], rays.y[w], footprint)
    colour = albedo(scene, log, grid, inside[w])
    add_painted(colour, scene, grid)
    relief = add_finish(colour, scene, grid)
    lx, _, lz = towards_light(scene.light)
    slope = np.float32(0.035 * scene.finish.saw_marks * (lx / -lz))
    direct = main_light(scene.light, grid.x, grid.y, 0.0) * np.clip(1 + slope * relief, 0.5, 1.5)
    lit = colour * shade(scene.light, direct, np.ones_like(direct))
    if scene.light.glare is not None:
        sheen = sample(fibre(0), grid.x * np.float32(1 / 1.2), grid.y * np.float32(1 / 0.4))
        lit += glare(scene.light, grid.x, grid.y, sheen)
    top[w] = lit
    return top


def _vignette(shape: tuple[int, int], strength: float) -> Float32:
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    cy, cx = (shape[0] - 1) / 2, (shape[1] - 1) / 2
    r2 = ((x - cx) ** 2 + (y - cy) ** 2) / np.float32(cx * cx + cy * cy)
    return np.asarray(1 - strength * r2 * (0.75 + 0.25 * r2), np.float32)


def expose(scene: SlabScene, light: Float32) -> NDArray[np.uint8]:
    """What the camera makes of the light: level, vignette, blur, noise, sharpening, sRGB.

    `light` has shape (H, W, 3).
    """
    e = scene.exposure
    wood = linear(scene.wood.early)
    sky = np.array(scene.light.sky_colour) * scene.light.sky
    irradiance = np.array(scene.light.colour) * scene.light.direct + sky
    gain = e.level * _target(wood) / float((wood * irradiance).max())
    image = light * (gain * np.array(e.balance, np.float32) / np.float32(np.mean(e.balance)))
    image += e.flare
    image *= _vignette(image.shape[:2], e.vignette)[..., None]
    if e.blur_px > 0:
        image = cv2.GaussianBlur(image, (0, 0), e.blur_px)
    np.clip(image, 0, 1, out=image)
    if e.read_noise > 0 or e.photon_noise > 0:
        rng = np.random.default_rng([scene.seed, 77])
        for rows in np.array_split(image, max(len(image) // 128, 1)):  # views: the picture changes in place
            sigma = np.sqrt(e.read_noise**2 + e.photon_noise**2 * rows)
            rows += sigma * rng.standard_normal(rows.shape, dtype=np.float32)
    coded = encoded(image)
    if e.sharpening > 0:
        coded += e.sharpening * (coded - cv2.GaussianBlur(coded, (0, 0), 1.2))
    coded *= 255
    coded += 0.5
    np.clip(coded, 0, 255, out=coded)
    return coded.astype(np.uint8)


def _target(wood: NDArray[np.float32]) -> float:
    """How bright a light meter leaves a wood: dark woods stay dark, though not as dark as they are."""
    return float(np.sqrt(wood.max()))
