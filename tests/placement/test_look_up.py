"""Distances by look-up against shapely's."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.keys.family import KeySize
from crackmap.placement.look_up import OVERSTATED, boundary_rows, least_by_pocket, make_cloud
from crackmap.placement.pockets import lay_pockets, shape_cutting
from crackmap.shop import Shop

CUTTINGS = tuple(shape_cutting(KeySize("any", *sides, 20.0), Shop(), 0.5)
                 for sides in ((100.0, 40.0, 17.0), (63.0, 25.0, 10.5)))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_pockets_near_a_polygon_and_near_discs(seed: int):
    rng = np.random.default_rng(seed)
    n = 12
    pockets = lay_pockets(CUTTINGS, rng.integers(0, 2, n), rng.uniform(-40, 140, (n, 2)), rng.uniform(0, 180, n))
    area = shapely.Polygon(rng.uniform(0, 100, (5, 2))).convex_hull
    cloud = make_cloud(boundary_rows(area))
    found = least_by_pocket(pockets.near(cloud), n)
    true = shapely.distance(pockets.shapes, area.exterior)  # independent: shapely
    near = (true > 0.5) & (true < 13.0)
    assert (np.abs(found - true)[near & (true >= 2.0)] <= OVERSTATED).all()
    assert (found[true < 1e-9] <= 1.1).all()  # an edge that crosses is met by a point 1 mm off, at most
    assert (found[true > 14.5] == np.inf).all()
    line = np.column_stack([np.linspace(0, 100, 51), rng.uniform(20, 80) + np.cumsum(rng.normal(0, 0.2, 51))])
    radius = rng.uniform(0.5, 4.0, 51)
    discs = make_cloud([line], [radius])
    body = shapely.union_all(shapely.buffer(shapely.points(line), radius, quad_segs=32))
    wings = least_by_pocket(pockets.near(discs, wings=True), n)
    true = shapely.distance(pockets.wings, body)
    near = (true >= 0.5) & (true <= 8.0)
    assert (np.abs(wings - true)[near] <= OVERSTATED).all()
    # A disc in a wing's middle means that the wing meets the body.
    assert (true[pockets.have_in_core(discs)] == 0.0).all()


def test_nothing_is_near_nothing():
    pockets = lay_pockets(CUTTINGS, np.zeros(2, np.int64), np.zeros((2, 2)), np.zeros(2))
    assert (least_by_pocket(pockets.near(make_cloud([])), 2) == np.inf).all()
    assert not pockets.have_in_core(make_cloud([])).any()


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0, 200.0])
def test_a_point_beside_the_head(angle: float):
    pockets = lay_pockets(CUTTINGS, np.zeros(1, np.int64), np.array([[10.0, 20.0]]), np.array([angle]))
    a = np.radians(angle)
    along = np.array([np.cos(a), np.sin(a)])
    point = np.array([[10.0, 20.0]]) + 55.0 * along
    # Geometric: the pocket ends 50 mm from its middle, drawn 0.1 mm larger and 0.05 mm to 0.1 mm of clearance.
    assert least_by_pocket(pockets.near(make_cloud([point])), 1)[0] == pytest.approx(5.0, abs=0.3)
