"""How near two shapes may come: against shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.keys.fit import make_key
from crackmap.keys.outline import to_points
from crackmap.keys.shapes import SHAPES
from crackmap.shop import Shop
from crackmap.stock.clearances import STEP, clearance, silhouette

SHOP = Shop()


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(sorted(SHAPES)), st.sampled_from(sorted(SHAPES)), st.floats(40, 130), st.floats(40, 130),
       st.floats(0.0, 12.0), st.floats(0.0, 1.0))
def test_keys_at_their_clearance_are_as_far_apart_as_asked(
    first: str, second: str, length_a: float, length_b: float, gap: float, share: float
) -> None:
    """Independent: shapely's distance. Never nearer; hardly farther, where the outlines face each other."""
    a, b = (to_points(make_key(shape, size, 0.4 * size, 0.17 * size, 15.0, SHOP.bit, SHOP.fit).key, 0.01)
            for shape, size in ((first, length_a), (second, length_b)))
    near = clearance(silhouette(a, gap), silhouette(b))
    at = round(share * (len(near.top) - 1))
    below = shapely.Polygon(a)
    x = (near.first + at) * STEP
    for y in (near.top[at], near.foot[at]):
        distance = below.distance(shapely.Polygon(b + [x, y]))
        assert distance >= gap - 1e-3
        if 0.1 < share < 0.9:
            # What the cells and the margins for chords give away, and slopes add: [mm]
            assert distance <= gap + 0.45


def test_boxes_meet_at_their_sides() -> None:
    """Geometric: a 20 x 10 box over another with a gap of 3 stands 13 above it, at any overlap along."""
    box = np.array([(0.0, 0.0), (20.0, 0.0), (20.0, 10.0), (0.0, 10.0)])
    near = clearance(silhouette(box, 3.0), silhouette(box))
    middle = near.top[round(-near.first)]
    assert middle == pytest.approx(13.0, abs=0.1)
    assert near.foot[round(-near.first)] == pytest.approx(-13.0, abs=0.1)
