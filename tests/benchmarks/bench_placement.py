"""Placement: the exact plan against a maker's greedy one, hard rules, and how time grows.

    python -m tests.benchmarks.bench_placement [--slabs 20] [--rules 100] [--truth FOLDER]

Three tables. The greedy plan takes the largest unheld stretch of all, puts the
key that helps most into it, and goes on while that pays. CPU seconds are this
process's own; photographs come into it only with --truth, a folder of truth
files whose cracks and outline are taken as the survey.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np

from crackmap.placement.coupling import choose
from crackmap.placement.place import place, pose_problem, solve
from crackmap.placement.problem import Problem, plan_cost
from crackmap.records import Crack, Edits, Survey, Void, frozen_array
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop
from tests.placement.own_check import faults
from tests.placement.slabs import make_survey, random_keep_outs, random_survey

SETTINGS, SHOP, THICKNESS = PlacementSettings(), Shop(), 44.0


def greedy_plan(problem: Problem) -> frozenset[int]:
    """Largest gap first: the stretch with the highest cost gets the key that lowers the plan's cost most."""
    chosen: frozenset[int] = frozenset()
    cost = plan_cost(problem, chosen)
    settled: set[tuple[int, int, int]] = set()
    while True:
        gaps = [gap for gap in _gaps(problem, chosen) if gap[1:] not in settled]
        if not gaps:
            return chosen
        _, line, first, last = max(gaps)
        chain = problem.chains[line]
        inside = [int(chain.nodes[i]) for i in range(first + 1, last)]
        tried = [(plan_cost(problem, chosen | {k}), k) for k in inside]
        best = min(tried, default=(np.inf, -1))
        if best[0] < cost - 1e-9:
            cost, chosen = best[0], chosen | {best[1]}
        else:
            settled.add((line, first, last))


def _gaps(problem: Problem, chosen: frozenset[int]) -> list[tuple[float, int, int, int]]:
    """Cost, line, and the nodes before and after each stretch that is not held."""
    found = []
    for line, chain in enumerate(problem.chains):
        path = [i for i, k in enumerate(chain.nodes.tolist()) if k in chosen]
        n = len(chain.nodes)
        if not path:
            found.append((chain.empty, line, -1, n))
            continue
        found.append((float(chain.start[path[0]]), line, -1, path[0]))
        found += [(float(chain.link[a, b]), line, a, b) for a, b in zip(path, path[1:], strict=False)]
        found.append((float(chain.end[path[-1]]), line, path[-1], n))
    return found


def against_greedy(slabs: int) -> None:
    """Table 1: objective of both, and time, by number of cracks."""
    print("cracks  keys  exact cost  greedy cost  greedy worse by  widest proven gap  CPU s mean / most")
    for cracks in (5, 10, 20, 40):
        rows = []
        for seed in range(slabs):
            survey = random_survey(seed, cracks)
            start = time.process_time()
            solved = solve(survey, SHOP, THICKNESS, Edits(), SETTINGS)
            spent = time.process_time() - start
            lines = list(solved.asking)
            problem = pose_problem(solved.candidates, lines, solved.site, SETTINGS)
            greedy = plan_cost(problem, greedy_plan(problem))
            assert choose(problem, SETTINGS.node_limit).cost <= greedy + 1e-6
            rows.append((len(solved.chosen), solved.cost, greedy, solved.cost - solved.bound, spent))
        keys, exact, greedy_cost, gap, spent_s = np.array(rows).T
        worse = (greedy_cost.sum() / exact.sum() - 1) * 100
        print(f"{cracks:6d} {keys.mean():5.1f} {exact.mean():11.2f} {greedy_cost.mean():12.2f} "
              f"{worse:14.1f} % {gap.max():18.2g} {spent_s.mean():11.2f} / {spent_s.max():.2f}")


def hard_rules(slabs: int) -> None:
    """Table 2: suggested keys that break a hard rule, by the tests' own geometry."""
    broken, keys, unnamed = 0, 0, 0
    for seed in range(slabs):
        survey = random_survey(10_000 + seed)
        edits = Edits(keep_out=random_keep_outs(seed, survey))
        thickness = float(np.random.default_rng(seed).uniform(22, 65))
        plan = place(survey, SHOP, thickness, edits)
        broken += len(faults(plan, survey, edits, thickness, SHOP.keys.least_floor, SETTINGS))
        named = {c for k in plan.keys for c in k.cracks} | {u.crack for u in plan.unheld}
        unnamed += len({c.id for c in survey.cracks} - named)
        keys += len(plan.keys)
    print(f"{slabs} random slabs, {keys} keys: {broken} rules broken, "
          f"{unnamed} cracks neither held nor explained")


def on_truth(folder: Path) -> None:
    """Table 3: plans on true surveys: cracks over 150 mm long and 2 mm wide are held or have a reason."""
    print("slab  keys  large cracks  held  explained  CPU s")
    for path in sorted(folder.glob("*.json")):
        survey, thickness = survey_of_truth(path)
        start = time.process_time()
        plan = place(survey, SHOP, thickness)
        spent = time.process_time() - start
        large = {c.id for c in survey.cracks if c.length > 150 and c.widest > 2}
        held = {c for k in plan.keys for c in k.cracks}
        explained = {u.crack for u in plan.unheld if u.why}
        print(f"{path.stem:5s} {len(plan.keys):4d} {len(large):13d} {len(large & held):5d} "
              f"{len((large - held) & explained):10d} {spent:6.2f}")


def survey_of_truth(path: Path) -> tuple[Survey, float]:
    """A truth file (y down) as a survey (y up) and its thickness. [mm]"""
    form = json.loads(path.read_text(encoding="utf-8"))
    up = np.array([1.0, -1.0])
    outline = (np.array(form["outline_mm"], float) * up)[::-1]
    cracks = []
    for n, c in enumerate(form["cracks"], start=1):
        first = {"branch": "junction", "end_check": "edge", "knot_check": "void"}.get(c["kind"], "tip")
        cracks.append(Crack(f"C{n}", frozen_array(np.array(c["centreline_mm"]) * up, 2),
                            frozen_array(c["width_mm"]), (first, "tip"), 0.95))
    voids = tuple(Void(f"V{n}", frozen_array(np.array(v["polygon_mm"]) * up, 2))
                  for n, v in enumerate(form["voids"], start=1))
    return make_survey(cracks, outline=frozen_array(outline, 2), voids=voids), float(form["thickness_mm"])


def main() -> None:
    """Run and print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--slabs", type=int, default=10, help="random slabs for each number of cracks")
    options.add_argument("--rules", type=int, default=50, help="random slabs for the hard rules")
    options.add_argument("--truth", type=Path, help="folder of truth files")
    chosen = options.parse_args()
    against_greedy(chosen.slabs)
    hard_rules(chosen.rules)
    if chosen.truth is not None:
        on_truth(chosen.truth)


if __name__ == "__main__":
    main()
