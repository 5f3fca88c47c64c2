"""Seasonal movement against the handbook's figures and its worked example."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crackmap.errors import WoodError
from crackmap.wood.movement import movement, strain_at
from crackmap.wood.species import species_named

# published: Wood Handbook, FPL-GTR-190 (2010), Table 13-5, radial and tangential, per % of moisture.
TABLE_13_5 = [("white ash", 0.00169, 0.00274), ("American beech", 0.00190, 0.00431),
              ("black cherry", 0.00126, 0.00248), ("American elm", 0.00144, 0.00338),
              ("sugar maple", 0.00165, 0.00353), ("northern red oak", 0.00158, 0.00369),
              ("white oak", 0.00180, 0.00365), ("black walnut", 0.00190, 0.00274)]


@pytest.mark.parametrize(("wood", "radial", "tangential"), TABLE_13_5)
def test_dimensional_change_of_wood_handbook_table_13_5(wood: str, radial: float, tangential: float) -> None:
    species = species_named(wood)
    # geometric: dD = D C (Mf - Mi), 500 mm from 12 to 8 %.
    assert movement(species, 500.0, 12.0, 8.0, 90.0).change_mm == pytest.approx(-500.0 * radial * 4.0)
    assert movement(species, 500.0, 12.0, 8.0, 0.0).change_mm == pytest.approx(-500.0 * tangential * 4.0)


def test_worked_example_of_wood_handbook_chapter_13() -> None:
    """published (from memory): white fir 232 mm wide, 8 to 11 %: 0.780 mm quarter-, 1.705 mm flat-sawn."""
    fir = species_named("white fir")
    assert movement(fir, 232.0, 8.0, 11.0, 90.0).change_mm == pytest.approx(0.780, abs=0.001)
    assert movement(fir, 232.0, 8.0, 11.0, 0.0).change_mm == pytest.approx(1.705, abs=0.001)


@pytest.mark.parametrize("wood", [name for name, _, _ in TABLE_13_5 if "oak" not in name])
def test_even_shrinkage_agrees_with_the_coefficients_where_both_hold(wood: str) -> None:
    """independent: from 5.99 % the shrinkage model takes over; the two describe one wood."""
    species = species_named(wood)
    linear = movement(species, 500.0, 6.0, 10.0, 0.0)
    general = movement(species, 500.0, 5.99, 10.0, 0.0)
    assert linear.method != general.method
    assert general.change_mm == pytest.approx(linear.change_mm, rel=0.03)


def test_green_to_oven_dry_is_the_tabulated_shrinkage() -> None:
    """published: black walnut 7.8 % tangential, Wood Handbook, FPL-GTR-190 (2010), Table 4-3."""
    assert movement(species_named("walnut"), 100.0, 30.0, 0.0, 0.0).change_mm == pytest.approx(-7.8)


@given(st.floats(0.0, 90.0))
def test_ring_angle_lies_between_radial_and_tangential(angle: float) -> None:
    assert 0.001 <= strain_at(0.001, 0.003, angle) <= 0.003
    # geometric: a strain tensor's two perpendicular strains keep their sum.
    assert strain_at(0.001, 0.003, angle) + strain_at(0.001, 0.003, 90.0 - angle) == pytest.approx(0.004)


def test_unknown_ring_angle_gives_the_range() -> None:
    moved = movement(species_named("walnut"), 600.0, 12.0, 8.0)
    assert abs(moved.least_mm) < abs(moved.change_mm) < abs(moved.most_mm)


def test_bad_values_are_refused() -> None:
    walnut = species_named("walnut")
    with pytest.raises(WoodError, match="outside 0 to 30"):
        movement(walnut, 600.0, 45.0, 8.0)
    with pytest.raises(WoodError, match="ring angle of 91"):
        movement(walnut, 600.0, 12.0, 8.0, 91.0)
    with pytest.raises(WoodError, match="more than zero"):
        movement(walnut, 0.0, 12.0, 8.0)
    with pytest.raises(WoodError, match="no shrinkage is tabulated for baldcypress"):
        movement(species_named("cypress"), 600.0, 12.0, 8.0)
