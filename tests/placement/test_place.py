"""The placement stage as a maker sees it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely

from crackmap.errors import PlacementError
from crackmap.placement.place import place
from crackmap.records import AddedKey, Edits, KeepOut, Placement, Survey, frozen_array
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop
from tests.placement.own_check import faults, polygon_of
from tests.placement.slabs import make_survey, random_keep_outs, random_survey, straight_crack, tapering

SETTINGS = PlacementSettings()
THICKNESS = 44.0  # [mm]


def one_check(length: float = 305.0, widest: float = 4.0) -> Survey:
    return make_survey([straight_crack("C1", (0, 250), length, tapering(widest))])


def key_near(placement: Placement, x: float, y: float):
    return min(placement.keys, key=lambda k: float(np.hypot(*(k.centre - (x, y)))))


@pytest.mark.parametrize("widest", [1.5, 2.0, 3.0, 5.0, 8.0, 12.0])
def test_a_305_mm_end_check_in_a_44_mm_slab_gets_three_to_five_keys(widest: float):
    # Common practice, no source: a 305 mm crack took four keys.
    placement = place(one_check(305.0, widest), Shop(), THICKNESS)
    assert 3 <= len(placement.keys) <= 5
    lengths = [k.shape.length for k in placement.keys]
    assert lengths == sorted(lengths, reverse=True)  # larger at the open end, which is at the left
    # Common practice, no source: makers quote 64 to 152 mm; our sizes are preferred numbers, so 63.
    assert 63 <= max(lengths) <= 160
    assert not placement.unheld
    assert all(c.ok for k in placement.keys for c in k.checks)


def test_keys_stand_square_on_the_crack_in_an_even_rhythm():
    placement = place(one_check(), Shop(), THICKNESS)
    assert [k.id for k in placement.keys] == [f"K{n}" for n in range(1, len(placement.keys) + 1)]
    x = np.array([k.centre[0] for k in placement.keys])
    assert all(k.angle_deg == pytest.approx(90.0, abs=0.5) for k in placement.keys)
    assert all(k.centre[1] == pytest.approx(250.0, abs=0.5) for k in placement.keys)
    gaps = np.diff(x)
    assert gaps.max() / gaps.min() < 1.4  # the crack thins toward its tip, so gaps may grow a little


def test_two_cracks_25_mm_apart_get_keys_across_both():
    # Common practice, no source: a further key was laid across two neighbouring cracks.
    survey = make_survey([straight_crack("C1", (0, 250), 305, tapering(3)), straight_crack("C2", (0, 275),
                                                                                           260, tapering(3))])
    placement = place(survey, Shop(), THICKNESS)
    both = [k for k in placement.keys if set(k.cracks) == {"C1", "C2"}]
    assert both
    assert all(k.centre[1] == pytest.approx(262.5, abs=1.5) for k in both)


def test_two_cracks_a_hands_breadth_apart_get_keys_of_their_own():
    survey = make_survey([straight_crack("C1", (0, 150), 305, tapering(3)), straight_crack("C2", (0, 350),
                                                                                           260, tapering(3))])
    placement = place(survey, Shop(), THICKNESS)
    assert all(len(k.cracks) == 1 for k in placement.keys)
    # Lines that do not meet are solved as if alone.
    alone = place(make_survey([survey.cracks[0]]), Shop(), THICKNESS)
    on_first = [k.centre for k in placement.keys if k.cracks == ("C1",)]
    assert np.allclose(on_first, [k.centre for k in alone.keys])


def test_hairlines_false_cracks_and_trimmed_wood_get_none_and_say_why():
    survey = make_survey([straight_crack("C1", (0, 100), 300, tapering(0.8)),
                          straight_crack("C2", (0, 250), 300, tapering(5), confidence=0.45),
                          straight_crack("C3", (0, 400), 200, tapering(5))])
    top = Edits(finished_top=frozen_array([[250, 0], [1200, 0], [1200, 500], [250, 500]], 2))
    placement = place(survey, Shop(), THICKNESS, top)
    assert not placement.keys
    why = {u.crack: u.why for u in placement.unheld}
    assert "hairline, 0.80 mm" in why["C1"]
    assert "confidence 0.45" in why["C2"]
    assert "trimmed off" in why["C3"]


def test_a_crack_along_the_edge_says_how_near_and_what_would_allow_a_key():
    placement = place(make_survey([straight_crack("C1", (0, 25), 300, tapering(5))]), Shop(), THICKNESS)
    assert not placement.keys
    assert "slab's edge, 12 mm is asked for" in placement.unheld[0].why
    assert "smaller" in placement.unheld[0].why


def test_a_crack_across_the_grain_gets_no_key_by_itself():
    survey = make_survey([straight_crack("C1", (300, 100), 250, lambda t: 4.0, angle_deg=80, ends=("tip",
                                                                                                   "tip"))])
    placement = place(survey, Shop(), THICKNESS)
    assert not placement.keys
    assert "grain" in placement.unheld[0].why


def test_a_split_from_edge_to_edge_is_warned_of():
    survey = make_survey([straight_crack("C1", (0, 250), 1200, lambda t: 3.0, ends=("edge", "edge"))])
    assert any("two parts" in w for w in place(survey, Shop(), THICKNESS).warnings)


def test_the_users_key_is_kept_flagged_and_planned_around():
    first = place(one_check(), Shop(), THICKNESS)
    wish = AddedKey(frozen_array([15.0, 250.0]), size="large", fixed=True)
    placement = place(one_check(), Shop(), THICKNESS, Edits(keys=(wish,)))
    mine = key_near(placement, 15, 250)
    assert mine.centre == pytest.approx([15, 250])
    assert mine.origin == "fixed"
    assert mine.angle_deg == pytest.approx(90.0, abs=0.5)  # left open: square to the crack
    assert "slab edge" in [c.name for c in mine.checks if not c.ok]
    assert any(mine.id in w and "slab edge" in w for w in placement.warnings)
    assert abs(len(placement.keys) - len(first.keys)) <= 1


def test_moving_one_key_leaves_the_others_where_they_are():
    first = place(one_check(450.0), Shop(), THICKNESS)
    moved = first.keys[1]
    wish = AddedKey(moved.centre + np.array([8.0, 0.0]), size=moved.size_name, fixed=True)
    second = place(one_check(450.0), Shop(), THICKNESS, Edits(keys=(wish,)))
    assert len(second.keys) == len(first.keys)
    for before, after in zip(first.keys, second.keys, strict=True):
        if before.id != moved.id:
            assert np.allclose(before.centre, after.centre)


def test_a_refused_key_does_not_come_back():
    first = place(one_check(), Shop(), THICKNESS)
    place_of = first.keys[1].centre
    second = place(one_check(), Shop(), THICKNESS, Edits(refused_keys=frozen_array([place_of], 2)))
    assert all(np.hypot(*(k.centre - place_of)) >= SETTINGS.refusal_radius for k in second.keys)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 5])
def test_the_number_of_keys_asked_for(count: int):
    placement = place(one_check(), Shop(), THICKNESS, Edits(key_counts=((100.0, 255.0, count),)))
    assert len(placement.keys) == count
    if count == 0:
        assert placement.unheld[0].why == "left open as you asked"


def test_more_keys_than_fit_places_what_fits_and_says_so():
    placement = place(one_check(120.0), Shop(), THICKNESS, Edits(key_counts=((50.0, 250.0, 9),)))
    assert 0 < len(placement.keys) < 9
    assert any(w.startswith("9 keys asked for on C1, but only") for w in placement.warnings)


def test_a_keep_out_over_the_whole_slab_leaves_no_key_and_says_so():
    everywhere = KeepOut(frozen_array([[-10, -10], [1300, -10], [1300, 600], [-10, 600]], 2))
    placement = place(one_check(), Shop(), THICKNESS, Edits(keep_out=(everywhere,)))
    assert not placement.keys
    assert "kept out" in placement.unheld[0].why


def test_a_crack_that_hugs_the_edge_is_held_off_the_waist():
    # Geometric: the smallest key reaches 31.5 mm to either side of its waist, 12 mm of edge wood are asked for.
    survey = make_survey([straight_crack("C1", (0, 38), 300, tapering(5))])
    placement = place(survey, Shop(), THICKNESS)
    assert placement.keys
    assert all(k.centre[1] > 40.0 for k in placement.keys)
    assert faults(placement, survey, Edits(), THICKNESS, Shop().keys.least_floor, SETTINGS) == []


def test_a_base_plate_keeps_only_its_screws_clear():
    plate = frozen_array([[0, 200], [320, 200], [320, 300], [0, 300]], 2)
    screws = frozen_array([[20, 210], [300, 210], [20, 290], [300, 290], [150, 250]], 2)
    edits = Edits(keep_out=(KeepOut(plate, "below", 30.0, "base plate", screws),))
    placement = place(one_check(), Shop(), THICKNESS, edits)
    assert placement.keys
    for key in placement.keys:
        pocket = polygon_of(key.pocket)
        # Independent: shapely. 20 mm of pocket and 30 mm of screw do not both go into 44 mm.
        assert min(pocket.distance(shapely.Point(screw)) for screw in screws) >= SETTINGS.screw_radius - 0.2


@pytest.mark.parametrize(("thickness", "edits", "says"), [
    (0.0, Edits(), "more than zero"),
    (float("nan"), Edits(), "more than zero"),
    (THICKNESS, Edits(key_counts=((10.0, 250.0, -1),)), "ask for 0 or more"),
    (THICKNESS, Edits(key_counts=((10.0, 250.0, 2), (50.0, 250.0, 3))), "ask once"),
    (THICKNESS, Edits(keys=(AddedKey(frozen_array([50, 250]), size="larg"),)), "did you mean 'large'"),
    (THICKNESS, Edits(keys=(AddedKey(frozen_array([50, 250]), length=80.0, waist=2.0),)),
     "your key at x 50, y 250"),
])
def test_bad_input_is_one_clear_sentence(thickness: float, edits: Edits, says: str):
    with pytest.raises(PlacementError, match=says):
        place(one_check(), Shop(), thickness, edits)


def test_no_cracks_no_keys():
    assert place(make_survey([]), Shop(), THICKNESS) == Placement((), ())


@pytest.mark.parametrize("seed", [0, 2, 3, 4, 6, 7, 9, 11])
def test_no_plan_breaks_a_hard_rule(seed: int):
    """Independent: tests/placement/own_check.py measures with its own geometry; 500 more in the benchmark."""
    survey = random_survey(seed)
    edits = Edits(keep_out=random_keep_outs(seed, survey))
    thickness = float(np.random.default_rng(seed).uniform(22, 65))
    placement = place(survey, Shop(), thickness, edits)
    assert faults(placement, survey, edits, thickness, Shop().keys.least_floor, SETTINGS) == []
    named = {c for k in placement.keys for c in k.cracks} | {u.crack for u in placement.unheld}
    assert named == {c.id for c in survey.cracks}
    assert all(c.ok for k in placement.keys for c in k.checks if c.name in
               ("slab edge", "finished top", "voids", "keep-out", "sound wings", "grain", "other keys",
                "floor"))


def test_the_same_input_gives_the_same_plan():
    survey = random_survey(11)
    first, second = place(survey, Shop(), THICKNESS), place(survey, Shop(), THICKNESS)
    assert [(k.id, *k.centre, k.angle_deg) for k in first.keys] == [(k.id, *k.centre, k.angle_deg)
                                                                    for k in second.keys]


def test_the_own_check_finds_what_is_wrong():
    """A check that cannot fail is none: a plan made with laxer rules must be caught."""
    lax = SETTINGS.with_changes(edge_margin=1.0, void_margin=0.5, key_gap=1.0)
    caught = 0
    for seed in (0, 1, 3):
        survey = random_survey(seed, 4)
        placement = place(survey, Shop(), THICKNESS, settings=lax)
        caught += len(faults(placement, survey, Edits(), THICKNESS, 8.0, SETTINGS))
    assert caught > 5


def test_a_crack_turned_with_its_slab_turns_its_keys():
    """The frame is a choice of datum: turning everything by 30 degrees turns the plan."""
    survey = one_check()
    a = np.radians(30.0)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    crack = survey.cracks[0]
    turned = dataclasses.replace(survey, outline=frozen_array(survey.outline @ turn, 2), grain_deg=30.0,
                                 cracks=(
        dataclasses.replace(crack, centreline=frozen_array(crack.centreline @ turn, 2)),))
    before, after = place(survey, Shop(), THICKNESS), place(turned, Shop(), THICKNESS)
    # Places are rounded to a tenth in either frame, which in a flat valley may decide for the next millimetre.
    assert np.allclose([k.centre @ turn for k in before.keys], [k.centre for k in after.keys], atol=1.2)
    assert np.allclose([k.angle_deg + 30.0 for k in before.keys], [k.angle_deg for k in after.keys],
                       atol=0.15)


def test_a_key_refused_beside_the_slab_is_said():
    survey = make_survey([straight_crack("C1", (0, 250), 300.0, tapering(6.0))])
    edits = Edits(refused_keys=frozen_array([[99_999.0, 96.0], [60.0, 250.0]], 2))
    said = [w for w in place(survey, Shop(), 44.0, edits).warnings if "refused" in w]
    assert len(said) == 1 and "x 99999, y 96 mm lies beside the slab" in said[0]
