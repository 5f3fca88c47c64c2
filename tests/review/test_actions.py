"""Each action: from edits and a state to new edits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from crackmap.errors import ReviewError
from crackmap.records import AddedKey, Edits, Key, Plan, Survey, frozen_array
from crackmap.review.actions import ACTIONS, apply_action
from crackmap.review.ask import Ask, Asked, Change
from crackmap.settings import SurveySettings
from tests.builders import a_plan, a_survey

SURVEY = a_survey()
PLAN = a_plan(SURVEY, 6)


def _do(edits: Edits = Edits(), survey: Survey = SURVEY, plan: Plan = PLAN,  # noqa: B008 - frozen
        lines: tuple[frozenset[str], ...] = (), **action: Any) -> Change:
    return apply_action(Ask(Asked(action), edits, survey, plan, lines, SurveySettings(), 20.0))


def _plan_with(key: Key, **changes: Any) -> Plan:
    return replace(PLAN, keys=tuple(replace(k, **changes) if k.id == key.id else k for k in PLAN.keys))


def test_a_key_is_added_on_the_crack_beside_the_point() -> None:
    crack = SURVEY.cracks[0]
    row = len(crack.centreline) // 2
    at = crack.centreline[row] + [0.0, 7.0]
    change = _do(do="add_key", at=at.tolist())
    added = change.edits.keys[0]
    assert not added.fixed and added.size is None and added.angle_deg is None
    # Geometric: the foot on the line is no farther than the point below it, and lies on the line.
    assert np.hypot(*(added.centre - at)) <= 7.0 + 1e-3
    assert np.hypot(*(crack.centreline - added.centre).T).min() < 4.0  # the crack's points lie 8 mm apart or less


def test_a_suggestion_that_is_moved_is_pinned_with_its_size() -> None:
    key = PLAN.keys[0]
    change = _do(do="move_key", key=key.id, centre=[key.centre[0] + 5.0, key.centre[1]])
    own = change.edits.keys[0]
    assert own.fixed and own.size == key.size_name and own.angle_deg == key.angle_deg
    assert change.released == {key.id} and not len(change.edits.refused_keys) and change.words == f"moved {key.id}"


def test_a_suggestion_moved_far_leaves_its_place_refused() -> None:
    key = PLAN.keys[0]
    change = _do(do="move_key", key=key.id, centre=[key.centre[0] + 25.0, key.centre[1]])
    assert change.edits.refused_keys.tolist() == [key.centre.round(3).tolist()]


def test_a_users_key_is_changed_where_it_stands_among_the_edits() -> None:
    key = PLAN.keys[1]
    own = AddedKey(frozen_array(key.centre.round(3)), note="mine")
    edits = Edits(keys=(AddedKey(frozen_array([500.0, 0.0])), own, AddedKey(frozen_array([600.0, 0.0]))))
    plan = _plan_with(key, origin="added", centre=own.centre)
    turned = _do(edits, plan=plan, do="move_key", key=key.id, angle_deg=77.0).edits
    assert [k.centre[0] for k in turned.keys] == [500.0, own.centre[0], 600.0]
    assert turned.keys[1].angle_deg == 77.0 and turned.keys[1].note == "mine" and turned.keys[1].fixed
    assert turned.keys[0] is edits.keys[0]


def test_one_length_of_ones_own_keeps_the_others_as_they_are() -> None:
    key = PLAN.keys[0]
    own = _do(do="resize_key", key=key.id, waist=15.5).edits.keys[0]
    assert (own.length, own.width, own.waist, own.size) == (key.shape.length, key.shape.width, 15.5, None)
    assert own.depth is None
    deeper = _do(do="resize_key", key=key.id, depth=18.0).edits.keys[0]
    assert (deeper.size, deeper.length, deeper.depth) == (key.size_name, None, 18.0)


def test_a_familys_size_takes_own_lengths_back() -> None:
    key = PLAN.keys[0]
    edits = _do(do="resize_key", key=key.id, length=90.0).edits
    plan = _plan_with(key, origin="fixed", size_name="own size")
    own = _do(edits, plan=plan, do="resize_key", key=key.id, size="small").edits.keys[0]
    assert own.size == "small" and own.length is own.width is own.waist is own.depth is None


def test_fixing_and_freeing_come_to_nothing() -> None:
    key = PLAN.keys[2]
    fixed = _do(do="fix_key", key=key.id, fixed=True).edits
    assert fixed.keys[0].fixed
    plan = _plan_with(key, origin="fixed", centre=fixed.keys[0].centre)
    with pytest.raises(ReviewError, match="fixed already"):
        _do(fixed, plan=plan, do="fix_key", key=key.id, fixed=True)
    assert _do(fixed, plan=plan, do="fix_key", key=key.id, fixed=False).edits.keys == ()
    with pytest.raises(ReviewError, match="not fixed"):
        _do(do="fix_key", key=key.id, fixed=False)


def test_refusing_a_suggestion_bars_its_place_and_refusing_an_added_key_only_takes_it_out() -> None:
    key = PLAN.keys[0]
    assert len(_do(do="refuse_key", key=key.id).edits.refused_keys) == 1
    edits = Edits(keys=(AddedKey(frozen_array(key.centre)),))
    taken = _do(edits, plan=_plan_with(key, origin="added"), do="refuse_key", key=key.id).edits
    assert taken.keys == () and not len(taken.refused_keys)


def test_one_wish_for_a_line_of_several_cracks() -> None:
    first, second, other = (c.id for c in SURVEY.cracks[:3])
    lines = (frozenset({first, second}), frozenset({other}))
    edits = _do(lines=lines, do="count_keys", crack=first, keys=3).edits
    edits = _do(edits, lines=lines, do="count_keys", crack=other, keys=0).edits
    edits = _do(edits, lines=lines, do="count_keys", crack=second, keys=2).edits
    assert sorted(count for *_, count in edits.key_counts) == [0, 2]
    edits = _do(edits, lines=lines, do="count_keys", crack=first, keys=None).edits
    assert [count for *_, count in edits.key_counts] == [0]


def test_drawn_cracks_are_refused_by_their_own_line() -> None:
    line = frozen_array([[0.0, 0.0], [50.0, 0.0]])
    other = frozen_array([[0.0, 30.0], [50.0, 30.0]])
    drawn = tuple(replace(SURVEY.cracks[0], id=f"C{20 + k}", centreline=each, width=frozen_array([1.0, 1.0]),
                          drawn_by_user=True) for k, each in enumerate((line, other)))
    survey = replace(SURVEY, cracks=(*SURVEY.cracks, *drawn))
    edits = Edits(drawn_cracks=(line, other))
    left = _do(edits, survey=survey, do="refuse_crack", crack="C20").edits
    assert [each.tolist() for each in left.drawn_cracks] == [other.tolist()] and not len(left.refused_cracks)


def test_a_moved_end_goes_on_being_named_by_where_it_was_found() -> None:
    crack = SURVEY.cracks[0]
    tip, middle, near = crack.centreline[-1], crack.centreline[30], crack.centreline[20]
    edits = _do(do="end_crack", crack=crack.id, end=1, at=middle.tolist()).edits
    assert edits.crack_ends == ((*tip.round(3), *middle.round(3)),)
    short = replace(crack, centreline=crack.centreline[:31], width=crack.width[:31], drawn_by_user=True)
    survey = replace(SURVEY, cracks=(short, *SURVEY.cracks[1:]), set_aside=(crack,))
    edits = _do(edits, survey=survey, do="end_crack", crack=crack.id, end=1, at=near.tolist()).edits
    assert edits.crack_ends == ((*tip.round(3), *near.round(3)),)
    nearer = replace(short, centreline=crack.centreline[:21], width=crack.width[:21])
    survey = replace(survey, cracks=(nearer, *SURVEY.cracks[1:]))
    refused = _do(edits, survey=survey, do="refuse_crack", crack=crack.id).edits
    assert refused.crack_ends == () and len(refused.refused_cracks) == 1


def test_next_to_nothing_left_of_a_crack_is_refused_with_a_sentence() -> None:
    crack = SURVEY.cracks[0]
    with pytest.raises(ReviewError, match="refuse it instead"):
        _do(do="end_crack", crack=crack.id, end=1, at=(crack.centreline[0] + 1.0).tolist())


def test_a_probe_is_corrected_and_taken_away() -> None:
    edits = _do(do="probe_depth", at=[10.0, 10.0], depth=12.0).edits
    edits = _do(edits, do="probe_depth", at=[13.0, 10.0], depth=14.0).edits
    assert edits.probed_depths == ((13.0, 10.0, 14.0),)
    assert _do(edits, do="probe_depth", at=[20.0, 10.0], depth=None).edits.probed_depths == ()
    with pytest.raises(ReviewError, match="No probed depth"):
        _do(do="probe_depth", at=[20.0, 10.0], depth=None)


def test_areas_come_out_anticlockwise_and_open() -> None:
    square = [[0.0, 0.0], [0.0, 50.0], [50.0, 50.0], [50.0, 0.0], [0.0, 0.0]]
    top = _do(do="finished_top", outline=square).edits.finished_top
    assert top is not None and len(top) == 4
    x, y = top.T
    assert 0.5 * (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() == pytest.approx(2500.0)  # geometric: 50 x 50 mm
    asked = {"from": "below", "area": square, "depth": 20, "screws": [[5, 5], [45, 45]]}
    plate = _do(do="add_keep_out", **asked).edits.keep_out[0]
    assert plate.from_face == "below" and plate.depth == 20.0 and plate.screws.tolist() == [[5.0, 5.0], [45.0, 45.0]]


def test_no_action_changes_what_it_was_given() -> None:
    edits = Edits(keys=(AddedKey(frozen_array([1.0, 2.0])),))
    for action in ({"do": "refuse_key", "key": "K1"}, {"do": "refuse_crack", "crack": "C1"},
                   {"do": "probe_depth", "at": [0, 0], "depth": 3}):
        assert _do(edits, **action).edits is not edits
    assert len(edits.keys) == 1 and not len(edits.refused_keys) and not edits.probed_depths


def test_every_action_refuses_a_field_that_it_does_not_know() -> None:
    for name in ACTIONS:
        with pytest.raises(ReviewError, match="colour"):
            _do(do=name, colour="red")
