"""Small drawn photographs with exact truth: markers, sheets and cards on a grained board."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.records import Photo, PhotoFacts, freeze
from crackmap.scale.camera import STRAIGHT_DOWN, Camera, Lens, focal_from_35mm, rotation_from_vector
from crackmap.scale.markers import CELLS, marker_cells
from crackmap.scale.target import FloatArray

SAMPLES = 4  # a side of each pixel
WOOD = np.array([0.42, 0.27, 0.15])  # linear light


def camera_above(width: int = 1600, height: int = 1200, distance: float = 1000.0,
                 tilt: tuple[float, float] = (0.06, -0.04), k1: float = 0.0, focal_35mm: float = 26.0) -> Camera:
    """A camera over the slab's origin, tilted by a rotation vector's x and y. [rad]"""
    lens = Lens.central(focal_from_35mm(focal_35mm, width, height), k1, width, height)
    rotation = rotation_from_vector(np.array([*tilt, 0.0])) @ STRAIGHT_DOWN
    middle = lens.to_rays(np.array([[(width - 1) / 2, (height - 1) / 2]]))[0]
    return Camera(lens, rotation, np.append(middle, 1.0) * distance)


def board(camera: Camera, width: int, height: int, seed: int = 0) -> NDArray[np.float32]:
    """Linear light of plain grained wood over the whole view, shape (H, W, 3)."""
    rng = np.random.default_rng(seed)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (height, width)).astype(np.float32), (0, 0), sigmaX=40, sigmaY=1.2)
    return (WOOD * (1 + 0.12 * grain / grain.std())[..., None]).astype(np.float32)


Colour = Callable[[FloatArray], tuple[FloatArray, FloatArray]]


def lay(light: NDArray[np.float32], camera: Camera, place: tuple[float, float, float], reach: float, colour: Colour,
        height: float = 0.0) -> None:
    """Lay a flat thing at x, y, turn; `colour` gives light (N, 3) and cover (N,) for points on it. [mm]"""
    x, y, turn = place
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]]) * reach + [x, y]
    seen = camera.see(np.c_[corners, np.full(4, height)])
    left, top = np.maximum(np.floor(seen.min(axis=0)).astype(int) - 2, 0)
    right, bottom = np.minimum(np.ceil(seen.max(axis=0)).astype(int) + 3, [light.shape[1], light.shape[0]])
    columns = left + (np.arange((right - left) * SAMPLES) + 0.5) / SAMPLES - 0.5
    rows = top + (np.arange((bottom - top) * SAMPLES) + 0.5) / SAMPLES - 0.5
    pixels = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    raised = Camera(camera.lens, camera.rotation, camera.translation + camera.rotation[:, 2] * height)
    on_plane = raised.meet_plane(pixels) - [x, y]
    cos, sin = np.cos(turn), np.sin(turn)
    own = np.stack([on_plane[:, 0] * cos + on_plane[:, 1] * sin, -on_plane[:, 0] * sin + on_plane[:, 1] * cos], axis=1)
    inks, cover = colour(own)
    shape = (bottom - top, SAMPLES, right - left, SAMPLES)
    part = light[top:bottom, left:right]
    laid = (inks * cover[:, None]).reshape(*shape, 3).mean(axis=(1, 3))
    covered = cover.reshape(shape).mean(axis=(1, 3))[..., None]
    part[...] = part * (1 - covered) + laid


def marker(marker_id: int, size: float, black: float = 0.03, white: float = 0.75) -> Colour:
    """A printed marker with a white surround one cell wide."""
    cells = marker_cells(marker_id)

    def colour(points: FloatArray) -> tuple[FloatArray, FloatArray]:
        col = np.floor(points[:, 0] / size * CELLS + CELLS / 2).astype(int) + 1
        row = np.floor(CELLS / 2 - points[:, 1] / size * CELLS).astype(int) + 1
        on = (col >= 0) & (col < CELLS + 2) & (row >= 0) & (row < CELLS + 2)
        lit = cells[np.clip(row, 0, CELLS + 1), np.clip(col, 0, CELLS + 1)]
        return np.repeat(np.where(lit, white, black)[:, None], 3, axis=1), on.astype(float)

    return colour


def sheet(long_side: float, short_side: float, corner_radius: float, ink: tuple[float, float, float]) -> Colour:
    """A rectangle of one colour with round corners."""

    def colour(points: FloatArray) -> tuple[FloatArray, FloatArray]:
        inner = np.maximum(np.abs(points) - [long_side / 2 - corner_radius, short_side / 2 - corner_radius], 0)
        on = (np.hypot(*inner.T) <= corner_radius) if corner_radius > 0 else (
            (np.abs(points) <= [long_side / 2, short_side / 2]).all(axis=1))
        return np.tile(np.array(ink), (len(points), 1)), on.astype(float)

    return colour


def develop(light: NDArray[np.float32], blur_px: float = 0.6, noise: float = 0.006, seed: int = 1,
            file: str = "drawn.jpg", focal_35mm: float | None = None) -> Photo:
    """Blur in linear light, code as sRGB (IEC 61966-2-1), add noise."""
    blurred = np.maximum(cv2.GaussianBlur(light, (0, 0), blur_px), 0)
    coded = np.where(blurred <= 0.0031308, 12.92 * blurred, 1.055 * np.power(blurred, 1 / 2.4) - 0.055)
    coded += np.random.default_rng(seed).normal(0, noise, coded.shape)
    pixels = np.clip(np.round(coded * 255), 0, 255).astype(np.uint8)
    height, width = pixels.shape[:2]
    return Photo(freeze(pixels), PhotoFacts(file, "0" * 64, width, height, focal_35mm))


def photo_of_markers(camera: Camera, places: dict[int, tuple[float, float, float]], size: float = 60.0,
                     width: int = 1600, height: int = 1200, marker_height: float = 0.0) -> Photo:
    """Markers by id at x, y, turn on a board."""
    light = board(camera, width, height)
    for marker_id, place in places.items():
        lay(light, camera, place, size * 1.1, marker(marker_id, size), marker_height)
    return develop(light)
