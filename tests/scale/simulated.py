"""Simulated cameras over simulated markers: what a perfect detector would hand to the fit, plus noise.

Used by the tests and by the benchmark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crackmap.scale.camera import STRAIGHT_DOWN, Camera, Lens, focal_from_35mm, rotation_from_vector
from crackmap.scale.flat import fit_homography, line_sigmas, photo_normals
from crackmap.scale.mapping import Mapping
from crackmap.scale.markers import BLOOM_SIGMA, CELLS, edge_pieces, grid_lines
from crackmap.scale.problem import Priors
from crackmap.scale.target import FloatArray, Target, rectangle_corners


@dataclass(frozen=True)
class Noise:
    """What goes wrong in finding edges; one-sigma figures in pixels."""

    line: float = 0.02  # each grid line as a whole, at its middle and (askew) at its ends
    piece: float = 0.01  # each piece of edge by itself
    bloom: float = 0.1  # all edges of a marker alike


@dataclass(frozen=True)
class Scene:
    """A camera over a slab with markers."""

    camera: Camera
    width: int
    height: int
    slab: FloatArray  # (2, 2) lower left and upper right corner [mm]
    places: FloatArray  # (n, 3) x, y, turn of the markers


def draw_scene(rng: np.random.Generator, markers: int, width: int = 4000, height: int = 3000,
               focal_spread: float = 0.10, k1_most: float = 0.03, most_tilt: float = 15.0) -> Scene:
    """A camera 1.2 to 2.6 m above a slab that fills most of the view, markers at its ends.

    26 mm equivalent give or take `focal_spread`, tilted by up to `most_tilt` degrees.
    """
    distance = rng.uniform(1200, 2600)
    focal = focal_from_35mm(26, width, height) * np.exp(rng.normal(0, focal_spread))
    lens = Lens.central(focal, rng.uniform(-k1_most, k1_most), width, height)
    tilt, azimuth = np.radians(rng.uniform(0, most_tilt)), rng.uniform(0, 2 * np.pi)
    rotation = rotation_from_vector(tilt * np.array([np.cos(azimuth), np.sin(azimuth), 0])) @ STRAIGHT_DOWN
    camera = Camera(lens, rotation, np.zeros(3))
    middle = camera.lens.to_rays(np.array([[width / 2, height / 2]]))[0]
    camera = Camera(lens, rotation, np.append(middle, 1.0) * distance / np.cos(tilt))
    length, depth = 0.8 * width / focal * distance, rng.uniform(0.3, 0.6) * height / focal * distance
    slab = np.array([[-length / 2, -depth / 2], [length / 2, depth / 2]])
    x, y = length / 2 - 90, max(depth / 2 - 90, 20)
    spots = {1: [(rng.uniform(-x, x) / 2, rng.uniform(-y, y))],
             2: [(-x, rng.uniform(-y, y)), (x, rng.uniform(-y, y))],
             3: [(-x, -y), (x, 0), (-x, y)],
             4: [(-x, -y), (x, -y), (x, y), (-x, y)]}[markers]
    turns = rng.uniform(0, 2 * np.pi, markers)
    return Scene(camera, width, height, slab, np.c_[np.array(spots), turns])


def see_marker(scene: Scene, index: int, rng: np.random.Generator, noise: Noise, size: float = 100.0,
               height: float = 0.0, printed: float | None = None) -> Target:
    """A marker as the finder would measure it; `printed` is its true side if it is not `size`."""
    starts, ends, outward = edge_pieces(index)
    middles, along = (starts + ends) / 2, ends - starts
    x, y, turn = scene.places[index]
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])

    def project(points: FloatArray) -> FloatArray:
        on_slab = points * ((printed or size) / CELLS) @ rotation.T + [x, y]
        return scene.camera.see(np.c_[on_slab, np.full(len(on_slab), height)])

    step = 0.01
    run = project(middles + step * along) - project(middles - step * along)
    normals = np.c_[-run[:, 1], run[:, 0]] / np.hypot(*run.T)[:, None]
    side = project(middles + step * outward) - project(middles - step * outward)
    normals *= np.sign((normals * side).sum(axis=1))[:, None]
    off = _edge_errors(middles, outward, rng, noise)
    pixels = project(middles) + normals * off[:, None]
    return _as_found(index, size, height, middles, outward, along, pixels, project(rectangle_corners(CELLS, CELLS)),
                     noise)


def _edge_errors(middles: FloatArray, outward: FloatArray, rng: np.random.Generator, noise: Noise) -> FloatArray:
    """Error of each piece along its normal, shared by the pieces on one line."""
    upright = np.abs(outward[:, 0]) > 0.5
    line = grid_lines(middles)
    place = np.where(upright, middles[:, 1], middles[:, 0]) / (CELLS / 2)
    sign = np.where(upright, outward[:, 0], outward[:, 1])
    off = rng.normal(0, noise.piece, len(middles)) + rng.normal(0, noise.bloom)
    for value in np.unique(line):
        on = line == value
        off[on] += sign[on] * (rng.normal(0, noise.line) + rng.normal(0, noise.line) * place[on])
    return off


def _as_found(index: int, size: float, height: float, middles: FloatArray, outward: FloatArray, along: FloatArray,
              pixels: FloatArray, corners: FloatArray, noise: Noise) -> Target:
    """The same steps as the finder takes from edge points to a target."""
    import cv2

    start = cv2.getPerspectiveTransform(rectangle_corners(CELLS, CELLS).astype(np.float32),
                                        corners.astype(np.float32)).astype(float)
    normals = photo_normals(start, middles, outward, along)
    homography, misfit = fit_homography(start, middles, pixels, normals)
    own = np.full(len(middles), noise.piece / 2)
    mapped = rectangle_corners(CELLS, CELLS) @ homography[:, :2].T + homography[:, 2]
    return Target("marker", index, (size, size), height, middles * (size / CELLS), pixels, normals,
                  line_sigmas(own, misfit, grid_lines(middles)), own, grid_lines(middles), BLOOM_SIGMA,
                  mapped[:, :2] / mapped[:, 2:], 0.8, 0.7)


def exact_print(width: int, height: int) -> Priors:
    """Priors of a phone camera where the print's size and flatness are known exactly."""
    return Priors(focal_from_35mm(26, width, height), 0.10, 0.02, 0.0, 0.0, 0.0, float(np.sin(np.radians(15))))


def scale_errors(true_camera: Camera, mapping: Mapping, slab: FloatArray) -> FloatArray:
    """|distance ratio - 1| of far pairs of a grid over the slab, as the design defines scale error. [-]"""
    x, y = np.meshgrid(np.linspace(slab[0, 0], slab[1, 0], 9), np.linspace(slab[0, 1], slab[1, 1], 5))
    true = np.stack([x.ravel(), y.ravel()], axis=1)
    found = mapping.to_slab(true_camera.see(np.c_[true, np.zeros(len(true))]))
    first, second = np.triu_indices(len(true), 1)
    length = np.linalg.norm(true[first] - true[second], axis=1)
    ratio = np.linalg.norm(found[first] - found[second], axis=1) / length
    return np.asarray(np.abs(ratio - 1)[length > 0.4 * length.max()])
