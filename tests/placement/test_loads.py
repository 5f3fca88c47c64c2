"""Keys chosen by what they should bear, where the shop names the wood."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from crackmap.placement.ground import lay_ground
from crackmap.placement.loads import all_loads_cost, strengthen
from crackmap.placement.place import every_place, place, pose_problem, solve_with, weigh
from crackmap.placement.problem import plan_cost
from crackmap.placement.relief import woods_of
from crackmap.placement.solved import Solved
from crackmap.records import Edits, Placement, Survey
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop
from tests.placement.own_check import faults
from tests.placement.slabs import make_survey, random_survey, straight_crack, tapering

THICKNESS, SETTINGS = 44.0, PlacementSettings()
OAK = dataclasses.replace(Shop(), wood=dataclasses.replace(Shop().wood, species="oak"))
BLIND = SETTINGS.with_changes(holding_weight=0.0)


def two_thin_checks() -> Survey:
    return make_survey([straight_crack("C1", (0, 150), 110, tapering(1.6)),
                        straight_crack("C2", (1200, 350), 140, tapering(2.0), angle_deg=180)])


def overload(placement: Placement) -> float:
    """How far the keys fall short of the factor of safety asked for, by the checks that are printed. [-]"""
    checks = [c for k in placement.keys for c in k.checks if c.name.startswith("holding")]
    assert checks
    return sum(max(0.0, float(c.limit) / float(c.value) - 1.0) for c in checks)


def stations_only(survey: Survey, settings: PlacementSettings):
    ground = lay_ground(survey, OAK, THICKNESS, Edits(), settings)
    candidates = weigh(ground, every_place(ground, OAK, settings), Edits(), OAK, settings)
    problem = pose_problem(candidates, list(ground.asking), ground.site, settings)
    return solve_with(ground, candidates, settings), problem


@pytest.mark.parametrize("survey", [two_thin_checks(), *(random_survey(seed, 3) for seed in (1, 2, 5, 6))])
def test_never_worse_with_its_true_loads_than_the_plan_that_looked_at_none(survey: Survey):
    before, problem = stations_only(survey, SETTINGS)
    woods = woods_of(OAK)
    after = strengthen(before, problem, woods, SETTINGS)

    def total(solved: Solved) -> float:
        return plan_cost(problem, frozenset(solved.chosen)) + all_loads_cost(solved, woods, SETTINGS)

    assert np.isfinite(total(after.solved))  # keys clear of each other, all in the order of their lines
    assert total(after.solved) <= total(before) + 1e-9
    if after.changed:
        assert total(after.solved) < total(before)
    else:
        assert after.solved.chosen == before.chosen


def test_overloaded_keys_become_larger_or_more():
    survey = two_thin_checks()
    blind, seeing = place(survey, OAK, THICKNESS, settings=BLIND), place(survey, OAK, THICKNESS)
    assert overload(blind) > 0.1
    assert overload(seeing) < 0.7 * overload(blind)
    assert not faults(seeing, survey, Edits(), THICKNESS, OAK.keys.least_floor, SETTINGS)


def test_without_a_wood_nothing_is_weighed():
    survey = two_thin_checks()
    one, other = place(survey, Shop(), THICKNESS), place(survey, Shop(), THICKNESS, settings=BLIND)
    assert one.objective == other.objective
    assert all(np.array_equal(a.centre, b.centre) for a, b in zip(one.keys, other.keys, strict=True))


def test_a_number_of_keys_asked_for_stays():
    survey = two_thin_checks()
    placement = place(survey, OAK, THICKNESS, Edits(key_counts=((30.0, 150.0, 1),)))
    assert sum(k.cracks == ("C1",) for k in placement.keys) == 1


def test_one_key_fewer_or_more_counts_the_loads_too():
    placement = place(two_thin_checks(), OAK, THICKNESS)
    assert placement.counts
    for options in placement.counts:
        change = {option.keys: option.objective for option in options.options}
        assert change.pop(options.planned) == pytest.approx(0.0, abs=1e-9)
        # The plan was the best of these counts by stretches and loads together; settling moves hundredths.
        assert change and min(change.values()) > -0.05
