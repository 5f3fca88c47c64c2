"""Pockets over set-ups."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from crackmap.keys.outline import bounding_box
from crackmap.records import Plan, Survey, frozen_array
from crackmap.settings import CuttingSettings
from crackmap.setups.divide import divide_into_setups
from crackmap.setups.marks import standing_marks
from crackmap.shop import Bed
from tests.builders import a_key, a_plan, a_survey
from tests.setups.random_beds import a_case, divided, faults

ALL = ("left", "right", "front", "back")


@pytest.mark.parametrize("seed", range(25))
def test_every_pocket_is_in_one_setup_in_reach_with_two_marks(seed: int) -> None:
    """Independent: plain arithmetic on the records, tests/setups/random_beds.py."""
    survey, plan, bed = a_case(np.random.default_rng(seed))
    division = divided(survey, plan, bed)
    assert faults(survey, plan, bed, division) == []
    assert all(why for _, why in division.no_setup)


def _row(centres: list[tuple[float, float]]) -> tuple[Survey, Plan]:
    """A slab 2000 x 400 lying along x with small keys at the centres."""
    survey = replace(a_survey(cracks=0), voids=(), references=(),
                     outline=frozen_array([[-100, -200], [1900, -200], [1900, 200], [-100, 200]]))
    keys = tuple(a_key(n, "C1", at, 90.0, 2) for n, at in enumerate(centres, 1))
    return survey, replace(a_plan(survey, 0), keys=keys)


def test_the_least_number_of_setups_is_found() -> None:
    """Geometric: pockets 25 mm wide and 300 mm apart on a line; a reach of 670 mm holds three of the seven."""
    survey, plan = _row([(300.0 * n, 0.0) for n in range(7)])
    bed = Bed(700.0, 430.0, ALL)
    assert len(divided(survey, plan, bed).setups) == 3


def test_no_more_setups_than_the_best_of_all_groupings_in_two() -> None:
    """Independent: for square turns alone, whether one shift holds a group is two comparisons; all groupings tried."""
    rng = np.random.default_rng(3)
    settings = CuttingSettings()
    for _ in range(12):
        survey, plan = _row([(float(rng.uniform(0, 1800)), float(rng.uniform(-150, 150))) for _ in range(6)])
        bed = Bed(float(rng.uniform(300, 900)), float(rng.uniform(300, 450)), ALL)
        reach = np.array([bed.x, bed.y]) - 2 * settings.placing
        boxes = np.array([bounding_box(key.pocket) for key in plan.keys])

        def fits(group: list[int], boxes: np.ndarray = boxes, reach: np.ndarray = reach) -> bool:
            size = boxes[group, 2:].max(axis=0) - boxes[group, :2].min(axis=0)
            return bool((size <= reach).all() or (size[::-1] <= reach).all())

        in_two = any(fits([i for i in range(6) if side[i]]) and fits([i for i in range(6) if not side[i]])
                     for side in itertools.product((True, False), repeat=6) if 0 < sum(side) < 6)
        count = len(divided(survey, plan, bed).setups)
        if fits(list(range(6))):
            assert count == 1
        elif in_two:
            assert count <= 2  # one, where a skew turn holds them all


def test_no_bed_no_setups() -> None:
    survey, plan = _row([(0.0, 0.0)])
    assert divide_into_setups(survey, plan.keys, None, CuttingSettings()).setups == ()


def test_standing_marks_are_taken_where_two_are_in_reach() -> None:
    survey = a_survey(900.0, 400.0, 4)
    plan = a_plan(survey, 4)
    (setup,) = divided(survey, plan, Bed(1200.0, 800.0)).setups
    assert {mark.name for mark in setup.marks} == {"A", "B"} and not setup.to_drill
    assert all(mark.how == "marker" for mark in setup.marks)


def test_witness_points_are_drilled_in_pockets_that_are_cut_later() -> None:
    """Six pockets in a row, a bed that sees both marks only from the left: the next set-up goes by drilled points."""
    survey, plan = _row([(150.0 * n + 80.0, 60.0) for n in range(10)])
    datum = replace(survey.datum, b=frozen_array([500.0, 0.0]))
    survey = replace(survey, datum=datum)
    division = divided(survey, plan, Bed(1000.0, 430.0, ALL))
    assert faults(survey, plan, Bed(1000.0, 430.0, ALL), division) == []
    drilled = [mark for setup in division.setups for mark in setup.marks if mark.how == "drilled"]
    assert drilled and all(mark.in_pocket for mark in drilled)


def test_further_markers_serve_as_marks() -> None:
    survey = a_survey()
    third = replace(survey.references[0], id=9, corners_mm=survey.references[0].corners_mm + [500.0, 120.0])
    names = [point.name for point in standing_marks(replace(survey, references=(*survey.references, third)))]
    assert names == ["A", "B", "M9"]


@pytest.mark.parametrize(
    ("bed", "said"),
    [
        (Bed(300.0, 300.0), "does not lie on a bed of 300 mm x 300 mm; name the sides"),
        (Bed(80.0, 80.0, ALL), "does not fit into the machine's reach of 50 mm x 50 mm"),
        (Bed(600.0, 400.0, ALL, 0.0, ((0.0, 0.0, 600.0, 400.0),)), "a clamp stands in its way"),
        (Bed(2100.0, 90.0, ("back",), 60.0), "closed sides keep it out of reach"),
    ],
)
def test_a_pocket_out_of_reach_is_named_with_the_reason(bed: Bed, said: str) -> None:
    survey, plan = _row([(0.0, 150.0), (900.0, -150.0)])
    division = divided(survey, plan, bed)
    assert division.no_setup and any(said in why for _, why in division.no_setup), division.no_setup


def test_reasons_are_in_the_readers_unit() -> None:
    survey, plan = _row([(0.0, 0.0)])
    division = divide_into_setups(survey, plan.keys, Bed(80.0, 80.0, ALL), CuttingSettings(), "in")
    assert " in x " in division.no_setup[0][1] and "mm" not in division.no_setup[0][1]
