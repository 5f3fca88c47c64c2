"""The test cut: gaps as engraved, room on the offcut."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.errors import KeyShapeError
from crackmap.keys.ladder import CLEARANCES, DEPTH, LEAST_WALL, make_ladder
from crackmap.keys.outline import moved, to_polygon
from crackmap.keys.shapes import SHAPES
from crackmap.keys.strokes import stroke_width, strokes
from crackmap.shop import Bit, KeyChoice, Shop


def test_the_steps_span_what_has_been_quoted() -> None:
    """common practice, no source: 0.08 to 0.1 mm a side is quoted; 0.4 is past every figure quoted."""
    assert CLEARANCES[0] <= 0.05 and CLEARANCES[-1] >= 0.4
    assert any(0.075 <= step <= 0.1 for step in CLEARANCES)


@pytest.mark.parametrize("shape", sorted(SHAPES))
def test_one_key_has_each_engraved_gap_in_its_pocket(shape: str) -> None:
    ladder = make_ladder(Shop(keys=KeyChoice(shape=shape)))
    key = ladder.shape.key
    for pocket, clearance in zip(ladder.pockets, ladder.clearances, strict=True):
        middle = np.array(to_polygon(pocket).centroid.coords[0])
        wall = to_polygon(pocket, 1e-3).exterior
        inside = to_polygon(moved(key, 90.0, middle), 1e-3).exterior
        assert wall.distance(inside) == pytest.approx(clearance, abs=0.005)  # [mm]
        assert wall.hausdorff_distance(inside) == pytest.approx(clearance, abs=0.01)


@settings(max_examples=40, deadline=None)
@given(st.floats(60.0, 600.0), st.sampled_from([3.175, 6.35, 12.7]), st.sampled_from(sorted(SHAPES)))
def test_everything_fits_the_offcut_and_nothing_touches(longest: float, diameter: float, shape: str) -> None:
    ladder = make_ladder(Shop(bit=Bit(diameter=diameter), keys=KeyChoice(shape=shape)), most_length=longest)
    board = shapely.Polygon(ladder.offcut)
    things = [to_polygon(p, 0.01) for p in ladder.pockets]
    things += [shapely.MultiLineString([line for line in label]).envelope for label in ladder.labels]
    assert all(board.contains(thing) for thing in things)
    for i, thing in enumerate(things):
        assert all(thing.distance(other) > 2.0 for other in things[i + 1:])
    assert shapely.Polygon(ladder.offcut).disjoint(to_polygon(ladder.key))


def test_the_key_lies_beside_the_offcut_and_is_as_thick_as_a_key_is() -> None:
    shop = Shop()
    ladder = make_ladder(shop)
    assert ladder.offcut[0] == pytest.approx([0.0, 0.0])
    board, key = shapely.Polygon(ladder.offcut), to_polygon(ladder.key)
    wall = max(LEAST_WALL, shop.bit.diameter)
    # geometric: twice the wall below the offcut, give or take the key's own clearance, and no farther.
    assert board.distance(key) == pytest.approx(2.0 * wall, abs=1.0)  # [mm]
    assert ladder.depth == DEPTH and ladder.key_thickness == DEPTH + shop.fit.proud == ladder.shape.thickness


def test_wrong_steps_are_refused() -> None:
    for steps in ((), (0.1, 0.1), (0.1, 0.1001)):
        with pytest.raises(KeyShapeError, match="one step or more"):
            make_ladder(Shop(), steps)
    with pytest.raises(KeyShapeError, match="no engraved form for 'x'"):
        strokes("0.1x", 6.0)


def test_figures_are_as_high_and_wide_as_said() -> None:
    lines = strokes("0.125", 6.0)
    points = np.concatenate(lines)
    assert points[:, 1].max() == 6.0
    assert np.ptp(points[:, 0]) == pytest.approx(stroke_width("0.125", 6.0))
