"""What a plan says of its keys and cracks: figures of checks, order of names, warnings, the user's own sizes."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
import shapely

from crackmap.keys.family import needed_reach, size_family
from crackmap.placement.place import place
from crackmap.placement.relief import woods_of
from crackmap.placement.report import reading_order
from crackmap.records import AddedKey, Check, Edits, KeepOut, Key, Survey, frozen_array
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop, SlabWood
from crackmap.wood.moisture import equilibrium_moisture
from tests.placement.slabs import make_survey, straight_crack, tapering

SETTINGS, SHOP, THICKNESS = PlacementSettings(), Shop(), 44.0


def one_check() -> Survey:
    return make_survey([straight_crack("C1", (0, 250), 305.0, tapering(4.0))])


def check_named(name: str, key: Key) -> Check:
    return next(check for check in key.checks if check.name == name)


@pytest.mark.parametrize("angle", [-80.0, -20.0, 0.0, 20.0, 80.0])
def test_keys_are_named_from_the_left_however_the_slab_lies(angle: float) -> None:
    a = np.radians(angle)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    outline = np.array([(0, 0), (1000, 0), (1000, 400), (0, 400)]) @ turn
    centres = np.array([(700, 100), (100, 300), (400, 200)]) @ turn
    assert reading_order(frozen_array(centres, 2), frozen_array(outline, 2)).tolist() == [1, 2, 0]


def test_of_two_keys_side_by_side_the_farther_comes_first() -> None:
    outline = frozen_array([(0, 0), (1000, 0), (1000, 400), (0, 400)])
    assert reading_order(frozen_array([(300, 100), (300, 300)]), outline).tolist() == [1, 0]


def test_a_keys_checks_give_the_figure_and_the_limit() -> None:
    keys = place(one_check(), SHOP, THICKNESS).keys
    pockets = [shapely.Polygon(key.pocket[:, :2]) for key in keys]
    for number, key in enumerate(keys):
        by_datum, others = check_named("place by the datum", key), check_named("other keys", key)
        assert (by_datum.limit, by_datum.unit) == (pytest.approx(SETTINGS.edge_margin / 3.0, abs=0.005), "mm")
        # independent: shapely's distance between the outlines, whose arcs here are chords.
        nearest = min(pockets[number].distance(other) for k, other in enumerate(pockets) if k != number)
        assert isinstance(others.value, str) or float(others.value) == pytest.approx(nearest, abs=5.0)
        assert others.limit == SETTINGS.key_gap


def test_what_lies_below_counts_against_the_floor_under_the_key() -> None:
    area = frozen_array([(0, 200), (400, 200), (400, 300), (0, 300)])
    edits = Edits(keep_out=(KeepOut(area, "below", 9.0, "a shallow plate"),))
    key = place(one_check(), SHOP, THICKNESS, edits).keys[0]
    # geometric: thickness less the pocket and less the plate.
    assert check_named("floor", key).value == pytest.approx(THICKNESS - key.shape.depth - 9.0, abs=0.01)


def test_the_reach_wished_for_is_told_as_it_is_reckoned() -> None:
    wide = make_survey([straight_crack("C1", (0, 250), 305.0, tapering(12.0))])
    told = [(key, re.search(r"the (\d+) mm wished for", reason)) for key in place(wide, SHOP, THICKNESS).keys
            for reason in key.reasons]
    found = [(key, float(match[1])) for key, match in told if match]
    assert found
    for key, wished in found:
        opened = 12.0 * np.sqrt(1.0 - key.centre[0] / 305.0)  # the crack's width by `tapering`
        assert wished == pytest.approx(SETTINGS.wished_reach * needed_reach(opened, SHOP.keys), abs=1.0)


def test_a_crack_that_runs_out_of_the_picture_is_warned_of() -> None:
    survey = make_survey([straight_crack("C1", (0, 250), 305.0, tapering(4.0), ends=("border", "tip"))])
    assert any("C1 runs out of the picture" in w for w in place(survey, SHOP, THICKNESS).warnings)
    assert not any("runs out of the picture" in w for w in place(one_check(), SHOP, THICKNESS).warnings)


def test_a_long_stretch_is_told_from_key_to_key_and_from_key_to_end() -> None:
    survey = make_survey([straight_crack("C1", (0, 250), 900.0, lambda share: 5.0)])
    middle = KeepOut(frozen_array([(200, 150), (600, 150), (600, 350), (200, 350)]))
    edits = Edits(keep_out=(middle,))
    placement = place(survey, SHOP, THICKNESS, edits)
    said = next(w for w in placement.warnings if "stay unheld" in w)
    places = [int(x) for x in re.findall(r"the key at x (\d+), y 250", said)]
    x = sorted(key.centre[0] for key in placement.keys)
    before, after = max(v for v in x if v < 400), min(v for v in x if v > 400)
    assert places == [round(before), round(after)]
    outer = KeepOut(frozen_array([(450, 150), (1000, 150), (1000, 350), (450, 350)]))
    said = next(w for w in place(survey, SHOP, THICKNESS, Edits(keep_out=(outer,))).warnings if "stay unheld" in w)
    assert re.search(r"from the key at x \d+, y 250 to the tip", said), said


def test_a_crack_without_length_is_to_be_drawn_again() -> None:
    point = straight_crack("C1", (300, 250), 0.0, tapering(2.0), ends=("tip", "tip"))
    why = {u.crack: u.why for u in place(make_survey([point]), SHOP, THICKNESS).unheld}
    assert why == {"C1": "it has no length: draw it again"}
    doubtful = dataclasses.replace(point, confidence=0.1)
    why = {u.crack: u.why for u in place(make_survey([doubtful]), SHOP, THICKNESS).unheld}
    assert why["C1"].startswith("it may not be a crack")


@pytest.mark.parametrize(("given", "name"), [
    ({"shape": "straight", "size": "large"}, "large"), ({"size": "large", "width": 40.0}, "own size"),
    ({"length": 90.0}, "own size"), ({"size": "large", "depth": 15.0}, "large")])
def test_a_key_of_the_users_own_lengths_is_cut_so(given: dict[str, float | str], name: str) -> None:
    family = size_family(SHOP, THICKNESS)
    key = AddedKey(frozen_array([100.0, 250.0]), **given)  # type: ignore[arg-type]
    cut = next(k for k in place(one_check(), SHOP, THICKNESS, Edits(keys=(key,))).keys if k.origin == "added")
    assert cut.size_name == name
    for what, wanted in given.items():
        if what != "size":
            assert getattr(cut.shape, what) == wanted
    if "length" in given:  # what is left open keeps the proportions of the nearest size
        base = min(family, key=lambda size: abs(size.length - 90.0))
        assert cut.shape.width == pytest.approx(base.width * 90.0 / base.length, abs=0.01)


def test_the_rooms_air_says_what_the_slab_will_come_to() -> None:
    oak = SlabWood(species="oak", moisture_percent=11.0, room_humidity_percent=40.0)
    woods = woods_of(SHOP.with_changes(wood=oak))
    assert woods is not None and woods.moisture_now == 11.0
    assert woods.moisture_to_come == equilibrium_moisture(oak.room_temperature_c, 40.0)
    assert woods_of(SHOP) is None


def test_keys_that_bear_more_than_they_may_cost_more() -> None:
    survey = make_survey([straight_crack("C1", (0, 150), 110, tapering(1.6)),
                          straight_crack("C2", (1200, 350), 140, tapering(2.0), angle_deg=180)])
    oak = SHOP.with_changes(wood=SlabWood(species="oak"))
    # Every plan costs at least what it costs without its loads, so the best one does as well.
    assert place(survey, oak, THICKNESS).objective > place(survey, SHOP, THICKNESS).objective + 1e-6
