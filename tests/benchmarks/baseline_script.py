"""What a competent user would write with scikit-image alone, for comparison.

Flat-field, Sato ridge filter, hysteresis, skeleton; width from the distance
transform of an adaptive threshold. It is given the true edge and scale, as ours is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import skan
from numpy.typing import NDArray
from scipy import ndimage
from skimage import color, filters, morphology

SHORTEST_MM = 15.0


@dataclass(frozen=True)
class SimpleCrack:
    """A centreline (x, y) with widths, in pixels."""

    centreline: NDArray[np.float64]
    width: NDArray[np.float64]
    confidence: float = 1.0


def find_cracks_simply(
    image: NDArray[np.uint8], mm_per_px: float, wood: NDArray[np.bool_] | None = None
) -> list[SimpleCrack]:
    """Cracks by the straight-forward recipe."""
    grey = color.rgb2gray(image)
    if wood is None:
        wood = grey > filters.threshold_otsu(grey)
    wood = morphology.binary_erosion(wood, morphology.disk(3))
    background = filters.gaussian(np.where(wood, grey, np.median(grey[wood])), sigma=20 / mm_per_px)
    flat = np.where(wood, grey / np.maximum(background, 0.02), 1.0)
    ridge = filters.sato(flat, sigmas=[1, 2, 4, 8], black_ridges=True) * wood
    high = np.quantile(ridge[wood], 0.99)
    mask = filters.apply_hysteresis_threshold(ridge, 0.5 * high, high)
    mask = morphology.remove_small_objects(mask, max_size=int((SHORTEST_MM / mm_per_px) ** 1.2))
    distance = ndimage.distance_transform_edt(mask & (flat < 0.75))
    skeleton = morphology.skeletonize(mask)
    if skeleton.sum() < 3:
        return []
    graph = skan.Skeleton(skeleton)
    cracks = []
    for number in range(graph.n_paths):
        path = graph.path_coordinates(number).astype(float)
        if len(path) * mm_per_px >= SHORTEST_MM:
            rows, columns = path.astype(int).T
            cracks.append(SimpleCrack(path[:, ::-1], 2 * distance[rows, columns]))
    return cracks
