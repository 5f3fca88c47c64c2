"""A crack that forks: a key across the stem before the fork, and across both branches while they lie near."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.placement.candidates import own_places
from crackmap.placement.ground import lay_ground
from crackmap.placement.place import place
from crackmap.records import Edits, Survey
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop
from tests.placement.own_check import faults
from tests.placement.slabs import make_survey, straight_crack, tapering

SHOP, THICKNESS, SETTINGS = Shop(), 44.0, PlacementSettings()


def fork(spread_deg: float, stem: float) -> Survey:
    return make_survey([
        straight_crack("C1", (0, 250), stem, lambda t: 4.0, ends=("edge", "junction")),
        straight_crack("C2", (stem, 250), 180, tapering(3.2), angle_deg=spread_deg / 2, ends=("junction", "tip")),
        straight_crack("C3", (stem, 250), 160, tapering(2.8), angle_deg=-spread_deg / 2, ends=("junction", "tip"))])


@pytest.mark.parametrize("spread_deg", [14.0, 24.0])
@pytest.mark.parametrize("stem", [60.0, 97.0, 140.0])
def test_a_narrow_fork_is_held_by_its_stem_and_then_across_both(spread_deg: float, stem: float):
    survey = fork(spread_deg, stem)
    placement = place(survey, SHOP, THICKNESS)
    beyond = [(k.centre[0] - stem, set(k.cracks)) for k in placement.keys]
    assert any(-60.0 <= x <= 0.0 and cracks == {"C1"} for x, cracks in beyond)
    assert any(0.0 < x <= 80.0 and cracks == {"C2", "C3"} for x, cracks in beyond)
    assert not faults(placement, survey, Edits(), THICKNESS, SHOP.keys.least_floor, SETTINGS)


def test_places_about_a_fork_are_looked_for_closer_together():
    survey = fork(24.0, 97.0)

    def before_the_fork(settings: PlacementSettings) -> np.ndarray:
        ground = lay_ground(survey, SHOP, THICKNESS, Edits(), settings)
        own = own_places(list(ground.asking), ground.site, ground.cuttings, ground.rules, SHOP.keys, settings)
        return np.unique(own.centre[(np.abs(own.centre[:, 1] - 250.0) < 1.0) & (np.abs(own.centre[:, 0] - 91.0) < 6.0),
                                    0])

    fine, coarse = (before_the_fork(SETTINGS.with_changes(fork_reach=reach)) for reach in (12.0, 0.0))
    assert np.diff(coarse).max() >= 3.5  # what a step of 4 mm leaves
    assert np.diff(fine).max() <= 2.1  # half of it
