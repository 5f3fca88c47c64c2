"""Pours, batches, seal coat, cost, dams and the order of work, on slabs whose volumes geometry knows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crackmap.records import (
    BLIND,
    THROUGH,
    UNKNOWN,
    Below,
    Edits,
    OtherFace,
    ResinEstimate,
    Survey,
    Void,
    frozen_array,
)
from crackmap.resin.estimate import estimate_resin
from crackmap.resin.solids import prismoid_volume
from crackmap.settings import ResinSettings
from crackmap.shop import ResinSheet, Shop
from tests.placement.slabs import make_survey, straight_crack, tapering
from tests.resin.test_estimate import STRAIGHT, THICKNESS, a_key, item, probed

PLAIN = ResinSheet(ratio=(2.0, 1.0), density_resin=1.1, density_hardener=0.97, largest_batch=1000.0,
                   deepest_layer=10.0, allowance_percent=0.0, seal_coat=0.0)


def with_below(survey: Survey, *below: Below) -> Survey:
    return replace(survey, other_face=OtherFace(survey, frozen_array(np.diag([1.0, -1.0, 1.0])), "points", 0.1, 0.0,
                                                below))


def crack_below(survey: Survey, name: str, share: float, width: float, rest: int = BLIND) -> Below:
    """A crack through from its start over a share of its points, `width` wide below."""
    crack = next(c for c in survey.cracks if c.id == name)
    through = np.arange(len(crack.width)) < share * len(crack.width)
    return Below(name, np.where(through, THROUGH, rest).astype(np.int8), frozen_array(np.where(through, width, 0.0)),
                 0.0, ("C9",))


@pytest.mark.parametrize("sides", [(6.0, 6.0), (6.0, 2.0), (3.0, 0.5)])
def test_a_through_crack_lies_between_both_faces_by_the_prismoid_rule(sides: tuple[float, float]) -> None:
    """published: the prismoid rule, V = h (A1 + 4 Am + A2) / 6 (from memory, any handbook of mensuration)."""
    above, lower = sides
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, lambda t: above)])
    seen = with_below(survey, crack_below(survey, "C1", 2.0, lower))
    estimate = estimate_resin(seen, (), Shop(resin=PLAIN), THICKNESS)
    middle = np.sqrt((above**2 + lower**2) / 2.0)  # walls that close as the square root of the height
    expected = float(prismoid_volume(300.0 * above, 300.0 * middle, 300.0 * lower, THICKNESS)) / 1000.0
    assert item(estimate, "C1").depth_from == "through"
    assert estimate.volume_ml == pytest.approx(expected, rel=1e-3)
    trapezoid = 300.0 * (above + lower) / 2.0 * THICKNESS / 1000.0  # geometric: straight from lip to lip
    assert estimate.least_ml == pytest.approx(trapezoid, rel=1e-3)


def test_a_through_void_is_the_frustum_of_a_cone() -> None:
    # geometric: pi h (R^2 + R r + r^2) / 3 with R = 20, r = 10, h = 45.
    turn = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    void = Void("V1", frozen_array(np.column_stack([300.0 + 20.0 * np.cos(turn), 200.0 + 20.0 * np.sin(turn)])))
    below = Below("V1", np.array([THROUGH], np.int8), frozen_array([20.0]), np.pi * 100.0, ("V1",))
    estimate = estimate_resin(with_below(make_survey([], voids=(void,)), below), (), Shop(resin=PLAIN), THICKNESS)
    assert estimate.volume_ml == pytest.approx(np.pi * 45.0 * (400.0 + 200.0 + 100.0) / 3.0 / 1000.0, rel=1e-3)


def test_blind_from_below_is_shallower_and_narrows_the_range() -> None:
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, tapering(8.0))])
    blind = with_below(survey, crack_below(survey, "C1", 0.0, 0.0))
    unknown, known = (estimate_resin(s, (), Shop(resin=PLAIN), THICKNESS) for s in (survey, blind))
    assert item(known, "C1").depth_from == "blind" and item(known, "C1").depth_mm < THICKNESS
    assert known.most_ml <= unknown.most_ml and known.volume_ml < unknown.volume_ml
    partly = with_below(survey, crack_below(survey, "C1", 0.5, 4.0))
    half = estimate_resin(partly, (), Shop(resin=PLAIN), THICKNESS)
    assert item(half, "C1").depth_from == "partly through"
    assert half.most_ml - half.least_ml < 0.7 * (unknown.most_ml - unknown.least_ml)


def slot(depth: float, sheet: ResinSheet, keys: bool = False) -> ResinEstimate:
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, lambda t: 4.0)])
    return estimate_resin(survey, (a_key((150.0, 250.0)),) if keys else (), Shop(resin=sheet), THICKNESS,
                          probed((150.0, 250.0, depth)), STRAIGHT)


def test_layers_from_the_bottom_up_are_even_and_add_up() -> None:
    # geometric: 300 x 4 x 35 mm is 42 ml, in four layers of 8.75 mm, 10.5 ml each.
    estimate = slot(35.0, PLAIN)
    assert [p.name for p in estimate.pours] == ["layer 1", "layer 2", "layer 3", "layer 4"]
    assert [p.volume_ml for p in estimate.pours] == pytest.approx([10.5] * 4, rel=1e-3)
    assert all(p.deep_mm == pytest.approx(8.75) for p in estimate.pours)
    keyed = slot(35.0, replace(PLAIN, allowance_percent=15.0), keys=True)
    assert sum(p.volume_ml for p in keyed.pours) == pytest.approx(keyed.mix_ml)


def test_batches_stay_within_the_pot_and_keep_the_ratio() -> None:
    estimate = slot(9.0, replace(PLAIN, largest_batch=4.0))  # geometric: 10.8 ml in three cups of 3.6 ml
    pour = estimate.pours[0]
    assert pour.batches == 3
    assert (pour.batch.part_a_ml, pour.batch.part_b_ml) == pytest.approx((2.4, 1.2), rel=1e-3)
    # By hand: 2.4 ml x 1.10 g/ml and 1.2 ml x 0.97 g/ml.
    assert (pour.batch.part_a_g, pour.batch.part_b_g) == pytest.approx((2.64, 1.164), rel=1e-3)


def test_seal_coat_by_wall_area_and_cost_by_litre() -> None:
    # geometric: two walls of 300 x 20 mm are 0.012 m2; at 150 g/m2 1.8 g.
    estimate = slot(20.0, replace(PLAIN, seal_coat=150.0, price_per_litre=40.0, currency="EUR"))
    density = (2.0 * 1.1 + 1.0 * 0.97) / 3.0  # of the mix by volume, by hand [g/ml]
    assert estimate.pours[0].name == "seal coat"
    assert estimate.pours[0].volume_ml == pytest.approx(1.8 / density, rel=1e-3)
    assert estimate.cost == pytest.approx((24.0 + 1.8 / density) / 1000.0 * 40.0, rel=1e-3)
    assert slot(20.0, PLAIN).cost is None


def test_dams_below_and_at_the_end() -> None:
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, lambda t: 4.0),
                          straight_crack("C2", (500, 100), 120.0, lambda t: 2.0, ends=("tip", "tip"))])
    seen = with_below(survey, crack_below(survey, "C1", 0.5, 3.0), crack_below(survey, "C2", 0.0, 0.0))
    dams = estimate_resin(seen, (), Shop(), THICKNESS).dams
    assert [(d.name, d.opening, d.where, d.sure) for d in dams] == [("D1", "C1", "below", True),
                                                                     ("D2", "C1", "end", True)]
    assert np.ptp(np.asarray(dams[0].line)[:, 0]) == pytest.approx(149.0, abs=2.0)
    assert np.allclose(dams[1].line, [(0.0, 250.0)])
    unseen = with_below(survey, crack_below(survey, "C1", 0.5, 3.0, UNKNOWN))
    assert [d.sure for d in estimate_resin(unseen, (), Shop(), THICKNESS).dams if d.opening == "C1"] == [
        True, False, True]


def test_what_is_sawn_off_needs_no_dam() -> None:
    survey = make_survey([straight_crack("C1", (0, 250), 80.0, lambda t: 4.0)])
    top = Edits(finished_top=frozen_array([(100, 0), (1200, 0), (1200, 500), (100, 500)]))
    assert estimate_resin(survey, (), Shop(), THICKNESS, top).dams == ()


def test_keys_first_but_for_cracks_that_they_would_shut_off() -> None:
    long = slot(35.0, PLAIN, keys=True)
    assert not long.resin_first and long.order[0].startswith("Keys first") and "C1 runs on below" in long.order[1]
    short = make_survey([straight_crack("C1", (120, 250), 60.0, lambda t: 4.0, ends=("tip", "tip"))])
    shut = estimate_resin(short, (a_key((150.0, 250.0)),), Shop(resin=PLAIN), THICKNESS, probed((150.0, 250.0, 35.0)),
                          ResinSettings())
    # A pocket about 16 to 32 mm across on a crack of 60 mm covers less than half of it: keys first.
    assert not shut.resin_first
    tiny = make_survey([straight_crack("C1", (138, 250), 26.0, lambda t: 4.0, ends=("tip", "tip"))])
    covered = estimate_resin(tiny, (a_key((150.0, 250.0)),), Shop(resin=PLAIN), THICKNESS, probed((150.0, 250.0, 35.0)))
    assert covered.resin_first and "fully hard" in covered.order[1]
    assert estimate_resin(make_survey([]), (), Shop(), THICKNESS).order == ()
