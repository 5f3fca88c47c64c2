"""A plan taken up again: what the edit does not touch stays, what it touches is right."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from crackmap.placement.place import place
from crackmap.placement.revise import revise
from crackmap.records import AddedKey, Edits, KeepOut, Key, Placement, Survey, frozen_array
from crackmap.settings import PlacementSettings
from crackmap.shop import Bit, Shop
from tests.placement.own_check import faults
from tests.placement.slabs import make_survey, random_survey, straight_crack, tapering

SETTINGS, SHOP, THICKNESS = PlacementSettings(), Shop(), 44.0


def two_checks() -> Survey:
    return make_survey([straight_crack("C1", (0, 150), 450, tapering(5)),
                        straight_crack("C2", (0, 350), 400, tapering(4))])


SURVEY = two_checks()
LAST = place(SURVEY, SHOP, THICKNESS)


def places(keys: tuple[Key, ...]) -> set[tuple[float, ...]]:
    return {(*np.round(k.centre, 3).tolist(), round(k.angle_deg, 3), k.shape.length) for k in keys}


def without(keys: tuple[Key, ...], *gone: str) -> tuple[Key, ...]:
    return tuple(k for k in keys if k.id not in gone)


NO_EDITS = Edits()


def again(edits: Edits = NO_EDITS, keys: tuple[Key, ...] = LAST.keys, survey: Survey = SURVEY) -> Placement:
    return revise(survey, SHOP, THICKNESS, edits, SETTINGS, keys)


@pytest.mark.parametrize("seed", [1, 8, 11])
def test_without_an_edit_nothing_changes(seed: int):
    survey = random_survey(seed)
    last = place(survey, SHOP, THICKNESS)
    placement = revise(survey, SHOP, THICKNESS, Edits(), SETTINGS, last.keys)
    assert [(k.id, k.cracks, k.reasons, k.checks) for k in placement.keys] == [
        (k.id, k.cracks, k.reasons, k.checks) for k in last.keys]
    assert places(placement.keys) == places(last.keys)
    assert placement.objective == pytest.approx(last.objective, abs=1e-5)
    assert [u.crack for u in placement.unheld] == [u.crack for u in last.unheld]


def test_a_moved_key_moves_alone():
    moved = LAST.keys[1]
    wish = AddedKey(moved.centre + np.array([9.0, 0.0]), angle_deg=moved.angle_deg, size=moved.size_name, fixed=True)
    placement = again(Edits(keys=(wish,)), without(LAST.keys, moved.id))
    assert len(placement.keys) == len(LAST.keys)
    assert places(without(LAST.keys, moved.id)) <= places(placement.keys)
    assert [k.origin for k in placement.keys].count("fixed") == 1


def test_a_fixed_key_takes_the_place_of_the_suggestion_under_it():
    moved = LAST.keys[1]
    wish = AddedKey(moved.centre + np.array([9.0, 0.0]), size=moved.size_name, fixed=True)
    placement = again(Edits(keys=(wish,)))  # the caller has not left it out
    assert len(placement.keys) == len(LAST.keys)
    assert places(without(LAST.keys, moved.id)) <= places(placement.keys)


def test_a_key_let_go_again_stays_as_a_suggestion():
    fixed = dataclasses.replace(LAST.keys[2], origin="fixed")
    placement = again(keys=(*without(LAST.keys, fixed.id), fixed))
    assert places(placement.keys) == places(LAST.keys)
    assert {k.origin for k in placement.keys} == {"suggested"}


def test_an_added_key_that_was_taken_back_is_gone():
    wish = AddedKey(frozen_array([600.0, 250.0]), angle_deg=90.0, size="small")
    with_it = again(Edits(keys=(wish,)))
    assert len(with_it.keys) == len(LAST.keys) + 1
    assert places(again(keys=with_it.keys).keys) == places(LAST.keys)


def test_a_refused_key_leaves_the_rest_where_it_is():
    refused = LAST.keys[3]
    placement = again(Edits(refused_keys=frozen_array([refused.centre], 2)))
    assert all(np.hypot(*(k.centre - refused.centre)) >= SETTINGS.refusal_radius for k in placement.keys)
    assert places(without(LAST.keys, refused.id)) <= places(placement.keys)


@pytest.mark.parametrize("change", [-1, 1])
def test_another_number_of_keys_on_one_crack_leaves_the_other_alone(change: int):
    on_first = [k for k in LAST.keys if "C1" in k.cracks]
    asked = len(on_first) + change
    placement = again(Edits(key_counts=((200.0, 150.0, asked),)))
    assert sum("C1" in k.cracks for k in placement.keys) == asked
    assert places(tuple(k for k in LAST.keys if "C2" in k.cracks)) == places(
        tuple(k for k in placement.keys if "C2" in k.cracks))


def test_a_crack_left_open_loses_its_keys_only():
    placement = again(Edits(key_counts=((200.0, 350.0, 0),)))
    assert places(placement.keys) == places(tuple(k for k in LAST.keys if k.cracks == ("C1",)))
    assert [u.why for u in placement.unheld] == ["left open as you asked"]


def test_a_new_crack_gets_keys_and_the_old_keys_stay():
    drawn = dataclasses.replace(straight_crack("D1", (1200, 250), 300, tapering(5), angle_deg=180),
                                drawn_by_user=True, confidence=0.0)
    placement = again(survey=dataclasses.replace(SURVEY, cracks=(*SURVEY.cracks, drawn)))
    assert places(LAST.keys) <= places(placement.keys)
    assert sum("D1" in k.cracks for k in placement.keys) >= 3


def test_a_lengthened_crack_gets_further_keys_and_the_old_keys_stay():
    longer = make_survey([straight_crack("C1", (0, 150), 800, lambda t: np.full_like(t, 3.0)), SURVEY.cracks[1]])
    placement = again(survey=longer)
    assert places(LAST.keys) <= places(placement.keys)
    assert max(k.centre[0] for k in placement.keys if k.cracks == ("C1",)) > 600


def test_a_refused_crack_loses_its_keys_only():
    placement = again(survey=dataclasses.replace(SURVEY, cracks=SURVEY.cracks[:1]))
    assert places(placement.keys) == places(tuple(k for k in LAST.keys if k.cracks == ("C1",)))


def test_a_keep_out_and_a_finished_top_are_obeyed_around_what_stays():
    area = KeepOut(frozen_array([[60, 100], [160, 100], [160, 200], [60, 200]], 2), note="clamp")
    top = frozen_array([[100, 0], [1200, 0], [1200, 500], [100, 500]], 2)
    for edits in (Edits(keep_out=(area,)), Edits(finished_top=top)):
        placement = again(edits)
        assert faults(placement, SURVEY, edits, THICKNESS, SHOP.keys.least_floor, SETTINGS) == []
        kept = [k for k in LAST.keys if all(c.ok for c in k.checks)
                and not faults(Placement((k,), ()), SURVEY, edits, THICKNESS, SHOP.keys.least_floor, SETTINGS)]
        assert places(tuple(kept)) <= places(placement.keys)


def test_another_bit_or_thickness_gives_keys_of_the_new_sizes():
    thicker = Shop(bit=Bit(diameter=12.0, cutting_length=40.0))
    placement = revise(SURVEY, thicker, THICKNESS, Edits(), SETTINGS, LAST.keys)
    assert places(placement.keys) == places(place(SURVEY, thicker, THICKNESS).keys)


@pytest.mark.parametrize("seed", [0, 1, 2, 4])
def test_a_revised_plan_breaks_no_hard_rule(seed: int):
    """Independent: tests/placement/own_check.py measures with its own geometry."""
    survey = random_survey(100 + seed)
    last = place(survey, SHOP, THICKNESS)
    rng = np.random.default_rng(seed)
    x, y = rng.uniform([100, 50], survey.outline.max(axis=0) - 100)
    edits = Edits(keep_out=(KeepOut(frozen_array([[x, y], [x + 120, y], [x + 120, y + 90], [x, y + 90]], 2)),),
                  refused_keys=frozen_array([k.centre for k in last.keys[::3]], 2))
    placement = revise(survey, SHOP, THICKNESS, edits, SETTINGS, last.keys)
    assert faults(placement, survey, edits, THICKNESS, SHOP.keys.least_floor, SETTINGS) == []
    named = {c for k in placement.keys for c in k.cracks} | {u.crack for u in placement.unheld}
    assert named == {c.id for c in survey.cracks}


def test_counts_of_a_revised_plan_are_those_of_the_plan():
    placement = revise(SURVEY, SHOP, THICKNESS, Edits(), SETTINGS, LAST.keys, weigh_counts=True)
    for mine, theirs in zip(placement.counts, LAST.counts, strict=True):
        assert (mine.cracks, mine.planned) == (theirs.cracks, theirs.planned)
        assert [o.keys for o in mine.options] == [o.keys for o in theirs.options]
        assert [o.objective for o in mine.options] == pytest.approx([o.objective for o in theirs.options], abs=1e-3)
