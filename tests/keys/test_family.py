"""Graded sizes, the size a crack needs, and the depth of a pocket."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.errors import KeyShapeError
from crackmap.keys.checks import check_key
from crackmap.keys.depth import pocket_depth
from crackmap.keys.family import needed_reach, size_family, size_for
from crackmap.keys.shapes import SHAPES
from crackmap.published import RENARD_R10
from crackmap.shop import Bit, KeyChoice, Shop


@settings(max_examples=150, deadline=None)
@given(st.floats(16.0, 120.0), st.sampled_from([1.5, 3.175, 6.0, 6.35, 8.0, 9.525, 12.7]),
       st.sampled_from(sorted(SHAPES)))
def test_a_family_is_graded_cuttable_and_three_to_five(thickness: float, diameter: float, shape: str) -> None:
    shop = Shop(bit=Bit(diameter=diameter, cutting_length=60.0), keys=KeyChoice(shape=shape))
    family = size_family(shop, thickness)
    assert 3 <= len(family) <= 5
    assert [s.length for s in family] == sorted((s.length for s in family), reverse=True)
    assert len({s.name for s in family}) == len(family)
    assert [s.width for s in family] == sorted((s.width for s in family), reverse=True)
    for size in family:
        failed = [c.name for c in check_key(size.key_shape(shop), shop, thickness) if not c.ok]
        assert set(failed) <= {"depth at least a third"}  # thin slabs: the floor comes first


def test_sizes_are_preferred_numbers() -> None:
    """published: ISO 3:1973, R 10 (from memory): each about the tenth root of ten above the last."""
    for smaller, larger in zip(RENARD_R10, RENARD_R10[1:], strict=False):
        assert larger / smaller == pytest.approx(10.0**0.1, rel=0.02)
    assert {s.length for s in size_family(Shop(), 44.0)} <= set(RENARD_R10)


def test_lengths_lie_where_makers_put_them() -> None:
    """common practice, no source: 64 to 152 mm; the smallest of ours serves the tip of a crack."""
    family = size_family(Shop(), 44.0)
    assert 64.0 <= family[0].length <= 152.0
    assert sum(1 for s in family if s.length >= 63.0) >= 3


def test_limits_and_lists_of_the_shop_file_are_kept() -> None:
    limited = Shop(keys=KeyChoice(least_length=60.0, greatest_length=90.0))
    assert all(60.0 <= s.length <= 90.0 for s in size_family(limited, 44.0))
    listed = size_family(Shop(keys=KeyChoice(lengths=(70.0, 95.0))), 44.0)
    assert [(s.name, s.length) for s in listed] == [("large", 95.0), ("small", 70.0)]
    wide = size_family(Shop(keys=KeyChoice(width_ratio=0.5, waist_ratio=0.25, lengths=(100.0,))), 44.0)
    assert (wide[0].width, wide[0].waist) == (50.0, 25.0)


@pytest.mark.parametrize("diameter", [6.35, 30.0])  # the thick one rules small sizes out, so that longer ones come in
def test_every_size_has_the_slabs_depth_and_the_shops_shape(diameter: float) -> None:
    shop = Shop(bit=Bit(diameter=diameter, cutting_length=40.0), keys=KeyChoice(shape="straight"))
    sizes = size_family(shop, 44.0)
    assert {size.depth for size in sizes} == {pocket_depth(shop, 44.0).depth}
    assert {size.shape for size in sizes} == {"straight"}


def test_no_size_fits_a_thick_bit() -> None:
    with pytest.raises(KeyShapeError, match="no two-lobe key of 40 to 40 mm can be cut with a 25 mm bit"):
        size_family(Shop(bit=Bit(diameter=25.0), keys=KeyChoice(lengths=(40.0,))), 44.0)
    with pytest.raises(KeyShapeError, match="no preferred length"):
        size_family(Shop(keys=KeyChoice(least_length=101.0, greatest_length=120.0)), 44.0)


@given(st.floats(0.0, 30.0))
def test_the_size_for_a_crack_reaches_and_is_the_smallest_that_does(crack: float) -> None:
    family = size_family(Shop(), 54.0)
    choice = size_for(crack, family)
    assert choice.needed_length == pytest.approx(crack + 2.0 * needed_reach(crack, KeyChoice()))
    shorter = [s for s in family if s.length < choice.size.length]
    if choice.reaches:
        assert choice.size.length >= choice.needed_length - 1e-6
        assert all(s.length < choice.needed_length for s in shorter)
    else:
        assert choice.size == family[0]


def test_a_wider_crack_never_gets_a_smaller_key() -> None:
    family = size_family(Shop(), 54.0)
    lengths = [size_for(w / 4.0, family).size.length for w in range(80)]
    assert lengths == sorted(lengths)


def test_depth_as_a_maker_cut_it() -> None:
    """common practice, no source: 19 mm deep in a 44 mm slab with a 6.35 mm bit."""
    choice = pocket_depth(Shop(), 44.0)
    assert choice.depth == pytest.approx(19.0, abs=1.0)  # [mm], a maker's own choice
    assert choice.limited_by == "share" and 1 / 3 <= choice.depth / 44.0 <= 1 / 2


@pytest.mark.parametrize(("shop", "thickness", "below", "limited_by", "depth"), [
    (Shop(bit=Bit(cutting_length=12.0)), 60.0, 0.0, "bit", 11.0),
    (Shop(), 14.0, 0.0, "floor", 6.0),
    (Shop(), 40.0, 20.0, "floor", 12.0),
    (Shop(keys=KeyChoice(depth=30.0)), 40.0, 0.0, "given", 30.0)])
def test_what_limits_a_depth_is_said(shop: Shop, thickness: float, below: float, limited_by: str,
                                     depth: float) -> None:
    choice = pocket_depth(shop, thickness, from_below_mm=below)
    assert (choice.limited_by, choice.depth) == (limited_by, depth)
    assert choice.floor == pytest.approx(thickness - below - depth)
    assert any(word in " ".join(choice.reasons) for word in ("cutting length", "leave under it", "as given"))


def test_no_family_no_size() -> None:
    with pytest.raises(KeyShapeError, match="no family of sizes"):
        size_for(3.0, ())


def test_nothing_lies_below_unless_said() -> None:
    # The floor rules here, so that a millimetre below would show.
    shop = Shop(keys=KeyChoice(depth_fraction=0.9, least_floor=10.0), bit=Bit(cutting_length=80.0))
    assert pocket_depth(shop, 40.0).depth == 30.0  # geometric: 40 less the floor of 10
    assert pocket_depth(shop, 40.0, from_below_mm=5.0).depth == 25.0


def test_a_through_crack_is_mentioned() -> None:
    assert any("comes out below" in r for r in pocket_depth(Shop(), 44.0, crack_goes_through=True).reasons)


@pytest.mark.parametrize(("shop", "thickness", "said"), [
    (Shop(keys=KeyChoice(depth=50.0)), 44.0, r"50\.0 mm deep goes through a slab of 44\.0 mm"),
    (Shop(), 8.0, "leaves no room for a pocket"), (Shop(), 0.0, "more than zero"),
    (Shop(), float("nan"), "more than zero"), (Shop(keys=KeyChoice(depth=-1.0)), 44.0, "more than zero")])
def test_impossible_depths_are_refused(shop: Shop, thickness: float, said: str) -> None:
    with pytest.raises(KeyShapeError, match=said):
        pocket_depth(shop, thickness)
