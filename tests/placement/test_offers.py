"""Plans to choose from, and what one key fewer or more would do."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.placement.offers import offered_plans
from crackmap.placement.place import place
from crackmap.records import Edits, Survey
from crackmap.shop import Shop, SlabWood
from tests.placement.slabs import make_survey, random_survey, straight_crack, tapering

OAK = Shop(wood=SlabWood(species="red oak"))
THICKNESS = 44.0  # [mm]


def one_check(length: float = 450.0) -> Survey:
    return make_survey([straight_crack("C1", (0, 250), length, tapering(5))])


@pytest.mark.parametrize("survey", [one_check(), random_survey(1), random_survey(8)])
def test_fewest_balanced_strongest_differ_in_the_way_they_say(survey: Survey):
    offered = {plan.name: plan for plan in offered_plans(survey, Shop(), THICKNESS)}
    keys = {name: len(plan.placement.keys) for name, plan in offered.items()}
    assert keys.get("fewest", 0) <= keys["balanced"] <= keys.get("strongest", 99)
    # By the balanced weights no plan is better than the balanced one; a search that was cut short says so.
    gap = 0.0 if not any("limit" in w for w in offered["balanced"].placement.warnings) else 1.0
    assert all(plan.objective >= offered["balanced"].objective - 1e-3 - gap for plan in offered.values())
    assert offered["balanced"].placement.keys[0].centre == pytest.approx(
        place(survey, Shop(), THICKNESS).keys[0].centre)


def test_more_keys_leave_shorter_stretches_and_bear_more():
    fewest, balanced, strongest = offered_plans(one_check(), OAK, THICKNESS)
    assert fewest.longest_unheld > balanced.longest_unheld > strongest.longest_unheld
    assert all("advisory" in plan.holding for plan in (fewest, balanced, strongest))
    # Fracture mechanics, our own reckoning: each further key unloads the tip.
    assert bears(fewest.holding) <= bears(balanced.holding) <= bears(strongest.holding)


def bears(sentence: str) -> float:
    return float(sentence.split("bear ")[1].split(" ")[0])


def test_without_a_species_nothing_is_said_of_holding():
    assert all(not plan.holding for plan in offered_plans(one_check(), Shop(), THICKNESS))


def test_plans_that_are_the_same_are_offered_once():
    # One short crack: one key, whatever the weights.
    offered = offered_plans(make_survey([straight_crack("C1", (0, 250), 40, tapering(3))]), Shop(), THICKNESS)
    places = {tuple(np.round(k.centre, 1) for k in plan.placement.keys)[0].tobytes() for plan in offered
              if plan.placement.keys}
    assert len(places) == sum(bool(plan.placement.keys) for plan in offered)
    assert [plan.name for plan in offered_plans(make_survey([]), Shop(), THICKNESS)] == ["balanced"]


def test_the_users_word_holds_in_every_plan():
    edits = Edits(key_counts=((100.0, 250.0, 2),))
    assert all(len(plan.placement.keys) == 2 for plan in offered_plans(one_check(), Shop(), THICKNESS, edits))


def test_one_key_fewer_and_one_more():
    counts, = place(one_check(), OAK, THICKNESS).counts
    assert [o.keys for o in counts.options] == [counts.planned - 1, counts.planned, counts.planned + 1]
    fewer, planned, more = counts.options
    assert planned.objective == pytest.approx(0.0)
    assert fewer.objective > 0.0 and more.objective > 0.0  # the plan is the optimum
    assert fewer.longest_unheld > planned.longest_unheld > more.longest_unheld
    assert fewer.relief < planned.relief < more.relief


def test_one_key_more_costs_what_asking_for_it_costs():
    free = place(one_check(), Shop(), THICKNESS)
    counts, = free.counts
    for option in counts.options:
        asked = place(one_check(), Shop(), THICKNESS, Edits(key_counts=((100.0, 250.0, option.keys),)))
        # Independent: the plan solved with that count; it stays near the free plan, which may cost it 0.3 a key.
        assert asked.objective - free.objective >= option.objective - 1e-3
        assert asked.objective - free.objective <= option.objective + 0.3 * option.keys


def test_a_crack_on_which_no_more_keys_fit_has_no_such_option():
    survey = make_survey([straight_crack("C1", (0, 250), 60, lambda t: 6.0)])
    counts, = place(survey, Shop(), THICKNESS).counts
    assert max(o.keys for o in counts.options) <= 2
