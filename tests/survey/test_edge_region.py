"""The rough slab on a grid of cells."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from crackmap.survey.edge_region import rough_slab


def _scene(bench_beside: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Features of a slab on a bench of two tints, the slab's cells, and seeds round a marker at its corner."""
    rng = np.random.default_rng(5)
    slab = np.zeros((120, 160), bool)
    slab[40:80, 30:130] = True
    bench = np.full((120, 160), 4.0)
    bench[70:, 100:] = bench_beside
    features = rng.normal(0.0, 0.4, (120, 160, 6))
    features[..., 1] += np.where(slab, 0.0, bench)
    seeds = np.zeros((120, 160), bool)
    seeds[62:92, 112:142] = True  # half of it lies over the edge
    seeds[50:70, 40:60] = True
    return cv2.GaussianBlur(features.astype(np.float32), (0, 0), 0.5), slab, seeds


@pytest.mark.parametrize("bench_beside", [4.0, -4.0])
def test_a_marker_at_the_edge_does_not_make_its_bench_wood(bench_beside: float) -> None:
    """Where the bench beside the corner marker differs from the rest of the bench, it was once taken for wood."""
    features, slab, seeds = _scene(bench_beside)
    none = np.zeros_like(slab)
    rough = rough_slab(features, ~none, none, seeds)
    assert rough is not None
    shared = (rough.mask & slab).sum() / (rough.mask | slab).sum()
    assert shared > 0.95  # geometric
    assert rough.slack < 0.3
