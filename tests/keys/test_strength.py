"""Holding strength: hand-worked areas, the two bounds, and what is said about them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from crackmap.errors import WoodError
from crackmap.keys.advice import keying_advice, restraint_note
from crackmap.keys.capacity import bearing_areas, key_capacity
from crackmap.keys.family import size_family
from crackmap.keys.fit import make_key
from crackmap.keys.strength import (
    HeldCrack,
    Holding,
    holding_basis,
    holding_checks,
    holding_reasons,
    reckon_holding,
)
from crackmap.records import KeyShape
from crackmap.shop import Bit, Fit, Shop
from crackmap.wood.species import species_named

RED_OAK, WALNUT = species_named("red oak"), species_named("walnut")
NO_GAP = Fit(clearance=0.0)


def four_keys() -> tuple[KeyShape, ...]:
    return tuple(size.key_shape(Shop()) for size in size_family(Shop(), 44.0))


def makers_crack(keys: tuple[KeyShape, ...], at: tuple[float, ...] = (30.0, 100.0, 170.0, 240.0)) -> Holding:
    """A 305 mm end check in a 44 mm slab of red oak that dries from 12 to 8 %."""
    crack = HeldCrack(305.0, True, at[:len(keys)], keys, (6.0, 4.5, 3.0, 1.5)[:len(keys)])
    return reckon_holding(crack, 44.0, RED_OAK, WALNUT, 12.0, 8.0)


def test_areas_of_a_straight_key_by_hand() -> None:
    """geometric: 100 x 42 mm, waist 18, 20 deep, no gap, no crack."""
    key = make_key("straight", 100.0, 42.0, 18.0, 20.0, Bit(), NO_GAP)
    neck, head, shoulder, floor = bearing_areas(key, 0.0)
    assert neck == pytest.approx(18.0 * 20.0, rel=0.001)
    assert head == pytest.approx(2.0 * 50.0 * 20.0, rel=0.01)
    assert shoulder == pytest.approx((42.0 - 18.0) * 20.0, rel=0.001)
    assert floor == pytest.approx(50.0 * (18.0 + 42.0) / 2.0, rel=0.03)  # a trapezium less its rounding


def test_a_crack_takes_its_width_from_shear_and_floor() -> None:
    key = make_key("straight", 100.0, 42.0, 18.0, 20.0, Bit(), NO_GAP)
    assert bearing_areas(key, 0.0)[1] - bearing_areas(key, 10.0)[1] == pytest.approx(2.0 * 5.0 * 20.0,
                                                                                     rel=0.01)


def test_capacities_by_hand() -> None:
    """independent: areas times the strengths of Wood Handbook Table 5-3a, worked on paper."""
    capacity = key_capacity(make_key("straight", 100.0, 42.0, 18.0, 20.0, Bit(), NO_GAP), WALNUT, RED_OAK)
    by_name = {mode.name: mode for mode in capacity.modes}
    assert by_name["tension in the neck"].mean_n == pytest.approx(360.0 * 101.0, rel=0.001)
    assert by_name["shear along the head"].mean_n == pytest.approx(2000.0 * 9.4 / 1.5, rel=0.01)
    assert by_name["bearing of the shoulders"].mean_n == pytest.approx(480.0 * 7.0, rel=0.001)
    assert capacity.weakest.name == "bearing of the shoulders"
    assert capacity.wanted_factor == pytest.approx(1.67)


def test_a_plain_strap_holds_by_glue_alone() -> None:
    plain = make_key("strap", 80.0, 12.0, 12.0, 15.0, Bit(), Fit())
    capacity = key_capacity(plain, WALNUT, RED_OAK)
    assert capacity.weakest.name == "glue line on the floor"
    bearing = next(m for m in capacity.modes if m.name == "bearing of the shoulders")
    assert bearing.mean_n == pytest.approx(0.0, abs=1.0)  # [N]


def test_full_restraint_is_no_bound_and_the_tip_is() -> None:
    """calculated for the project: over 100 kN by restraint on a 305 x 44 mm check, a few kN by the tip."""
    held = makers_crack(four_keys())
    assert held.full_restraint_n is not None and held.full_restraint_n > 100_000.0
    assert 2_000.0 < held.tip_bound_n < 9_000.0
    # independent: K_Ic / (1.1215 sqrt(pi a)) over the crack's area, K_Ic 410 kPa sqrt(m)
    # (Wood Handbook, FPL-GTR-190, Table 5-10, from memory).
    stress = 0.410 / (1.1215 * (3.14159 * 0.305) ** 0.5)
    assert held.tip_bound_n == pytest.approx(stress * 305.0 * 44.0, rel=0.001)


def test_more_keys_relieve_the_tip_more() -> None:
    relief = [makers_crack(four_keys()[:n]).relief for n in (1, 2, 4)]
    assert relief == sorted(relief) and relief[0] > 1.0


def test_the_key_at_the_open_end_gets_the_largest_share() -> None:
    held = makers_crack(four_keys()[:1] * 3)
    forces = [load.force_n for load in held.loads]
    assert forces == sorted(forces, reverse=True)


def test_less_drying_less_load_and_none_when_it_swells() -> None:
    keys = four_keys()
    crack = HeldCrack(305.0, True, (30.0, 100.0, 170.0, 240.0), keys, (6.0, 4.5, 3.0, 1.5))
    little = reckon_holding(crack, 44.0, RED_OAK, WALNUT, 8.05, 8.0)
    assert little.loads[0].force_n < makers_crack(keys).loads[0].force_n
    swelling = reckon_holding(crack, 44.0, RED_OAK, WALNUT, 8.0, 11.0)
    assert swelling.holds and swelling.loads[0].force_n == 0.0
    unknown = reckon_holding(crack, 44.0, RED_OAK, WALNUT)
    assert unknown.full_restraint_n is None
    assert unknown.loads[0].force_n == pytest.approx(makers_crack(keys).loads[0].force_n)
    assert unknown.loads[0].force_when_running_n == pytest.approx(unknown.loads[0].force_n * unknown.relief)


def test_the_makers_four_keys_hold_and_one_small_one_does_not() -> None:
    """common practice, no source: a 305 mm crack in a 44 mm slab took four keys 19 mm deep."""
    assert makers_crack(four_keys()).holds
    assert not makers_crack(four_keys()[-1:]).holds


def test_every_figure_is_called_advisory_and_memory_is_owned_up_to() -> None:
    held = makers_crack(four_keys())
    basis = holding_basis(RED_OAK, WALNUT)
    assert "not structural design" in basis[0] and sum(line.startswith("Assumed: ") for line in basis) >= 5
    assert any(line.startswith("Figures of ") and "from memory" in line for line in basis)
    reasons = holding_reasons(held)
    assert len(reasons) == 4 and all("advisory" in r and "no use as a bound" in r
                                     and "tip lets" in r for r in reasons)
    checks = holding_checks(held)
    assert len(checks) == 4 and all("not structural design" in c.note and "weakest" in c.note for c in checks)


def test_a_wood_without_figures_is_named() -> None:
    crack = HeldCrack(305.0, True, (30.0,), four_keys()[:1], (5.0,))
    with pytest.raises(WoodError, match="no toughness is known for sapele"):
        reckon_holding(crack, 44.0, species_named("sapele"), WALNUT)
    with pytest.raises(WoodError, match="no strength in compression across the grain is tabulated for teak"):
        key_capacity(four_keys()[0], species_named("teak"), RED_OAK)


def test_advice_names_each_reason_not_to_key() -> None:
    wet = keying_advice(None, moisture_now=16.0, moisture_to_come=8.0)
    assert len(wet) == 1 and wet[0].startswith("Dry it longer")
    assert "press on the keys" in keying_advice(None, moisture_now=6.0, moisture_to_come=11.0)[0]
    assert "gluing it again" in keying_advice(None, split_share=0.8, straying=0.01)[0]
    assert keying_advice(None, split_share=0.8, straying=0.2) == ()
    weak = makers_crack(four_keys()[-1:])
    assert not weak.holds and "free to move" in keying_advice(weak)[0]


def test_advice_gives_the_figures_of_the_key_nearest_to_failing() -> None:
    weak = makers_crack(four_keys()[-1:])
    load = weak.loads[0]
    worse = replace(load, force_n=2.0 * load.force_n, factor=load.factor / 2.0)
    said = keying_advice(replace(weak, loads=(load, worse, load)))[0]
    assert f"({worse.force_n / 1000:.1f} kN to hold" in said


def test_what_a_key_does_to_the_slab_is_said_with_its_figure() -> None:
    """geometric: 100 mm x 0.00369 x 4 % = 1.48 mm."""
    note = restraint_note(RED_OAK, 100.0, 12.0, 8.0)
    assert "shrink by up to 1.48 mm" in note and "swell" in restraint_note(RED_OAK, 100.0, 8.0, 12.0)
