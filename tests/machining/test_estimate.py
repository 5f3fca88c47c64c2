"""Machine time."""

from __future__ import annotations

from dataclasses import replace

import pytest

from crackmap.keys.fit import make_key
from crackmap.machining.estimate import estimate_time
from crackmap.records import CuttingTime, Key
from crackmap.settings import CuttingSettings
from crackmap.shop import Bit, Machine, Shop
from crackmap.stock.lay_out import lay_out_keys
from tests.builders import a_key


def _keys(count: int, length: float = 90.0, depth: float = 19.0, shop: Shop | None = None) -> list[Key]:
    shop = shop or Shop()
    shape = make_key("straight", length, 0.4 * length, 0.18 * length, depth, shop.bit, shop.fit)
    return [replace(a_key(n, "C1", (0.0, 0.0), 90.0), shape=shape) for n in range(count)]


def _time(keys: list[Key], shop: Shop) -> CuttingTime:
    time = estimate_time(keys, None, shop)
    assert time is not None
    return time


@pytest.mark.parametrize("length", [76.0, 90.0, 100.0, 110.0])
def test_four_keys_took_twenty_two_minutes(length: float) -> None:
    """Common practice, no source: 19 mm deep in beech, 6.35 mm bit, a retract at every plunge. The keys' size is not
    told; makers' keys are 64 to 152 mm long, the middle of that is tried."""
    (item,) = _time(_keys(4, length), Shop(machine=Machine(retract_each_pass=True))).items
    assert item.least <= 22.0 <= item.most


def test_a_straight_groove_by_hand() -> None:
    """Independent, by hand: a pocket as wide as the bit is one line up and down; 60 s a minute of feed."""
    shop = Shop(bit=Bit(6.35), machine=Machine(feed=600.0, plunge=600.0, pass_depth=100.0, acceleration=20_000.0,
                                               retract_each_pass=False, rapid=60_000.0))
    shape = make_key("straight", 200.0, 20.0, 19.0, 5.0, shop.bit, shop.fit)  # almost a rectangle 200 x 20
    (item,) = _time([replace(a_key(1, "C1", (0.0, 0.0), 90.0), shape=shape)], shop).items
    # Rings 193.65 x 13.65 less their corners' roundness, then 2.54 mm further in each side, three in all: about
    # 414, 394 and 373 mm, and a last way along the middle of about 3 x 185 mm2's root: some 1,240 mm at 600 mm/min.
    assert item.likely == pytest.approx(1.12 * 1240.0 / 600.0, rel=0.06)


def test_more_depth_more_keys_and_slower_feeds_take_longer() -> None:
    shop = Shop(machine=Machine(feed=1200.0))
    base = _time(_keys(4), shop).likely
    assert _time(_keys(8), shop).likely == pytest.approx(2 * base, rel=1e-6)
    assert _time(_keys(4, depth=25.0), shop).likely > 1.2 * base
    assert _time(_keys(4), Shop(machine=Machine(feed=600.0))).likely > 1.7 * base
    assert _time(_keys(4), Shop(machine=Machine(feed=1200.0, retract_each_pass=True))).likely > base


def test_a_stated_feed_narrows_the_range() -> None:
    def spread(shop: Shop) -> float:
        (item,) = _time(_keys(4), shop).items
        assert item.least <= item.likely <= item.most
        return item.most / item.least

    stated = Machine(feed=1250.0, plunge=450.0, stepover=0.4, acceleration=300.0, retract_each_pass=False)
    assert spread(Shop(machine=stated)) < spread(Shop()) and spread(Shop(machine=stated)) > 1.1


def test_keys_on_boards_are_reckoned_apart() -> None:
    keys = _keys(6)
    stock = lay_out_keys(keys, Shop(), CuttingSettings(spare_keys=2))
    time = estimate_time(keys, stock, Shop())
    assert time is not None
    assert [(item.name, item.count) for item in time.items] == [("pockets", 6), ("keys", 8)]


def test_no_keys_no_time() -> None:
    assert estimate_time([], None, Shop()) is None


def test_a_thin_bit_is_fed_more_slowly_and_warned_of() -> None:
    time = _time(_keys(1, shop=Shop(bit=Bit(3.0))), Shop(bit=Bit(3.0)))
    assert time.feed[1] < 700.0 and any("thin" in note for note in time.notes)
