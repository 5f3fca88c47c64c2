"""What the fit is given: straight edges of things of known size, found in the photo.

Terminology
-----------
Target     a flat thing of known size in view: a marker, a sheet or a card.
Edge point the middle of a short piece of one of its straight edges: where it
           lies on the target [mm], where it was seen [px], and the direction
           across the edge in the photo. Only the position across the edge
           was measured; along it nothing is known.
Bloom      how far all edges moved from light towards dark or back: blur in a
           curved tone scale, a spreading print or an over-sharpened picture.
           Edges inside a marker tell it apart from a change of size.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """One thing of known size, as seen.

    N edge points. The target's own frame: origin at its centre, x right, y up,
    as printed. [mm]
    """

    kind: str  # "marker", "a4", "a3", "letter", "card"
    id: int | None
    size_mm: tuple[float, float]
    height: float  # of its face above the show face [mm]
    points: FloatArray  # (N, 2) on the target [mm]
    pixels: FloatArray  # (N, 2) in the photo [px]
    normals: FloatArray  # (N, 2) unit vectors across the edge, from dark to light
    sigmas: FloatArray  # (N,) of the position across the edge, for the fit [px]
    pixel_sigmas: FloatArray  # (N,) the part of it that the pixels' noise makes [px]
    lines: NDArray[np.intp]  # (N,) which straight line each point lies on
    bloom_sigma: float  # how far bloom may move its edges [px]
    corners_px: FloatArray  # (4, 2) first estimate: top left, top right, bottom right, bottom left
    blur_px: float  # standard deviation of the edges' blur [px]
    light: float  # linear light of its bright parts, 0 to 1

    @property
    def name(self) -> str:
        """How a message calls it."""
        return f"marker {self.id}" if self.kind == "marker" else f"the {SPOKEN[self.kind]}"

    @property
    def corners(self) -> FloatArray:
        """Its corners in its own frame: top left, top right, bottom right, bottom left. [mm]"""
        return rectangle_corners(*self.size_mm)


SPOKEN = {"a4": "A4 sheet", "a3": "A3 sheet", "letter": "Letter sheet", "card": "card", "rule": "rule"}
CLICK_SIGMA_PX = 1.0  # how well a point is clicked (a choice)


def rectangle_corners(long_side: float, short_side: float) -> FloatArray:
    """Corners of a centred rectangle: top left, top right, bottom right, bottom left. [mm]"""
    return np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * [long_side / 2, short_side / 2]


def rule_target(pixels: FloatArray, distance: float, height: float) -> Target:
    """Two points on a rule as a target: each is known in both directions of the photo.

    Parameters
    ----------
    pixels : ndarray, shape (2, 2)
        The points. [px]
    distance : float
        Between them. [mm]
    height : float
        Of the rule's face above the show face. [mm]
    """
    ends = np.array([[-distance / 2, 0.0], [distance / 2, 0.0]])
    return Target("rule", None, (distance, 0.0), height, np.repeat(ends, 2, axis=0), np.repeat(pixels, 2, axis=0),
                  np.tile(np.eye(2), (2, 1)), np.full(4, CLICK_SIGMA_PX),
                  np.full(4, CLICK_SIGMA_PX), np.arange(4), 1e-3, pixels[[0, 1, 1, 0]], np.nan, np.nan)
