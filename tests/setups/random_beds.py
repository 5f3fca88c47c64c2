"""Random slabs on random beds, and what every division of their pockets must keep; for tests and benchmark."""

from __future__ import annotations

import numpy as np

from crackmap.keys.outline import bounding_box, moved
from crackmap.records import FloatArray, Plan, Survey
from crackmap.settings import CuttingSettings
from crackmap.setups.divide import Division, divide_into_setups
from crackmap.shop import Bed
from tests.builders import a_plan, a_survey

SIDES = ("left", "right", "front", "back")
WITHIN = 0.01  # [mm]


def a_case(rng: np.random.Generator) -> tuple[Survey, Plan, Bed]:
    """A slab of 0.7 to 2.6 m with 1 to 30 pockets, turned anyhow, and a bed of 250 to 1200 mm."""
    survey = a_survey(float(rng.uniform(700, 2600)), float(rng.uniform(300, 900)), int(rng.integers(3, 12)),
                      int(rng.integers(1000)))
    plan = a_plan(survey, int(rng.integers(1, 31)))
    clamps = ((0.0, 0.0, 60.0, 40.0),) if rng.random() < 0.3 else ()
    bed = Bed(float(rng.uniform(250, 1200)), float(rng.uniform(250, 1000)),
              tuple(side for side in SIDES if rng.random() < 0.7), float(rng.choice([0.0, 50.0])), clamps)
    return survey, plan, bed


def divided(survey: Survey, plan: Plan, bed: Bed) -> Division:
    """With the usual settings."""
    return divide_into_setups(survey, plan.keys, bed, CuttingSettings())


def faults(survey: Survey, plan: Plan, bed: Bed, division: Division) -> list[str]:
    """What is wrong with a division, by plain arithmetic on the records; nothing if all holds."""
    found = []
    cut = [key for setup in division.setups for key in setup.keys]
    accounted = sorted([*cut, *(key for key, _ in division.no_setup)])
    if accounted != sorted(key.id for key in plan.keys):
        found.append(f"pockets {accounted} are not each in one place")
    for setup in division.setups:
        angle = float(np.degrees(np.arctan2(setup.matrix[1, 0], setup.matrix[0, 0])))
        boxes = [np.array(bounding_box(moved(key.pocket, angle, setup.matrix[:2, 2])))
                 for key in plan.keys if key.id in setup.keys]
        found += [f"set-up {setup.number}: a pocket at {box}" for box in boxes if not _inside(box, bed)]
        found += [f"set-up {setup.number}: a pocket under a clamp" for box in boxes
                  if any(_overlap(box, clamp) for clamp in bed.clamps)]
        marks = _placed(np.array([mark.at for mark in setup.marks]).reshape(-1, 2), setup.matrix)
        if len(marks) < 2 or not all(_inside(np.r_[mark, mark], bed) for mark in marks):
            found.append(f"set-up {setup.number}: marks at {marks.tolist()}")
        slab = _placed(survey.outline, setup.matrix)
        found += [f"set-up {setup.number}: past the closed {side} side" for side in _passed(slab, bed)
                  if side not in bed.open_sides]
        found += _drill_faults(division, setup.number)
    return found


def _placed(points: FloatArray, matrix: FloatArray) -> FloatArray:
    return np.asarray(points @ matrix[:2, :2].T + matrix[:2, 2])


def _inside(box: FloatArray, bed: Bed) -> bool:
    return bool(box[0] >= -WITHIN and box[1] >= -WITHIN and box[2] <= bed.x + WITHIN and box[3] <= bed.y + WITHIN)


def _overlap(box: FloatArray, clamp: tuple[float, ...]) -> bool:
    x, y, length, width = clamp
    return bool(box[2] > x + WITHIN and box[0] < x + length - WITHIN and box[3] > y + WITHIN
                and box[1] < y + width - WITHIN)


def _passed(slab: FloatArray, bed: Bed) -> list[str]:
    low, high = slab.min(axis=0) + bed.table_beyond + WITHIN, slab.max(axis=0) - bed.table_beyond - WITHIN
    far = (low[0] < 0.0, high[0] > bed.x, low[1] < 0.0, high[1] > bed.y)
    return [side for side, is_past in zip(SIDES, far, strict=True) if is_past]


def _drill_faults(division: Division, number: int) -> list[str]:
    """A drilled mark must be drilled in an earlier set-up, within its bed, before its pocket is cut."""
    found = []
    setup = division.setups[number - 1]
    for mark in (m for m in setup.marks if m.how == "drilled"):
        earlier = division.setups[mark.from_setup - 1] if 0 < mark.from_setup < number else None
        if earlier is None or mark not in earlier.to_drill:
            found.append(f"set-up {number}: {mark.name} is not drilled before")
        if mark.in_pocket and any(mark.in_pocket in each.keys for each in division.setups[: number - 1]):
            found.append(f"set-up {number}: {mark.name} is cut away before")
    return found
