"""Local direction of the grain, on a coarse grid."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.tone import WoodValue, sample

STEP_PX = 4
WINDOW_PX = 40.0  # the grain turns over more than this, save round knots


@dataclass(frozen=True, slots=True, eq=False)
class GrainField:
    """Direction of the grain and how plain it is.

    Parameters
    ----------
    doubled : ndarray of float32, shape (h, w, 2)
        Cosine and sine of twice the angle of the grain (x right, y down), times
        the coherence: 0 where there is no direction, 1 where all agree.
    """

    doubled: NDArray[np.float32]

    def at(self, points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Angle [rad] and coherence [-] at pixels (x, y), shape (N,) each."""
        columns = ((points[:, :1] + 0.5) / STEP_PX - 0.5).astype(np.float32)
        rows = ((points[:, 1:] + 0.5) / STEP_PX - 0.5).astype(np.float32)
        doubled = sample(self.doubled, columns, rows).reshape(-1, 2).astype(float)
        return 0.5 * np.arctan2(doubled[:, 1], doubled[:, 0]), np.hypot(*doubled.T)


def grain_field(wood: WoodValue) -> GrainField:
    """Structure tensor of the wood's value, dark cracks clipped so that they don't vote for themselves."""
    height, width = wood.value.shape
    size = (max(width // STEP_PX, 1), max(height // STEP_PX, 1))
    small = cv2.resize(wood.value, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    tone = cv2.resize(wood.tone, size, interpolation=cv2.INTER_LINEAR)
    relief = np.clip(small / np.maximum(tone, 1.0) - 1.0, -0.15, 0.15)
    dx = cv2.Sobel(relief, cv2.CV_32F, 1, 0)
    dy = cv2.Sobel(relief, cv2.CV_32F, 0, 1)
    sigma = WINDOW_PX / STEP_PX / 2
    difference = cv2.GaussianBlur(dy * dy - dx * dx, (0, 0), sigma)
    product = cv2.GaussianBlur(-2 * dx * dy, (0, 0), sigma)
    energy = cv2.GaussianBlur(dx * dx + dy * dy, (0, 0), sigma) + 1e-6
    return GrainField(np.dstack([difference / energy, product / energy]).astype(np.float32))
