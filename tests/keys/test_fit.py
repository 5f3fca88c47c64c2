"""Pocket and key: cuttable by the bit, and the gap that was asked for."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings

from crackmap.errors import KeyShapeError
from crackmap.keys.checks import check_key, measured_gap
from crackmap.keys.fit import drawn_gap, make_key
from crackmap.keys.outline import (
    bounding_box,
    is_reachable_by_bit,
    is_simple,
    is_tangent,
    least_convex_radius,
    least_notch_radius,
    mirrored,
    outline_area,
    take_apart,
    to_points,
    to_polygon,
)
from crackmap.keys.shapes import SHAPES
from crackmap.shop import Bit, Fit, Shop
from tests.keys.strategies import Asked, asked_keys, cuttable_keys, square_keys

QUARTER_INCH = Bit()
SLIP = Fit(clearance=0.1)
GAP_WITHIN = 0.005  # how far the gap may stray from the one asked for [mm]


@settings(max_examples=600, deadline=None)
@given(cuttable_keys)
def test_the_gap_is_the_one_asked_for_everywhere(asked: Asked) -> None:
    """independent: shapely's distances between finely chorded outlines, from key to pocket and back."""
    made = asked.made()
    expected = asked.fit.clearance + 2.0 * asked.bit.undersize
    pocket, key = to_polygon(made.pocket, 1e-3), to_polygon(made.key, 1e-3)
    for wall, points in ((pocket.exterior, to_points(made.key, 0.05)), (key.exterior, to_points(made.pocket,
                                                                                                0.05))):
        shapely.prepare(wall)
        distances = shapely.distance(wall, shapely.points(points))
        assert np.abs(distances - abs(expected)).max() < GAP_WITHIN
    assert drawn_gap(asked.bit, asked.fit) == pytest.approx(expected)
    assert (outline_area(made.pocket) >= outline_area(made.key)) == (expected >= 0.0)


@settings(max_examples=600, deadline=None)
@given(cuttable_keys)
def test_the_bit_can_cut_both(asked: Asked) -> None:
    made = asked.made()
    radius = asked.bit.diameter / 2.0
    assert is_simple(made.pocket) and is_simple(made.key)
    assert least_convex_radius(made.pocket) >= radius - 1e-9
    assert least_notch_radius(made.key) >= radius - 1e-9
    assert is_reachable_by_bit(made.pocket, asked.bit.diameter)


@settings(max_examples=250, deadline=None)
@given(cuttable_keys)
def test_what_was_asked_for_is_what_is_drawn(asked: Asked) -> None:
    made = asked.made()
    grown = asked.fit.clearance * asked.fit.pocket_share + asked.bit.undersize
    x0, y0, x1, y1 = bounding_box(made.pocket)
    assert (x1 - x0, y1 - y0) == pytest.approx((asked.length + 2.0 * grown, asked.width + 2.0 * grown))
    waist = to_polygon(made.pocket, 1e-3).intersection(shapely.LineString([(0, -500), (0, 500)])).length
    assert waist == pytest.approx(asked.waist + 2.0 * grown, abs=0.003)  # [mm]
    assert made.thickness == made.depth + asked.fit.proud
    assert is_tangent(made.pocket) and is_tangent(made.key)


@settings(max_examples=250, deadline=None)
@given(cuttable_keys)
def test_mirror_symmetry_in_both_axes(asked: Asked) -> None:
    made = asked.made()
    for outline in (made.pocket, made.key):
        whole = to_polygon(outline)
        assert whole.symmetric_difference(to_polygon(mirrored(outline))).area < 1e-3 * whole.area
        turned = shapely.affinity.rotate(whole, 180.0, origin=(0, 0))
        assert whole.symmetric_difference(turned).area < 1e-3 * whole.area


@settings(max_examples=250, deadline=None)
@given(cuttable_keys)
def test_arcs_of_pocket_and_key_are_concentric_and_few(asked: Asked) -> None:
    made = asked.made()
    pocket, key = take_apart(made.pocket), take_apart(made.key)
    assert len(made.pocket) <= 16 and np.abs(made.pocket[:, 2]).max() <= 1.0 + 1e-9
    gap = drawn_gap(asked.bit, asked.fit)
    for radius, centre, bulge in zip(key.radius, key.centre, key.bulge, strict=True):
        if bulge == 0.0:
            continue
        apart = np.hypot(*(pocket.centre[pocket.is_arc] - centre).T)
        twin = int(np.argmin(apart + np.where(np.sign(pocket.bulge[pocket.is_arc]) == np.sign(bulge), 0.0,
                                              1e6)))
        assert apart[twin] < 1e-3
        assert pocket.radius[pocket.is_arc][twin] - radius == pytest.approx(gap * np.sign(bulge), abs=1e-3)


@settings(max_examples=400, deadline=None)
@given(asked_keys)
def test_what_cannot_be_cut_is_refused_in_one_sentence(asked: Asked) -> None:
    try:
        asked.made()
    except KeyShapeError as error:
        assert str(error).endswith(".") and "\n" not in str(error) and len(str(error)) < 260


@settings(max_examples=250, deadline=None)
@given(square_keys)
def test_square_shoulders_can_be_cut_and_keep_their_gap(asked: Asked) -> None:
    made = asked.made()
    gap = drawn_gap(asked.bit, asked.fit)
    assert is_simple(made.pocket) and is_reachable_by_bit(made.pocket, asked.bit.diameter)
    assert least_convex_radius(made.pocket) >= asked.bit.diameter / 2.0 - 1e-9
    assert least_convex_radius(made.key) == 0.0  # square, as asked
    pocket, key = to_polygon(made.pocket, 1e-3), to_polygon(made.key, 1e-3)
    if asked.corners != "chisel" and gap >= 0.0:
        # The relief leaves the whole key, corners too, free of the wall.
        assert key.difference(pocket).area < 1e-3
        assert pocket.exterior.distance(key.exterior) == pytest.approx(gap, abs=GAP_WITHIN)
    least, most = measured_gap(made)
    assert abs(least - abs(gap)) < GAP_WITHIN and abs(most - abs(gap)) < GAP_WITHIN


def test_a_bit_wider_than_the_waist() -> None:
    with pytest.raises(KeyShapeError,
                       match=r"a 12\.7 mm bit cannot pass a waist of 10\.00 mm; make the waist"):
        make_key("two-lobe", 76.0, 32.0, 10.0, 19.0, Bit(diameter=12.7), SLIP)


def test_a_clearance_that_eats_the_neck() -> None:
    with pytest.raises(KeyShapeError, match=r"a clearance of 1\.5 mm a side eats the neck"):
        make_key("straight", 76.0, 32.0, 10.0, 19.0, QUARTER_INCH, Fit(clearance=1.5))


@pytest.mark.parametrize(("changes", "said"), [
    ({"width": 14.0}, "must be narrower than its head"), ({"length": -5.0}, "must be more than zero"),
    ({"length": float("nan")}, "must be more than zero"), ({"depth": 0.0}, "depth must be more than zero"),
    ({"shape": "two-lobes"}, "did you mean 'two-lobe'"), ({"length": 40.0, "width": 41.0},
                                                          "no room for two lobes"),
    ({"corners": "chisel"}, "has no corners to square"), ({"corners": "chissel", "shape": "straight"},
                                                          "did you mean"),
    ({"fit": Fit(clearance=-0.1)}, "zero or more"), ({"fit": Fit(pocket_share=2.0)}, "must be 0 to 1"),
    ({"bit": Bit(diameter=0.0)}, "bit's diameter must be more than zero"),
    ({"shape": "straight", "length": 6.0}, "too short for corners of 3.49 mm radius"),
    ({"shape": "straight", "width": 14.5, "bit": Bit(diameter=13.5)}, "too narrow for two corners")])
def test_wrong_values_are_named(changes: dict[str, object], said: str) -> None:
    asked: dict[str, object] = {"shape": "two-lobe", "length": 76.0, "width": 32.0, "waist": 14.0,
                                "depth": 19.0,
                                "bit": QUARTER_INCH, "fit": SLIP}
    with pytest.raises(KeyShapeError, match=said):
        make_key(**(asked | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize("diameter", [
    3.175, 6.35, 9.525, 12.7,  # 1/8, 1/4, 3/8, 1/2 in: ASME B94.19 end mills (from memory), exact in mm
    3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0])  # ISO 1641 end mills (from memory)
@pytest.mark.parametrize("shape", sorted(SHAPES))
def test_standard_bits_cut_every_shape(shape: str, diameter: float) -> None:
    bit = Bit(diameter=diameter)
    made = make_key(shape, 125.0, 52.0, 22.0, 19.0, bit, SLIP)
    failed = [c.name for c in check_key(made, Shop(bit=bit), 44.0, 4.0) if not c.ok]
    assert failed == []


def test_an_undersize_bit_is_made_up_for() -> None:
    """geometric: a bit 0.1 mm under size leaves 0.05 mm more on each wall, so the gap grows by both."""
    true, under = Bit(diameter=6.35), Bit(diameter=6.35, measured=6.25)
    exact = make_key("straight", 76.0, 32.0, 14.0, 19.0, true, SLIP)
    drawn = make_key("straight", 76.0, 32.0, 14.0, 19.0, under, SLIP)
    assert bounding_box(drawn.pocket)[2] - bounding_box(exact.pocket)[2] == pytest.approx(0.05)
    assert bounding_box(exact.key)[2] - bounding_box(drawn.key)[2] == pytest.approx(0.05)
    assert measured_gap(drawn) == pytest.approx((0.2, 0.2))


def test_flank_slopes_stay_within_what_makers_quote() -> None:
    """common practice, no source: 1:8 to 1:3.7, the slopes of dovetails; our straight keys' default."""
    form = SHAPES["straight"]
    slope = (form.width_ratio - form.waist_ratio) / 2.0 / 0.5
    assert 1.0 / 8.0 <= slope <= 1.0 / 3.7


def test_the_record_is_read_only() -> None:
    made = make_key("strap", 76.0, 16.0, 9.0, 19.0, QUARTER_INCH, SLIP)
    with pytest.raises(ValueError, match="read-only"):
        made.pocket[0, 0] = 1.0
