"""The ways in which a photo is made worse, each on the photo file's own pixels."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.truth import Truth

ImageArray = NDArray[np.uint8]
Change = Callable[[ImageArray], ImageArray]


def degradations() -> dict[str, Change]:
    """Named changes of a BGR photo; the first changes nothing."""
    return {
        "as taken": lambda photo: photo,
        "JPEG 60": _jpeg,
        "noise 8": _noise,
        "warm 1000 K": _gains(1.10, 1.0, 0.78),
        "one stop under": _gains(0.5, 0.5, 0.5),
        "one stop over": _gains(2.0, 2.0, 2.0),
        "cast shadow": _shadow,
    }


def _jpeg(photo: ImageArray) -> ImageArray:
    packed = cv2.imencode(".jpg", photo, [cv2.IMWRITE_JPEG_QUALITY, 60])[1]
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR), np.uint8)


def _noise(photo: ImageArray) -> ImageArray:
    grain = np.random.default_rng(1).normal(0, 8, photo.shape)
    return np.clip(photo + grain, 0, 255).astype(np.uint8)


def _gains(red: float, green: float, blue: float) -> Change:
    def changed(photo: ImageArray) -> ImageArray:
        light = (photo / 255.0) ** 2.2 * [blue, green, red]  # photos are BGR
        return np.asarray(np.clip(light, 0, 1) ** (1 / 2.2) * 255 + 0.5).astype(np.uint8)

    return changed


def _shadow(photo: ImageArray) -> ImageArray:
    height, width = photo.shape[:2]
    band = np.zeros((height, width), np.float32)
    corners = np.array([[0.3, 0], [0.45, 0], [0.7, 1], [0.5, 1]]) * [width, height]
    cv2.fillPoly(band, [corners.astype(np.int32)], 1.0)
    band = np.asarray(cv2.GaussianBlur(band, (0, 0), 3))[..., None]
    return np.asarray(((photo / 255.0) ** 2.2 * (1 - 0.6 * band)) ** (1 / 2.2) * 255).astype(np.uint8)


def half_resolution(truth: Truth, photo: ImageArray) -> tuple[Truth, ImageArray]:
    """Photo and truth at half the pixels a side."""
    small = cv2.resize(photo, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    to_half = np.array([[0.5, 0, -0.25], [0, 0.5, -0.25], [0, 0, 1]])
    form = truth.form
    camera = dict(form["camera"], K=(to_half @ np.array(form["camera"]["K"])).tolist())
    matrix = (to_half @ np.array(form["H_mm_to_undistorted_px"])).tolist()
    changed = dict(form, camera=camera, H_mm_to_undistorted_px=matrix, mm_per_px=2 * truth.mm_per_px)
    return Truth(changed, truth.photo), np.asarray(small, np.uint8)
