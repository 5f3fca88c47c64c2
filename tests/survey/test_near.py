"""Near points against scipy's k-d tree, an independent second method."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from crackmap.survey.near import Neighbourhood


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 60), st.floats(0.5, 40.0))
def test_same_answers_as_a_k_d_tree(seed: int, count: int, reach: float) -> None:
    rng = np.random.default_rng(seed)
    points, asked = rng.uniform(0, 100, (count, 2)), rng.uniform(-10, 110, (17, 2))
    ours, theirs = Neighbourhood(points), cKDTree(points)
    distance, number = ours.nearest(asked)
    expected, places = theirs.query(asked)
    assert np.allclose(distance, expected)
    assert np.array_equal(number, places)
    assert ours.within(asked[0], reach).tolist() == sorted(theirs.query_ball_point(asked[0], reach))
    assert [tuple(pair) for pair in ours.pairs(reach)] == sorted(theirs.query_pairs(reach))
