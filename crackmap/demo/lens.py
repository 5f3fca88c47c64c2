"""The invented camera: from pixels to rays and to levels of the slab, exactly.

OpenCV's convention: pixel centres at whole numbers, distortion k1, k2, radial.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crackmap.demo.noise import Float32
from crackmap.demo.scene import CameraPose
from crackmap.records import FloatArray, frozen_array
from crackmap.scale.mapping import Mapping


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """Camera matrix, rotation and shift: camera = R slab + t. [px], [-], [mm]"""

    k: FloatArray  # (3, 3)
    r: FloatArray  # (3, 3)
    t: FloatArray  # (3,)
    distortion: FloatArray  # (5,) k1 k2 p1 p2 k3
    size_px: tuple[int, int]

    def homography(self, z: float = 0.0) -> FloatArray:
        """Slab (x, y, 1) on the level z to undistorted pixels, scaled to 1 at the last entry."""
        h = self.k @ np.c_[self.r[:, 0], self.r[:, 1], self.t + z * self.r[:, 2]]
        return frozen_array(h / h[2, 2])

    def mapping(self, z: float = 0.0) -> Mapping:
        """The crossing between millimetres on the level z and pixels of the photo."""
        return Mapping(self.homography(z), self.k, self.distortion)

    @property
    def centre(self) -> FloatArray:
        """Where the camera is, in slab coordinates (z negative: above). [mm]"""
        return frozen_array(-self.r.T @ self.t)


def aim(pose: CameraPose) -> Lens:
    """The lens of a pose: looks at a point of the show face from a height, tilted and turned."""
    azimuth, tilt, turn = np.radians([pose.tilt_towards_deg, pose.tilt_deg, pose.turn_deg])
    spin = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    axis = np.array([np.cos(azimuth), np.sin(azimuth), 0])
    cross = np.array([[0, 0, axis[1]], [0, 0, -axis[0]], [-axis[1], axis[0], 0]])
    lean = np.eye(3) + np.sin(tilt) * cross + (1 - np.cos(tilt)) * cross @ cross
    r = spin @ lean
    # The optical axis passes through look_at; its direction in the slab frame is r's last row.
    distance = pose.height / r[2, 2]
    centre = np.array([*pose.look_at, 0.0]) - distance * r[2]
    k = np.array(
        [[pose.focal_px, 0, pose.principal_px[0]], [0, pose.focal_px, pose.principal_px[1]], [0, 0, 1]]
    )
    return Lens(
        frozen_array(k),
        frozen_array(r),
        frozen_array(-r @ centre),
        frozen_array([pose.k1, pose.k2, 0, 0, 0]),
        pose.size_px,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Rays:
    """Sight lines of a block of samples: position (x, y) + z * slope at depth z below the show face."""

    x: Float32  # (H, W) on the show face [mm]
    y: Float32
    slope_x: Float32  # (H, W) change of x for 1 mm of depth [-]
    slope_y: Float32

    def at(self, z: float) -> tuple[Float32, Float32]:
        """Positions on the level z. [mm]"""
        return self.x + np.float32(z) * self.slope_x, self.y + np.float32(z) * self.slope_y


def _undistorted(lens: Lens, a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Straight-line image coordinates of distorted ones: a table of the radial function, inverted exactly."""
    k1, k2 = lens.distortion[:2]
    if k1 == 0 and k2 == 0:
        return a, b
    r2 = a * a + b * b
    most = float(np.sqrt(r2.max())) * 1.05
    ideal = np.linspace(0, most * 1.3, 4001)
    bent = ideal * (1 + k1 * ideal**2 + k2 * ideal**4)
    keep = np.maximum.accumulate(bent) <= bent  # only where the lens does not fold over
    grid2 = np.linspace(0, most**2, 4001)
    factor = np.interp(np.sqrt(grid2), bent[keep], ideal[keep]) / np.maximum(np.sqrt(grid2), 1e-12)
    factor[0] = 1.0
    scale = np.interp(r2, grid2, factor)
    return a * scale, b * scale


def cast_rays(lens: Lens, rows: tuple[int, int], oversampling: int) -> Rays:
    """Sight lines of the sub-pixels of photo rows [first, last).

    Sub-pixels lie evenly inside each pixel, so that their mean is the pixel's
    box-filtered value, centred on the whole number.
    """
    s = oversampling
    u = (np.arange(lens.size_px[0] * s) + 0.5) / s - 0.5
    v = (np.arange(rows[0] * s, rows[1] * s) + 0.5) / s - 0.5
    a, b = np.meshgrid((u - lens.k[0, 2]) / lens.k[0, 0], (v - lens.k[1, 2]) / lens.k[1, 1])
    a, b = _undistorted(lens, a, b)
    r = lens.r  # direction in the slab frame: r.T @ (a, b, 1)
    down = r[0, 2] * a + r[1, 2] * b + r[2, 2]
    slope_x = (r[0, 0] * a + r[1, 0] * b + r[2, 0]) / down
    slope_y = (r[0, 1] * a + r[1, 1] * b + r[2, 1]) / down
    c = lens.centre
    x, y = c[0] - c[2] * slope_x, c[1] - c[2] * slope_y
    return Rays(*(m.astype(np.float32) for m in (x, y, slope_x, slope_y)))
