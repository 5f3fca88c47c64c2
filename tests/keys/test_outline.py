"""Line-and-arc geometry against formulas and against shapely."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, box

from crackmap.errors import KeyShapeError
from crackmap.keys.outline import (
    bounding_box,
    distances_to,
    is_reachable_by_bit,
    is_simple,
    is_tangent,
    least_convex_radius,
    least_notch_radius,
    mirrored,
    moved,
    offset,
    outline_area,
    outline_length,
    reach_tolerance,
    to_points,
    to_polygon,
    unreached_area,
)
from tests.keys.strategies import Asked, cuttable_keys

CIRCLE = [(5.0, 0.0, 1.0), (-5.0, 0.0, 1.0)]  # radius 5 in two half turns
SQUARE = [(0.0, 0.0, 0.0), (10.0, 0.0, 0.0), (10.0, 10.0, 0.0), (0.0, 10.0, 0.0)]
QUARTER = math.tan(math.pi / 8.0)  # bulge of a quarter turn
ROUNDED = [(2.0, 0.0, 0.0), (8.0, 0.0, QUARTER), (10.0, 2.0, 0.0), (10.0, 8.0, QUARTER),
           (8.0, 10.0, 0.0), (2.0, 10.0, QUARTER), (0.0, 8.0, 0.0), (0.0, 2.0, QUARTER)]


def test_circle_by_formula() -> None:
    # geometric: pi r^2, 2 pi r and the circle's own box.
    assert outline_area(CIRCLE) == pytest.approx(25.0 * math.pi)
    assert outline_length(CIRCLE) == pytest.approx(10.0 * math.pi)
    assert bounding_box(CIRCLE) == pytest.approx((-5.0, -5.0, 5.0, 5.0))


def test_rounded_square_by_formula() -> None:
    # geometric: a 10 mm square less four corners of (1 - pi/4) r^2, r = 2.
    assert outline_area(ROUNDED) == pytest.approx(100.0 - (4.0 - math.pi) * 4.0)
    assert outline_length(ROUNDED) == pytest.approx(24.0 + 4.0 * math.pi)
    assert is_tangent(ROUNDED) and not is_tangent(SQUARE)
    assert least_convex_radius(ROUNDED) == pytest.approx(2.0)
    assert least_convex_radius(SQUARE) == 0.0
    assert least_notch_radius(ROUNDED) == math.inf


def test_offset_of_a_rounded_square_is_a_rounded_square() -> None:
    # geometric: sides move by d, radii change by d.
    larger = offset(ROUNDED, 0.5)
    assert bounding_box(larger) == pytest.approx((-0.5, -0.5, 10.5, 10.5))
    assert least_convex_radius(larger) == pytest.approx(2.5)
    sharp = offset(ROUNDED, -2.0)
    assert outline_area(sharp) == pytest.approx(36.0) and len(sharp) == 4


def test_offset_keeps_a_square_square() -> None:
    assert outline_area(offset(SQUARE, 1.0)) == pytest.approx(144.0)
    assert outline_area(offset(SQUARE, -1.0)) == pytest.approx(64.0)


def test_an_offset_of_nothing_changes_nothing() -> None:
    assert np.array_equal(offset(ROUNDED, 0.0), ROUNDED)


def test_a_sharp_corner_at_an_arc_has_no_exact_offset() -> None:
    half_disc = np.array([(0.0, 0.0, 0.0), (10.0, 0.0, 1.0)])  # a line, then half a circle back to its start
    with pytest.raises(KeyShapeError, match="no exact offset"):
        offset(half_disc, 1.0)


def test_an_offset_larger_than_an_arc_is_refused() -> None:
    with pytest.raises(KeyShapeError, match=r"2\.00 mm radius is smaller than the offset of 2\.10 mm"):
        offset(ROUNDED, -2.1)


def test_chords_stray_by_no_more_than_they_may() -> None:
    for tolerance in (0.5, 0.01, 0.001):
        points = to_points(CIRCLE, tolerance)
        middles = (points + np.roll(points, -1, axis=0)) / 2.0
        assert 5.0 - np.hypot(*middles.T).min() <= tolerance * 1.0001
        assert np.hypot(*points.T) == pytest.approx(5.0)


def test_distances_by_formula() -> None:
    # geometric: from a circle of radius 5 about the origin.
    points = np.array([(0.0, 0.0), (3.0, 4.0), (6.0, 8.0), (0.0, -1.0)])
    assert distances_to(CIRCLE, points) == pytest.approx([5.0, 0.0, 5.0, 4.0], abs=1e-12)
    assert distances_to(SQUARE, [(5.0, 1.0), (12.0, 5.0), (13.0, 14.0)]) == pytest.approx([1.0, 2.0, 5.0])


def test_a_bit_cannot_reach_into_a_square_corner() -> None:
    # geometric: it leaves (1 - pi/4) r^2 in each of four corners, here r = 3.
    expected = (4.0 - math.pi) * 9.0
    assert unreached_area(SQUARE, 6.0) == pytest.approx(expected, abs=reach_tolerance(SQUARE))
    assert not is_reachable_by_bit(SQUARE, 6.0)
    assert is_reachable_by_bit(ROUNDED, 4.0)
    assert not is_reachable_by_bit(ROUNDED, 4.4)


def test_a_bit_cannot_pass_a_gate_narrower_than_itself() -> None:
    """geometric: two 20 mm squares joined by a gate 5 mm wide."""
    gate = shapely.union_all([box(0, 0, 20, 20), box(20, 7.5, 25, 12.5), box(25, 0, 45, 20)])
    rows = [(x, y, 0.0) for x, y in list(gate.exterior.coords)[:-1]][::-1]
    assert outline_area(rows) == pytest.approx(825.0)
    assert unreached_area(rows, 5.2) > 400.0  # one of the squares, and more
    assert unreached_area(rows, 1.0) < 2.0  # corners alone


def test_an_outline_that_crosses_itself_is_seen() -> None:
    assert not is_simple([(0.0, 0.0, 0.0), (10.0, 10.0, 0.0), (10.0, 0.0, 0.0), (0.0, 10.0, 0.0)])
    assert not is_simple(SQUARE[::-1])  # clockwise


def test_mirroring_turns_nothing_inside_out() -> None:
    lopsided = [(0.0, 0.0, 0.0), (10.0, 0.0, 0.5), (10.0, 6.0, 0.0), (0.0, 4.0, -0.3)]
    twin = mirrored(lopsided)
    assert outline_area(twin) == pytest.approx(outline_area(lopsided))
    expected = shapely.affinity.scale(to_polygon(lopsided), 1.0, -1.0, origin=(0, 0))
    assert to_polygon(twin).symmetric_difference(expected).area < 1e-6
    assert mirrored(twin) == pytest.approx(np.array(lopsided))


@settings(max_examples=150, deadline=None)
@given(cuttable_keys, st.floats(-180.0, 180.0), st.floats(-1000.0, 1000.0), st.floats(-1000.0, 1000.0))
def test_area_and_box_agree_with_shapely(asked: Asked, angle: float, x: float, y: float) -> None:
    """independent: shapely on a polygon of fine chords, turned by shapely."""
    pocket = asked.made().pocket
    fine = to_polygon(pocket, 1e-4)
    assert outline_area(pocket) == pytest.approx(fine.area, abs=1e-4 * fine.length)
    assert outline_length(pocket) == pytest.approx(fine.length, rel=1e-4)
    turned = shapely.affinity.translate(shapely.affinity.rotate(fine, angle, origin=(0, 0)), x, y)
    assert bounding_box(moved(pocket, angle, (x, y))) == pytest.approx(turned.bounds, abs=2e-4)  # [mm]


@settings(max_examples=100, deadline=None)
@given(cuttable_keys, st.integers(0, 50))
def test_exact_distances_agree_with_shapely(asked: Asked, seed: int) -> None:
    """independent: shapely's distance to fine chords."""
    pocket = asked.made().pocket
    points = np.random.default_rng(seed).uniform(-60.0, 60.0, (20, 2))
    wall = to_polygon(pocket, 1e-4).exterior
    by_shapely = [wall.distance(Point(p)) for p in points]
    assert distances_to(pocket, points) == pytest.approx(by_shapely, abs=2e-4)


@settings(max_examples=100, deadline=None)
@given(cuttable_keys)
def test_an_outline_read_back_from_a_file_is_still_tangent(asked: Asked) -> None:
    """Rows rounded to 0.0001 mm and bulges to a millionth, as plan.json has them, can be made wider."""
    pocket = np.asarray(asked.made().pocket)
    read_back = np.column_stack([np.round(pocket[:, :2], 4), np.round(pocket[:, 2], 6)])
    assert is_tangent(read_back)
    x0, y0, x1, y1 = bounding_box(read_back)
    assert bounding_box(offset(read_back, 0.1)) == pytest.approx((x0 - 0.1, y0 - 0.1, x1 + 0.1, y1 + 0.1), abs=1e-3)
