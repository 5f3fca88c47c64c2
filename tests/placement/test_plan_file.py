"""What the placement adds to plan.json comes back from it as it went in."""

from __future__ import annotations

import dataclasses
import json

import pytest

from crackmap.errors import JobError
from crackmap.jsonform import dumps, plan_as_json, plan_from_json
from crackmap.placement.place import place
from crackmap.records import Plan
from crackmap.shop import Shop, SlabWood
from tests.builders import a_plan, a_survey
from tests.placement.slabs import make_survey, straight_crack, tapering


def planned() -> Plan:
    placement = place(make_survey([straight_crack("C1", (0, 250), 305, tapering(4))]),
                      Shop(wood=SlabWood(species="red oak")), 44.0)
    return dataclasses.replace(a_plan(a_survey()), objective=placement.objective, counts=placement.counts,
                               choice="strongest")


def test_counts_choice_and_objective_come_back():
    plan = planned()
    again = plan_from_json(json.loads(dumps(plan_as_json(plan))))
    assert again.choice == "strongest"
    assert again.objective == pytest.approx(plan.objective, abs=1e-3)
    for read, written in zip(again.counts, plan.counts, strict=True):
        assert (read.cracks, read.planned) == (written.cracks, written.planned)
        for mine, theirs in zip(read.options, written.options, strict=True):
            assert mine.keys == theirs.keys
            assert mine.objective == pytest.approx(theirs.objective, abs=1e-3)
            assert mine.longest_unheld == pytest.approx(theirs.longest_unheld, abs=0.1)
            assert mine.relief == pytest.approx(theirs.relief, abs=0.01)


def test_an_unknown_plan_is_one_clear_sentence():
    form = json.loads(dumps(plan_as_json(planned()))) | {"choice": "cheapest"}
    with pytest.raises(JobError, match="choice must be one of fewest, balanced, strongest"):
        plan_from_json(form)
