"""A camera above a slab: lens, pose and projection.

Frames: slab (x right, y up, z up, millimetres); camera (x right, y down, z
into the scene), OpenCV's. A camera straight above has the rotation
diag(1, -1, -1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crackmap.scale.mapping import Mapping
from crackmap.scale.target import FloatArray

STRAIGHT_DOWN = np.diag([1.0, -1.0, -1.0])
DIAGONAL_35MM = float(np.hypot(36.0, 24.0))  # of a 36 x 24 mm frame [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """Camera matrix and distortion in OpenCV's convention."""

    camera_matrix: FloatArray  # (3, 3) [px]
    distortion: FloatArray  # (5,) k1, k2, p1, p2, k3 [-]

    @classmethod
    def central(cls, focal_px: float, k1: float, width: int, height: int) -> Lens:
        """Square pixels, principal point in the middle of the picture, one radial term."""
        matrix = np.array([[focal_px, 0, (width - 1) / 2], [0, focal_px, (height - 1) / 2], [0, 0, 1.0]])
        return cls(matrix, np.array([k1, 0, 0, 0, 0.0]))

    def to_pixels(self, rays: FloatArray) -> FloatArray:
        """Pixels of rays (x/z, y/z), shape (N, 2). [-] -> [px]"""
        k1, k2, p1, p2, k3 = self.distortion
        x, y = rays[:, 0], rays[:, 1]
        r2 = x * x + y * y
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        xd = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
        yd = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
        k = self.camera_matrix
        return np.stack([k[0, 0] * xd + k[0, 1] * yd + k[0, 2], k[1, 1] * yd + k[1, 2]], axis=1)

    def to_rays(self, pixels: FloatArray) -> FloatArray:
        """Rays (x/z, y/z) of pixels, shape (N, 2). [px] -> [-]"""
        k = self.camera_matrix
        yd = (pixels[:, 1] - k[1, 2]) / k[1, 1]
        xd = (pixels[:, 0] - k[0, 2] - k[0, 1] * yd) / k[0, 0]
        if not self.distortion.any():
            return np.stack([xd, yd], axis=1)
        k1, k2, p1, p2, k3 = self.distortion
        if p1 == 0 and p2 == 0:
            return np.stack([xd, yd], axis=1) * _radial_inverse(xd * xd + yd * yd, k1, k2, k3)[:, None]
        x, y = xd.copy(), yd.copy()
        for _ in range(15):
            r2 = x * x + y * y
            radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
            x, y = ((xd - 2 * p1 * x * y - p2 * (r2 + 2 * x * x)) / radial,
                    (yd - p1 * (r2 + 2 * y * y) - 2 * p2 * x * y) / radial)
        return np.stack([x, y], axis=1)


def _radial_inverse(distorted2: FloatArray, k1: float, k2: float, k3: float) -> FloatArray:
    """Ideal over distorted radius for squares of distorted radii, shape (N,), by Newton's method."""
    factor = np.ones_like(distorted2)  # q with q (1 + k1 q^2 d^2 + ...) = 1
    for _ in range(4):
        r2 = factor * factor * distorted2
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        slope = 1 + r2 * (3 * k1 + r2 * (5 * k2 + r2 * 7 * k3))
        factor = factor - (factor * radial - 1) / slope
    return factor


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """A lens in its place above the slab."""

    lens: Lens
    rotation: FloatArray  # (3, 3) slab to camera
    translation: FloatArray  # (3,) of the slab's origin in the camera's frame [mm]

    @property
    def slab_to_photo(self) -> FloatArray:
        """Homography from the show face's plane to undistorted pixels, shape (3, 3)."""
        return np.asarray(self.lens.camera_matrix @ np.c_[self.rotation[:, :2], self.translation])

    @property
    def mapping(self) -> Mapping:
        """The crossing between the show face and the photo."""
        if not self.lens.distortion.any():
            return Mapping(self.slab_to_photo)
        return Mapping(self.slab_to_photo, self.lens.camera_matrix, self.lens.distortion)

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the perpendicular of the slab. [degree]"""
        return float(np.degrees(np.arccos(np.clip(-self.rotation[2, 2], -1, 1))))

    @property
    def distance(self) -> float:
        """Height of the camera above the show face. [mm]"""
        return float(-self.rotation[:, 2] @ self.translation)

    def see(self, points: FloatArray) -> FloatArray:
        """Pixels of slab points (x, y, z), shape (N, 3). [mm] -> [px]"""
        seen = points @ self.rotation.T + self.translation
        return self.lens.to_pixels(seen[:, :2] / seen[:, 2:])

    def meet_plane(self, pixels: FloatArray) -> FloatArray:
        """Where the rays of pixels meet the show face, shape (N, 2). [px] -> [mm]"""
        return self.meet_height(pixels, np.zeros(len(pixels)))

    def meet_height(self, pixels: FloatArray, heights: FloatArray) -> FloatArray:
        """Where the rays of pixels meet planes above the show face, shape (N, 2). [px], [mm] -> [mm]"""
        rays = np.c_[self.lens.to_rays(pixels), np.ones(len(pixels))] @ self.rotation
        eye = -self.rotation.T @ self.translation
        return np.asarray(eye[:2] + rays[:, :2] * ((heights - eye[2]) / rays[:, 2])[:, None])


def focal_from_35mm(focal_35mm: float, width: int, height: int) -> float:
    """Focal length in pixels from its 35 mm equivalent, by the diagonals. [mm] -> [px]"""
    return focal_35mm / DIAGONAL_35MM * float(np.hypot(width, height))


def rotation_from_vector(vector: FloatArray) -> FloatArray:
    """Rotation matrix of a rotation vector (Rodrigues), shape (3, 3)."""
    angle = float(np.linalg.norm(vector))
    cross = np.array([[0, -vector[2], vector[1]], [vector[2], 0, -vector[0]], [-vector[1], vector[0], 0]])
    if angle < 1e-9:
        return np.asarray(np.eye(3) + cross)
    sine, versine = np.sin(angle) / angle, (1 - np.cos(angle)) / angle**2
    return np.asarray(np.eye(3) + sine * cross + versine * (cross @ cross))
