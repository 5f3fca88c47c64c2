"""Keys of neighbouring cracks in line: what a miss costs, and what keys do about it."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.placement.candidates import Candidates
from crackmap.placement.ground import lay_ground
from crackmap.placement.place import place, weigh
from crackmap.placement.pockets import lay_pockets
from crackmap.placement.rows import miss_costs
from crackmap.placement.site import Site
from crackmap.records import AddedKey, Edits, Placement, Survey
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop
from tests.placement.own_check import faults
from tests.placement.slabs import make_survey, straight_crack, tapering

SHOP, THICKNESS, SETTINGS = Shop(), 44.0, PlacementSettings()
NO_ROWS = SETTINGS.with_changes(row_weight=0.0)


def side_by_side(second: float, apart: float = 90.0, turn: float = 0.0) -> Survey:
    """Two end checks, the second of another length, so that their own best stations don't agree."""
    return make_survey([straight_crack("C1", (0, 200), 300, tapering(5)),
                        straight_crack("C2", (0, 200 + apart), second, tapering(4), angle_deg=turn)])


def stations(placement: Placement, crack: str) -> np.ndarray:
    return np.array([k.centre[0] for k in placement.keys if k.cracks == (crack,)])


def near_misses(placement: Placement) -> np.ndarray:
    """Distances along the slab between keys of the two cracks that are neither in line nor plainly staggered."""
    away = np.abs(stations(placement, "C1")[:, None] - stations(placement, "C2")[None])
    return away[(away > 3.0) & (away < 21.0)]


def two_keys(survey: Survey, first: float, second: float) -> tuple[Candidates, Site]:
    ground = lay_ground(survey, SHOP, THICKNESS, Edits(), SETTINGS)
    y = survey.cracks[1].centreline[0, 1]
    pockets = lay_pockets(ground.cuttings, np.array([1, 1]), np.array([[first, 200.0], [second, y]]),
                          np.array([90.0, 90.0]))
    return weigh(ground, pockets, Edits(), SHOP, SETTINGS), ground.site


@pytest.mark.parametrize(("miss", "share"), [(0.0, 0.0), (6.0, 0.5), (12.0, 1.0), (18.0, 0.5), (24.0, 0.0),
                                             (40.0, 0.0)])
def test_a_miss_costs_most_half_way_between_in_line_and_staggered(miss: float, share: float):
    candidates, site = two_keys(side_by_side(300), 100.0, 100.0 + miss)
    cost = miss_costs(candidates, np.array([0]), np.array([1]), site, SETTINGS)
    # geometric: the squared sine of a quarter turn's share
    assert cost[0, 0] == pytest.approx(share * SETTINGS.row_weight, abs=1e-9)


def test_keys_too_far_apart_sideways_are_no_row():
    candidates, site = two_keys(side_by_side(300, apart=SETTINGS.row_within + 5.0), 100.0, 112.0)
    assert not miss_costs(candidates, np.arange(2), np.arange(2), site, SETTINGS).any()


def test_a_key_is_no_row_with_itself_nor_with_keys_of_its_own_crack():
    candidates, site = two_keys(side_by_side(300), 100.0, 112.0)
    ground = lay_ground(side_by_side(300), SHOP, THICKNESS, Edits(), SETTINGS)
    one_crack = weigh(ground, lay_pockets(ground.cuttings, np.array([1, 1]), np.array([[100.0, 200.0], [112.0, 200.0]]),
                                          np.array([90.0, 90.0])), Edits(), SHOP, SETTINGS)
    assert not np.diag(miss_costs(candidates, np.arange(2), np.arange(2), site, SETTINGS)).any()
    assert not miss_costs(one_crack, np.arange(2), np.arange(2), site, SETTINGS).any()


def test_fewer_keys_look_like_a_slip_and_none_goes_far_or_breaks_a_rule():
    fewer = []
    for second in (255.0, 285.0, 310.0):
        survey = side_by_side(second)
        free, lined = place(survey, SHOP, THICKNESS, settings=NO_ROWS), place(survey, SHOP, THICKNESS)
        assert sorted(k.size_name for k in lined.keys) == sorted(k.size_name for k in free.keys)
        for crack in ("C1", "C2"):
            moved = np.abs(stations(free, crack) - stations(lined, crack))
            assert moved.max() <= SETTINGS.row_reach + 0.2
        assert not faults(lined, survey, Edits(), THICKNESS, SHOP.keys.least_floor, SETTINGS)
        # No more is paid for a row than it can gain: each key's own misses and the other's.
        assert lined.objective <= free.objective + SETTINGS.row_weight * len(free.keys)
        fewer.append(len(near_misses(free)) - len(near_misses(lined)))
    assert min(fewer) >= 0
    assert sum(fewer) >= 3


def test_keys_of_the_user_stay_where_they_are():
    survey = side_by_side(270.0)
    first = place(survey, SHOP, THICKNESS)
    wish = AddedKey(first.keys[2].centre + np.array([7.0, 0.0]), size=first.keys[2].size_name, fixed=True)
    second = place(survey, SHOP, THICKNESS, Edits(keys=(wish,)))
    assert any(np.allclose(k.centre, wish.centre) and k.origin == "fixed" for k in second.keys)


def test_symmetry_where_it_is_asked_for_sets_keys_opposite_each_other():
    # The slab is 500 wide: cracks at 110 and 390 are mirror images but for 15 mm of length.
    survey = make_survey([straight_crack("C1", (0, 110), 300, tapering(5)),
                          straight_crack("C2", (0, 390), 285, tapering(5))])
    free = place(survey, SHOP, THICKNESS)
    asked = place(survey, SHOP, THICKNESS, settings=SETTINGS.with_changes(symmetry_weight=0.5))
    assert len(asked.keys) == len(free.keys)

    def misses(placement: Placement) -> float:
        away = np.abs(stations(placement, "C1")[:, None] - stations(placement, "C2")[None])
        return float(away.min(axis=1).sum())

    assert misses(free) > 8.0
    assert misses(asked) < 0.5 * misses(free)
    assert not faults(asked, survey, Edits(), THICKNESS, SHOP.keys.least_floor, SETTINGS)
