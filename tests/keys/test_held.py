"""A whole placement's holding: each key gets its check, each crack its advice."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from crackmap.errors import WoodError
from crackmap.keys.family import size_family
from crackmap.keys.held import with_holding
from crackmap.keys.outline import moved
from crackmap.keys.strength import HeldCrack, reckon_holding
from crackmap.records import FloatArray, Key, Placement, frozen_array
from crackmap.shop import KeyChoice, Shop, SlabWood
from crackmap.wood.moisture import equilibrium_moisture
from crackmap.wood.species import species_named

SHOP = Shop(wood=SlabWood(species="red oak", moisture_percent=9.0, room_humidity_percent=45.0),
            keys=KeyChoice(key_wood="walnut"))
OUTLINE = frozen_array([(0.0, 0.0), (1200.0, 0.0), (1200.0, 500.0), (0.0, 500.0)])


@dataclass(frozen=True)
class DrawnLine:
    """305 mm along x from the slab's left end, narrowing from 6 to 0.5 mm."""

    cracks: tuple[str, ...] = ("C1",)
    ends: tuple[str, str] = ("edge", "tip")
    y: float = 100.0
    length: float = 305.0
    wave: float = 0.0
    slope: float = 0.0  # from x [deg]

    @property
    def arc(self) -> FloatArray:
        return np.linspace(0.0, self.length, 40)

    @property
    def points(self) -> FloatArray:
        turn = np.radians(self.slope)
        off = self.wave * np.sin(self.arc / 40.0)
        return np.column_stack([self.arc * np.cos(turn) - off * np.sin(turn),
                                self.y + self.arc * np.sin(turn) + off * np.cos(turn)])

    @property
    def width(self) -> FloatArray:
        return np.linspace(6.0, 0.5, 40)


def placed(at: list[float], cracks: tuple[str, ...] = ("C1",), y: float = 100.0) -> tuple[Key, ...]:
    """Keys across the crack, largest first."""
    sizes = size_family(SHOP, 44.0)
    keys = []
    for number, (x, size) in enumerate(zip(at, sizes, strict=False), 1):
        shape, centre = size.key_shape(SHOP), frozen_array([x, y])
        keys.append(Key(f"K{number}", cracks, centre, 90.0, shape, size.name, moved(shape.pocket, 90.0,
                                                                                    centre),
                        moved(shape.key, 90.0, centre), "suggested"))
    return tuple(keys)


def held(keys: tuple[Key, ...], *lines: DrawnLine, shop: Shop = SHOP) -> Placement:
    return with_holding(Placement(keys, ()), lines, OUTLINE, shop, 44.0)


def test_every_key_gets_the_check_and_the_words_that_the_reckoning_gives() -> None:
    keys = placed([30.0, 100.0, 170.0, 240.0])
    widths = tuple(float(np.interp(x, [0.0, 305.0], [6.0, 0.5])) for x in (30.0, 100.0, 170.0, 240.0))
    expected = reckon_holding(
        HeldCrack(305.0, True, (30.0, 100.0, 170.0, 240.0), tuple(k.shape for k in keys), widths), 44.0,
        species_named("red oak"), species_named("walnut"), 9.0, equilibrium_moisture(20.0, 45.0))
    found = held(keys, DrawnLine())
    for key, load in zip(found.keys, expected.loads, strict=True):
        assert key.checks[-1].name == "holding (advisory)"
        assert key.checks[-1].value == pytest.approx(load.factor, abs=0.01)
        assert key.reasons[-1].startswith("C1: holding, advisory: if nothing gave at all")
    assert found.warnings == ()
    assert "not structural design" in found.basis[0] and any("walnut" in line for line in found.basis)


def test_a_key_too_small_for_its_crack_is_warned_of() -> None:
    small = replace(placed([30.0] * 4)[-1], id="K1")
    found = held((small,), DrawnLine())
    assert not found.keys[0].checks[-1].ok
    assert any("A key may not hold" in w and "not structural design" in w for w in found.warnings)


def test_a_line_of_several_cracks_is_held_by_the_keys_on_any_of_them() -> None:
    one = held(placed([30.0, 200.0]), DrawnLine())
    joined = held(placed([30.0], ("C1",)) + tuple(replace(k, id="K2") for k in placed([200.0], ("C4",))),
                  DrawnLine(("C1", "C4")))
    assert joined.keys[0].checks[0].value == pytest.approx(one.keys[0].checks[0].value, rel=0.05)
    assert joined.keys[1].reasons[0].startswith("C1+C4: ")


@pytest.mark.parametrize("ends", [("edge", "edge"), ("edge", "void"), ("void", "junction")])
def test_a_crack_with_no_tip_has_none_to_relieve(ends: tuple[str, str]) -> None:
    found = held(placed([100.0]), DrawnLine(ends=ends))
    assert found.keys[0].checks == () and found.basis == ()
    assert any("holding is not reckoned" in w for w in found.warnings) == ("junction" not in ends)
    assert held((), DrawnLine(ends=ends)).warnings == ()  # no key, nothing to say about its holding


def test_a_split_from_end_to_end_is_better_sawn_and_glued() -> None:
    said = held(placed([100.0]), DrawnLine(length=1190.0, ends=("edge", "edge"))).warnings
    assert any("sawing it apart" in w for w in said) and any("open at both ends" in w for w in said)


def test_a_key_across_two_cracks_keeps_the_worse_check() -> None:
    keys = placed([100.0], ("C1", "C2"), 110.0)
    first, second = DrawnLine(), DrawnLine(("C2",), ("tip", "tip"), 120.0)
    both = held(keys, first, second).keys[0].checks
    alone = [held(keys, line).keys[0].checks[0].value for line in (first, second)]
    assert len(both) == 1 and both[0].value == min(alone)


def test_a_long_straight_split_is_better_sawn_and_glued() -> None:
    said = held(placed([100.0]), DrawnLine(length=800.0)).warnings
    assert any(w.startswith("C1: The split is straight and runs 67%") for w in said)
    wavy = held(placed([100.0]), DrawnLine(length=800.0, wave=40.0)).warnings
    assert not any("The split is straight" in w for w in wavy)
    # geometric: 820 of 1200 cos 10 + 500 sin 10 = 1269 mm, as straight as if it lay along x.
    sloping = held(placed([100.0]), DrawnLine(length=820.0, slope=10.0)).warnings
    assert any(w.startswith("C1: The split is straight and runs 65%") for w in sloping)


def test_wet_wood_is_said_once_for_the_slab() -> None:
    wet = SHOP.with_changes(wood=SlabWood(species="red oak", moisture_percent=18.0,
                                          room_humidity_percent=45.0))
    said = held(placed([30.0, 100.0]), DrawnLine(), DrawnLine(("C2",)), shop=wet).warnings
    assert sum(w.startswith("Dry it longer") for w in said) == 1
    assert any("Over the length of a 100 mm key the slab wants to shrink" in w for w in said)


def test_without_a_wood_nothing_is_added_and_a_wrong_one_is_refused() -> None:
    placement = Placement(placed([100.0]), ())
    assert with_holding(placement, [DrawnLine()], OUTLINE, Shop(), 44.0) is placement
    with pytest.raises(WoodError, match="unknown wood 'red oka'; did you mean"):
        held(placement.keys, DrawnLine(), shop=Shop(wood=SlabWood(species="red oka")))
    told = held(placement.keys, DrawnLine(), shop=Shop(wood=SlabWood(species="sapele")))
    assert any("Holding of C1 not reckoned: no toughness is known for sapele" in w for w in told.warnings)


def test_a_wood_without_shrinkage_figures_is_not_said_to_strain() -> None:
    cypress = SHOP.with_changes(wood=SlabWood(species="cypress", moisture_percent=18.0, room_humidity_percent=45.0))
    wet = SHOP.with_changes(wood=SlabWood(species="red oak", moisture_percent=18.0, room_humidity_percent=45.0))
    note = "the slab wants to shrink"
    assert any(note in w for w in held(placed([30.0]), DrawnLine(), shop=wet).warnings)
    assert not any(note in w for w in held(placed([30.0]), DrawnLine(), shop=cypress).warnings)
