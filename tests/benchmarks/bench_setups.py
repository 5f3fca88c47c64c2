"""Set-ups on 200 random slabs and beds: is every pocket cut once, in reach, and found again by two marks?

    python -m tests.benchmarks.bench_setups [--cases 200] [--seed 11]

Checked by plain arithmetic on the records (tests/setups/random_beds.py), and on the DXF: each set-up's
file is read back by a reader of our own, turned back to the slab and compared with slab.dxf.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import replace

import numpy as np

from crackmap.records import FloatArray, Plan, Survey
from crackmap.settings import SheetSettings
from crackmap.setups.divide import Division
from crackmap.sheets.dxf import setup_dxf, slab_dxf
from crackmap.shop import Bed
from tests.setups.random_beds import a_case, divided, faults
from tests.sheets.dxf_groups import chorded, read_groups

_SHEETS = SheetSettings(with_reference=False)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--seed", type=int, default=11)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    counts: Counter[int] = Counter()
    hows: Counter[str] = Counter()
    spent, worst, lost, pockets = [], 0.0, 0, 0
    wrong: list[str] = []
    for number in range(options.cases):
        survey, plan, bed = a_case(rng)
        start = time.process_time()
        division = divided(survey, plan, bed)
        spent.append(time.process_time() - start)
        wrong += [f"case {number}: {fault}" for fault in faults(survey, plan, bed, division)]
        worst = max(worst, _put_back(survey, replace(plan, setups=division.setups), bed, division))
        counts[len(division.setups)] += 1
        hows.update(mark.how for setup in division.setups for mark in setup.marks)
        lost += len(division.no_setup)
        pockets += len(plan.keys)
    print(f"{options.cases} slabs and beds, {pockets} pockets: {pockets - lost} in set-ups, "
          f"{lost} out of reach with a reason")
    print(f"faults: {len(wrong)}")
    for fault in wrong[:10]:
        print("  ", fault)
    print("set-ups: " + ", ".join(f"{n} in {count} cases" for n, count in sorted(counts.items())))
    print("marks: " + ", ".join(f"{count} {how}" for how, count in hows.most_common()))
    print(f"drawings put back: off by at most {worst:.4f} mm")
    print(f"CPU: median {1000 * np.median(spent):.0f} ms, most {1000 * max(spent):.0f} ms")


def _put_back(survey: Survey, plan: Plan, bed: Bed, division: Division) -> float:
    """Greatest distance of a point of a set-up's pockets, turned back to the slab, from slab.dxf's. [mm]"""
    if not division.setups:
        return 0.0
    drawn = _pockets(slab_dxf(survey, plan, _SHEETS))
    middles = np.array([outline.mean(axis=0) for outline in drawn])
    seen: list[int] = []
    worst = 0.0
    for setup in division.setups:
        back = np.linalg.inv(setup.matrix)
        for outline in _pockets(setup_dxf(survey, plan, setup, bed, _SHEETS)):
            returned = outline @ back[:2, :2].T + back[:2, 2]
            seen.append(int(np.argmin(np.hypot(*(middles - returned.mean(axis=0)).T))))
            worst = max(worst, float(np.hypot(*(returned - drawn[seen[-1]]).T).max()))
    return worst if len(set(seen)) == len(seen) == len(plan.keys) - len(division.no_setup) else float("inf")


def _pockets(content: bytes) -> list[FloatArray]:
    return [np.array(chorded(e.rows, 8)) for e in read_groups(content)[1] if e.layer.startswith("POCKET") and e.closed]


if __name__ == "__main__":
    main()
