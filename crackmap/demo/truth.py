"""The truth of a rendered photograph, in the form that the benchmarks read."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from crackmap.demo.edges import outline
from crackmap.demo.lens import Lens
from crackmap.demo.noise import Float32
from crackmap.demo.scene import CrackShape, SlabScene, Thing, VoidShape
from crackmap.demo.things import corners, level, outer_size


def _rounded(values: ArrayLike) -> list[Any]:
    rounded: list[Any] = np.round(np.asarray(values, float), 3).tolist()
    return rounded


def _covered(thing_cover: Float32, points_px: NDArray[np.float64]) -> NDArray[np.bool_]:
    """True where a thing on top hides a point of the photo; points outside the photo count as hidden."""
    h, w = thing_cover.shape
    column, row = np.round(points_px).astype(int).T
    seen = (column >= 0) & (column < w) & (row >= 0) & (row < h)
    hidden = np.ones(len(points_px), bool)
    hidden[seen] = thing_cover[row[seen], column[seen]] > 0.5
    return hidden


def _crack_truth(scene: SlabScene, lens: Lens, crack: CrackShape, thing_cover: Float32) -> dict[str, Any]:
    mapping = lens.mapping()
    pixels = mapping.to_pixels(crack.centreline)
    through = crack.depth >= 0.999 * scene.thickness_mm
    step = np.hypot(*np.diff(crack.centreline, axis=0).T)
    return {
        "kind": crack.kind,
        "parent": crack.parent,
        "centreline_mm": _rounded(crack.centreline),
        "width_mm": _rounded(crack.width),
        "depth_mm": np.round(np.minimum(crack.depth, scene.thickness_mm), 2).tolist(),
        "visible": (~_covered(thing_cover, pixels)).astype(int).tolist(),
        "through": bool(through.any()),
        "through_fraction": float(through.mean()),
        "dust_fraction": float((crack.dusty > 0.5).mean()),
        "length_mm": float(step.sum()),
        "max_width_mm": float(crack.width.max()),
        "centreline_px": _rounded(pixels),
        "width_px": _rounded(crack.width / mapping.mm_per_px_at(crack.centreline)),
    }


def _void_truth(scene: SlabScene, lens: Lens, void: VoidShape, thing_cover: Float32) -> dict[str, Any]:
    rim = void.polygon
    x, y = rim.T
    area = 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
    pixels = lens.mapping().to_pixels(rim)
    spread = lens.mapping().to_pixels(
        np.concatenate([void.centre + s * (rim - void.centre) for s in (0.2, 0.4, 0.6, 0.8, 0.97)])
    )
    return {
        "kind": void.kind,
        "through": void.through,
        "depth_mm": float(scene.thickness_mm if void.through else void.depth),
        "area_mm2": area,
        "polygon_mm": _rounded(rim),
        "polygon_px": _rounded(pixels),
        "occluded_fraction": float(_covered(thing_cover, spread).mean()),
    }


def _thing_truth(scene: SlabScene, lens: Lens, thing: Thing) -> dict[str, Any]:
    z = level(scene, thing)
    mapping = lens.mapping(z)
    inner, outer = corners(thing, thing.size), corners(thing, outer_size(thing))
    entry: dict[str, Any] = {"type": thing.kind}
    if thing.kind == "marker":
        entry |= {"id": thing.id, "dictionary": "DICT_4X4_50", "size_mm": thing.size[0]}
    else:
        entry["size_mm"] = list(thing.size)
    return entry | {
        "where": thing.where,
        "z_mm": z,
        "corners_mm": _rounded(inner),
        "corners_px": _rounded(mapping.to_pixels(inner)),
        "outer_mm": _rounded(outer),
        "outer_px": _rounded(mapping.to_pixels(outer)),
    }


def _silhouette(lens: Lens, body: Float32) -> tuple[list[Any], list[Any]]:
    """Outline of what is seen as slab (sides and bark included), in pixels and on the show face."""
    mask = (body > 0.5).astype(np.uint8)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return [], []
    pixels = max(contours, key=cv2.contourArea).reshape(-1, 2)[::2].astype(float)
    return _rounded(pixels), _rounded(lens.mapping().to_slab(pixels))


def write_truth(scene: SlabScene, lens: Lens, body: Float32, thing_cover: Float32) -> dict[str, Any]:
    """The truth of a scene as a JSON-ready dict (slab millimetres, x right, y down).

    Parameters
    ----------
    body : ndarray of float32, shape (H, W)
        Share of each pixel that is slab.
    thing_cover : ndarray of float32, shape (H, W)
        Share of each pixel hidden by a thing on top.
    """
    mapping = lens.mapping()
    ring = outline(scene.edges)
    silhouette_px, silhouette_mm = _silhouette(lens, body)
    live = {(True, True): "both", (True, False): "top", (False, True): "bottom", (False, False): "none"}
    return {
        "name": scene.name,
        "seed": scene.seed,
        "frame": "slab mm: x right, y DOWN seen from above, z = depth below the show face (0 on it)",
        "y_axis": "down",
        "image_size": list(lens.size_px),
        "species_look": scene.look,
        "thickness_mm": scene.thickness_mm,
        "length_mm": scene.length,
        "width_mm": scene.width,
        "live_sides": live[scene.edges.live_top, scene.edges.live_bottom],
        "bark_on": bool(scene.edges.bark_top or scene.edges.bark_bottom),
        "grain_direction": [1.0, 0.0],
        "background": scene.bench,
        "lighting": scene.light.kind,
        "mm_per_px": float(mapping.mm_per_px_at(ring.mean(0))[0]),
        "camera": {
            "K": lens.k.tolist(),
            "R": lens.r.tolist(),
            "t": lens.t.tolist(),
            "dist_k1k2p1p2k3": lens.distortion.tolist(),
            "tilt_deg": scene.camera.tilt_deg,
            "height_mm": scene.camera.height,
            "note": "OpenCV convention, pixel centres at whole numbers",
        },
        "H_mm_to_undistorted_px": lens.homography().tolist(),
        "post": {
            "vignette": scene.exposure.vignette,
            "psf_sigma_px": scene.exposure.blur_px,
            "noise": scene.exposure.photon_noise,
            "jpeg": scene.exposure.jpeg_quality,
        },
        "outline_mm": _rounded(ring),
        "outline_px": _rounded(mapping.to_pixels(ring)),
        "apparent_silhouette_mm": silhouette_mm,
        "apparent_silhouette_px": silhouette_px,
        "voids": [_void_truth(scene, lens, v, thing_cover) for v in scene.voids],
        "cracks": [_crack_truth(scene, lens, c, thing_cover) for c in scene.cracks],
        "references": [_thing_truth(scene, lens, t) for t in scene.things],
        "sound_knots_mm": [{"x": k.x, "y": k.y, "r": k.radius, "elong": k.stretch} for k in scene.knots],
    }
