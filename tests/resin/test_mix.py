"""Ratio and density arithmetic against worked examples."""

from __future__ import annotations

import pytest

from crackmap.errors import ResinError
from crackmap.resin.mix import mix_of
from crackmap.shop import ResinSheet


def test_two_to_one_by_volume_worked_by_hand():
    # Geometric (worked by hand): a 1200 x 40 x 45 mm void is 2160 ml, with 15 % 2484 ml; 2:1 by volume at
    # 1.10 and 0.97 g/ml is 1656 ml = 1821.6 g and 828 ml = 803.2 g.
    mix = mix_of(1200 * 40 * 45 / 1000 * 1.15, ResinSheet())
    assert mix.part_a_ml == pytest.approx(1656.0)
    assert mix.part_b_ml == pytest.approx(828.0)
    assert mix.part_a_g == pytest.approx(1821.6)
    assert mix.part_b_g == pytest.approx(803.16)
    assert mix.batches == 3


def test_by_weight_worked_by_hand():
    # By hand: 100:50 by weight of densities 1.0 and 0.5 g/ml takes 100 ml and 100 ml.
    mix = mix_of(200.0, ResinSheet(ratio=(100.0, 50.0), ratio_by="weight", density_resin=1.0,
                                   density_hardener=0.5))
    assert (mix.part_a_ml, mix.part_b_ml) == pytest.approx((100.0, 100.0))
    assert (mix.part_a_g, mix.part_b_g) == pytest.approx((100.0, 50.0))


def test_both_ways_agree():
    # m_b / m_a = (V_b / V_a) (rho_b / rho_a): 2:1 by volume is 2.2 : 0.97 by weight at 1.10 and 0.97 g/ml.
    by_volume = mix_of(500.0, ResinSheet())
    by_weight = mix_of(500.0, ResinSheet(ratio=(2.2, 0.97), ratio_by="weight"))
    assert by_weight.part_a_g == pytest.approx(by_volume.part_a_g)
    assert by_weight.part_b_ml == pytest.approx(by_volume.part_b_ml)


@pytest.mark.parametrize(("changes", "says"), [
    ({"ratio": (0.0, 1.0)}, "ratio's resin part"), ({"ratio": (2.0, -1.0)}, "ratio's hardener part"),
    ({"density_resin": 0.0}, "density of the resin"), ({"largest_batch": 0.0}, "largest batch"),
    ({"deepest_layer": 0.0}, "deepest layer"), ({"ratio_by": "eye"}, "by 'volume' or by 'weight'"),
    ({"allowance_percent": -5.0}, "allowance")])
def test_a_sheet_that_cannot_be_right(changes: dict[str, object], says: str):
    with pytest.raises(ResinError, match=says):
        mix_of(100.0, ResinSheet().with_changes(**changes))
