"""Rendered photos against geometry: what is drawn lies where the truth says."""

from __future__ import annotations

import dataclasses
import json

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from crackmap.demo.lens import aim
from crackmap.demo.looks import encoded, linear
from crackmap.demo.random_scene import random_scene
from crackmap.demo.render import compose, render
from crackmap.demo.scene import CameraPose, CrackShape, SlabScene
from crackmap.records import frozen_array

SIZE = (600, 450)


def plain_scene(seed: int = 3, **wishes: object) -> SlabScene:
    """A clean, evenly lit slab without openings or props, four markers on it."""
    fixed = {
        "size_px": SIZE,
        "clean": True,
        "light": "overcast",
        "reference": "marker",
        "markers": 4,
        "marker_size": 100.0,
        "props": (),
        "length": 800.0,
        "width": 440.0,
        "thickness": 40.0,
        "end_checks": 0,
        "surface_checks": 0,
        "hairlines": 0,
        "branches": 0,
        "split": False,
        "ring_shakes": 0,
        "knot_holes": 0,
        "inclusions": 0,
        "knots": 0,
        "tilt_deg": 7.0,
        "k1": -0.03,
    }
    return random_scene(seed, **(fixed | wishes))


def straight_crack(width: float, length: float = 200.0) -> CrackShape:
    line = np.c_[np.linspace(300, 300 + length, 41), np.full(41, 15.0)]
    return CrackShape(
        "surface_check",
        frozen_array(line),
        frozen_array(np.full(41, width)),
        frozen_array(np.full(41, 30.0)),
        frozen_array(np.zeros(41)),
    )


def light_of(photo: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Grey in linear light, by the tested decoder."""
    return linear(photo).mean(-1)


def across(
    image: NDArray[np.float32], point: NDArray[np.float64], normal: NDArray[np.float64], reach: float
) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """Values on a short line across an edge, and their offsets. [px]"""
    offset = np.linspace(-reach, reach, int(32 * reach) + 1)
    place = (point + offset[:, None] * normal).astype(np.float32)
    return offset, cv2.remap(image, place[:, :1].T.copy(), place[:, 1:].T.copy(), cv2.INTER_LINEAR)[0]


def edge_offset(image: NDArray[np.float32], start: NDArray[np.float64], end: NDArray[np.float64]) -> float:
    """How far the dark-to-light edge along start-end lies outside it, by missing light. [px]"""
    unit = (end - start) / np.hypot(*(end - start))
    normal = np.array([unit[1], -unit[0]])  # outwards for corners in clockwise order, y down
    found = []
    for share in np.linspace(0.15, 0.85, 15):
        offset, value = across(image, start + share * (end - start), normal, 3.0)
        dark, bright = value[:12].mean(), value[-12:].mean()
        found.append(3.0 - np.trapezoid((value - dark) / (bright - dark), offset))
    return float(np.mean(found))


def test_srgb_coding_round_trip() -> None:
    levels = np.arange(256)
    assert np.array_equal(np.round(encoded(linear(levels)) * 255), levels)  # independent: the inverse formula


def test_lens_agrees_with_opencv_mapping() -> None:
    # independent: Mapping goes forwards through cv2.projectPoints, the rays come back by our own table
    from crackmap.demo.lens import cast_rays

    lens = aim(plain_scene(k1=-0.05).camera)
    rays = cast_rays(lens, (0, SIZE[1]), 1)
    for z in (0.0, 40.0):
        x, y = rays.at(z)
        pixels = lens.mapping(z).to_pixels(np.c_[x[::37, ::41].ravel(), y[::37, ::41].ravel()])
        v, u = np.mgrid[0 : SIZE[1] : 37, 0 : SIZE[0] : 41]
        assert np.abs(pixels - np.c_[u.ravel(), v.ravel()]).max() < 1e-3  # [px], float32


@pytest.mark.parametrize(("seed", "tilt"), [(3, 0.0), (4, 10.0)])
def test_marker_edges_lie_where_the_truth_says(seed: int, tilt: float) -> None:
    photo, truth = render(plain_scene(seed, tilt_deg=tilt, k1=0.0))
    image = light_of(photo)
    markers = [r for r in truth["references"] if r["type"] == "marker"]
    assert len(markers) == 4
    for marker in markers:
        corner = np.array(marker["corners_px"])
        for start, end in zip(corner, np.roll(corner, -1, 0), strict=True):
            assert abs(edge_offset(image, start, end)) < 0.03  # geometric; [px], the brief's limit is 0.05


def test_markers_are_found_with_their_ids_and_corner_order() -> None:
    photo, truth = render(plain_scene())
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    found, ids, _ = detector.detectMarkers(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY))
    corners = {int(i): c.reshape(4, 2) for i, c in zip(np.ravel(ids), found, strict=True)}
    for marker in truth["references"]:
        # independent: OpenCV's detector, whose whole-pixel contours are good to about a pixel
        assert np.abs(corners[marker["id"]] - marker["corners_px"]).max() < 1.5


@pytest.mark.parametrize("width", [0.3, 1.0, 2.5, 6.0])
def test_crack_cover_adds_up_to_its_width(width: float) -> None:
    crack = straight_crack(width, length=50.0)
    scene = close_up(dataclasses.replace(plain_scene(), cracks=(crack,), things=()), 0.5)
    pose = dataclasses.replace(scene.camera, look_at=(325.0, 15.0))
    scene = dataclasses.replace(scene, camera=pose)
    cover = compose(scene, aim(pose)).crack
    area_mm2 = float(cover.sum()) * 0.5**2
    assert area_mm2 == pytest.approx(width * 50.0, rel=0.01)  # geometric: a rectangle


def close_up(scene: SlabScene, mm_per_px: float) -> SlabScene:
    """The same slab seen from straight above one point, from the same height."""
    pose = CameraPose(
        (240, 160),
        scene.camera.height / mm_per_px,
        (119.5, 79.5),
        (400.0, 15.0),
        scene.camera.height,
        0.0,
        0.0,
        12.0,
    )
    return dataclasses.replace(scene, camera=pose)


@pytest.mark.parametrize("width", [3.0, 7.0])
def test_crack_is_dark_over_its_width(width: float) -> None:
    scene = close_up(dataclasses.replace(plain_scene(), cracks=(straight_crack(width),), things=()), 0.4)
    lens = aim(scene.camera)
    with_crack = compose(scene, lens).light.mean(-1)
    without = compose(dataclasses.replace(scene, cracks=()), lens).light.mean(-1)
    share = (with_crack / without).astype(np.float32)
    mapping = lens.mapping()
    points = np.c_[np.linspace(372, 428, 25), np.full(25, 15.0)]
    widths, missing = [], []
    for p, q in zip(mapping.to_pixels(points), mapping.to_pixels(points + [1, 0]), strict=True):
        unit = (q - p) / np.hypot(*(q - p))
        offset, value = across(share, p, np.array([unit[1], -unit[0]]), width / 0.4 / 2 + 6)
        floor = value[np.abs(offset) < 0.3 * width / 0.4].mean()
        dark = np.flatnonzero(value < (1 + floor) / 2)
        widths.append((offset[dark[-1]] - offset[dark[0]]) * 0.4)
        missing.append(np.trapezoid((1 - value) / (1 - floor), offset) * 0.4)
    # geometric: the cover is exact (test above); here the tops of the walls catch light, so that
    # darkness reads up to half a pixel (0.2 mm) narrow a side, and never wide.
    assert width - 0.4 < float(np.mean(widths)) < width + 0.05
    assert width - 0.5 < float(np.mean(missing)) < width + 0.05


def test_outline_runs_along_half_cover() -> None:
    scene = dataclasses.replace(plain_scene(), things=())
    lens = aim(scene.camera)
    face = compose(scene, lens).face
    truth = render(scene)[1]
    ring = np.array(truth["outline_px"])
    inner = (ring > 6).all(1) & (ring < np.array(SIZE) - 7).all(1)
    offsets = []
    for k in np.flatnonzero(inner)[5:-5:23]:
        tangent = ring[(k + 3) % len(ring)] - ring[k - 3]
        if np.hypot(*tangent) < 1:
            continue
        normal = np.array([tangent[1], -tangent[0]]) / np.hypot(*tangent)
        offset, value = across(face, ring[k], normal, 2.0)
        offsets.append(np.trapezoid(value, offset) - 2.0)
    # geometric: the cover across a straight edge adds up to the distance to it; curves cost a little
    assert abs(np.median(offsets)) < 0.02
    assert np.percentile(np.abs(offsets), 90) < 0.15


def test_same_scene_same_pixels_and_json() -> None:
    first, truth = render(random_scene(8, size_px=(240, 180)))
    second, again = render(random_scene(8, size_px=(240, 180)))
    assert np.array_equal(first, second)
    assert json.dumps(truth) == json.dumps(again)
    assert first.shape == (180, 240, 3) and first.dtype == np.uint8


def test_camera_looks_at_its_point() -> None:
    pose = CameraPose((640, 480), 500.0, (319.5, 239.5), (120.0, -30.0), 900.0, 9.0, 40.0, 25.0)
    lens = aim(pose)
    assert lens.mapping().to_pixels([[120.0, -30.0]])[0] == pytest.approx([319.5, 239.5])  # geometric
    assert -lens.centre[2] == pytest.approx(900.0)  # geometric
    assert np.allclose(lens.r @ lens.r.T, np.eye(3)) and np.linalg.det(lens.r) == pytest.approx(1)
