"""The crossing between pixels and millimetres."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crackmap.scale.mapping import Mapping

CAMERA = np.array([[2250.0, 0, 1499.5], [0, 2250.0, 1124.5], [0, 0, 1.0]])


def camera_mapping(tilt_deg: float, height_mm: float, k1: float) -> Mapping:
    """A pinhole camera above the slab's middle, tilted about its x axis; y up in the slab frame."""
    a = np.radians(tilt_deg)
    down = np.array([[1, 0, 0], [0, -1, 0], [0, 0, -1.0]])
    turn = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]]) @ down
    pose = np.c_[turn[:, :2], [0, 0, height_mm]]
    return Mapping(CAMERA @ pose, CAMERA, np.array([k1, 0, 0, 0, 0]))


@given(st.floats(-15, 15), st.floats(1200, 2600), st.floats(-0.05, 0.05))
def test_there_and_back(tilt: float, height: float, k1: float) -> None:
    mapping = camera_mapping(tilt, height, k1)
    points = np.array([[0, 0], [600, 250], [-700, -300], [700, 300.0]])
    back = mapping.to_slab(mapping.to_pixels(points))
    assert back == pytest.approx(points, abs=1e-4)  # [mm]


def test_pixels_agree_with_opencv() -> None:
    """Independent: cv2.projectPoints with the full pose."""
    a = np.radians(8.0)
    turn = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]]) @ np.diag([1, -1, -1.0])
    rvec, _ = cv2.Rodrigues(turn)
    points = np.array([[500, 200.0], [-640, 310]])
    seen, _ = cv2.projectPoints(np.c_[points, np.zeros(2)], rvec, np.array([0, 0, 1800.0]), CAMERA,
                                np.array([-0.03, 0, 0, 0, 0.0]))
    assert camera_mapping(8.0, 1800.0, -0.03).to_pixels(points) == pytest.approx(seen.reshape(-1, 2), abs=1e-6)


def test_mm_per_px_straight_down_is_height_over_focal_length() -> None:
    assert camera_mapping(0, 1800.0, 0).mm_per_px_at([[0, 0]]) == pytest.approx(1800 / 2250, rel=1e-9)  # geometric


def test_moving_the_frame_moves_no_pixel() -> None:
    mapping = camera_mapping(5, 1500, -0.02)
    moved = mapping.moved(30.0, [100.0, 50.0])
    a = np.radians(30.0)
    new = np.array([[70.0, -20.0]])
    old = new @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + [100, 50]
    assert moved.to_pixels(new) == pytest.approx(mapping.to_pixels(old), abs=1e-9)


def test_arrays_are_read_only() -> None:
    with pytest.raises(ValueError):
        camera_mapping(0, 1800, 0).slab_to_photo[0, 0] = 1.0
