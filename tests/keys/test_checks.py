"""Checks find what is wrong with a key, and only that."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crackmap.keys.checks import check_key
from crackmap.keys.fit import make_key
from crackmap.keys.outline import offset
from crackmap.records import KeyShape, frozen_array
from crackmap.shop import Bit, Fit, Shop

SHOP = Shop()


def plain_key(shape: str = "two-lobe") -> KeyShape:
    return make_key(shape, 80.0, 33.0, 15.0, 19.0, SHOP.bit, SHOP.fit)


def failed(key: KeyShape, shop: Shop = SHOP, thickness: float = 44.0, crack: float = 4.0,
           **below: float) -> set[str]:
    return {c.name for c in check_key(key, shop, thickness, crack, **below) if not c.ok}


def test_a_good_key_passes_and_every_check_has_a_value_and_a_limit() -> None:
    checks = check_key(plain_key(), SHOP, 44.0, 4.0)
    assert all(c.ok for c in checks) and len({c.name for c in checks}) == len(checks) >= 10
    assert all(c.value is not None and c.limit is not None and c.note for c in checks)


@pytest.mark.parametrize(("shop", "thickness", "crack", "names"), [
    (Shop(bit=Bit(diameter=16.0)), 44.0, 4.0, {"bit passes the waist", "pocket reached", "key notches"}),
    (Shop(bit=Bit(cutting_length=15.0)), 44.0, 4.0, {"depth within the bit", "key within the bit"}),
    (SHOP, 25.0, 4.0, {"floor", "depth at most a half"}),
    (SHOP, 80.0, 4.0, {"depth at least a third"}),
    (SHOP, 44.0, 12.0, {"wing reach"}),
    (Shop(fit=Fit(clearance=0.2)), 44.0, 4.0, {"gap least"}),
    (Shop(fit=Fit(clearance=0.05)), 44.0, 4.0, {"gap most"})])
def test_each_fault_is_found_by_its_own_check(shop: Shop, thickness: float, crack: float,
                                              names: set[str]) -> None:
    assert failed(plain_key(), shop, thickness, crack) == names


def test_something_below_counts_against_the_floor() -> None:
    assert failed(plain_key(), from_below_mm=20.0) == {"floor"}


def test_a_corner_sharper_than_the_bit_is_found() -> None:
    square = [(-40.0, -16.0, 0.0), (40.0, -16.0, 0.0), (40.0, 16.0, 0.0), (-40.0, 16.0, 0.0)]
    key = replace(plain_key(), pocket=frozen_array(square, 3), key=offset(square, -0.1))
    assert {"pocket corners", "pocket reached"} <= failed(key)


def test_a_key_that_was_shifted_in_its_pocket_is_found() -> None:
    key = plain_key("straight")
    shifted = key.key + np.array([0.05, 0.0, 0.0])
    assert {"gap least", "gap most"} <= failed(replace(key, key=frozen_array(shifted, 3)))


def test_figures_that_are_reckoned_are_shown_to_a_few_digits() -> None:
    shop = Shop(bit=Bit(diameter=6.35), fit=Fit(clearance=0.123456, proud=1.234567))
    key = make_key("two-lobe", 100.123456, 42.123456, 18.123456, 22.123456, shop.bit, shop.fit)
    digits = {"floor": 2, "depth at least a third": 3, "wing reach": 2, "pocket reached": 2, "key notches": 3}
    shown = {check.name: check.value for check in check_key(key, shop, 44.654321, 4.0)}
    for name, most in digits.items():
        figure = float(shown[name])
        assert round(figure, most) == figure and (figure == 0.0 or figure != round(figure)), name


def test_a_key_without_a_notch_has_none_to_check() -> None:
    slot = make_key("strap", 80.0, 20.0, 20.0, 20.0, SHOP.bit, SHOP.fit)
    notches = next(check for check in check_key(slot, SHOP, 44.0) if check.name == "key notches")
    assert notches.value == "none" and notches.ok
