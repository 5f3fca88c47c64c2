"""The one crossing between pixels and millimetres.

`Mapping` takes slab millimetres to pixels and back through a homography and,
where the lens is known, a distortion in OpenCV's convention (pixel centres at
whole numbers). The same class serves the photo file (homography and lens) and
the rectified picture (a similarity, no lens), so no other code does arithmetic
with pixels and millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def _apply_homography(matrix: FloatArray, points: FloatArray) -> FloatArray:
    homogeneous = points @ matrix[:, :2].T + matrix[:, 2]
    return homogeneous[:, :2] / homogeneous[:, 2:]


@dataclass(frozen=True, slots=True, eq=False)
class Mapping:
    """Slab millimetres <-> pixels.

    Parameters
    ----------
    slab_to_photo : ndarray, shape (3, 3)
        Homography from slab (x, y, 1) [mm] to undistorted pixels.
    camera_matrix : ndarray, shape (3, 3), or None
        OpenCV's K. [px]
    distortion : ndarray, shape (5,), or None
        k1, k2, p1, p2, k3. [-]
    """

    slab_to_photo: FloatArray
    camera_matrix: FloatArray | None = None
    distortion: FloatArray | None = None

    def __post_init__(self) -> None:
        for name, shape in (("slab_to_photo", (3, 3)), ("camera_matrix", (3, 3)), ("distortion", (5,))):
            given = getattr(self, name)
            if given is None:
                continue
            array = np.array(given, dtype=float).reshape(shape)
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def has_lens(self) -> bool:
        """True where a lens distortion is part of the mapping."""
        return self.camera_matrix is not None and self.distortion is not None

    def to_pixels(self, points_mm: ArrayLike) -> FloatArray:
        """Pixels (x, y) of slab points, shape (N, 2). [mm] -> [px]"""
        ideal = _apply_homography(self.slab_to_photo, np.asarray(points_mm, float).reshape(-1, 2))
        if not self.has_lens or len(ideal) == 0:
            return ideal
        k = self.camera_matrix
        assert k is not None
        rays = np.c_[(ideal - k[:2, 2]) / [k[0, 0], k[1, 1]], np.ones(len(ideal))]
        pixels, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), k, self.distortion)
        return np.asarray(pixels, float).reshape(-1, 2)

    def to_slab(self, points_px: ArrayLike) -> FloatArray:
        """Slab points (x, y) of pixels, shape (N, 2). [px] -> [mm]"""
        pixels = np.asarray(points_px, float).reshape(-1, 2)
        if self.has_lens and len(pixels):
            stop = (cv2.TERM_CRITERIA_MAX_ITER | cv2.TERM_CRITERIA_EPS, 100, 1e-12)
            undistorted = cv2.undistortPoints(
                pixels.reshape(-1, 1, 2), self.camera_matrix, self.distortion, P=self.camera_matrix, criteria=stop)
            pixels = np.asarray(undistorted, float).reshape(-1, 2)
        return _apply_homography(np.asarray(np.linalg.inv(self.slab_to_photo), float), pixels)

    def mm_per_px_at(self, points_mm: ArrayLike) -> FloatArray:
        """Millimetres a pixel at slab points, shape (N,): root of the local area ratio. [mm]"""
        points = np.asarray(points_mm, float).reshape(-1, 2)
        step = 0.5
        right = self.to_pixels(points + [step, 0]) - self.to_pixels(points - [step, 0])
        up = self.to_pixels(points + [0, step]) - self.to_pixels(points - [0, step])
        px2_per_mm2 = np.abs(right[:, 0] * up[:, 1] - right[:, 1] * up[:, 0]) / (2 * step) ** 2
        return np.asarray(1.0 / np.sqrt(px2_per_mm2))

    def moved(self, rotation_deg: float, origin_mm: ArrayLike) -> Mapping:
        """The same view in a new slab frame.

        The new frame has its origin at `origin_mm` of the old one and its x
        axis at `rotation_deg` to the old x axis.
        """
        a = np.radians(rotation_deg)
        x0, y0 = np.asarray(origin_mm, float).reshape(2)
        new_to_old = np.array([[np.cos(a), -np.sin(a), x0], [np.sin(a), np.cos(a), y0], [0, 0, 1]])
        return Mapping(self.slab_to_photo @ new_to_old, self.camera_matrix, self.distortion)

    def as_json(self) -> dict[str, Any]:
        """The form written to survey.json (see the file contract)."""
        lens = None
        if self.has_lens:
            assert self.camera_matrix is not None and self.distortion is not None
            lens = {"camera_matrix": self.camera_matrix.tolist(), "distortion": self.distortion.tolist()}
        return {"slab_to_photo": self.slab_to_photo.tolist(), "lens": lens}
