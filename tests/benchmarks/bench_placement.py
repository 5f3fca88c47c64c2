"""Placement: the exact plan against a maker's greedy one, hard rules, and how time grows.

    python -m tests.benchmarks.bench_placement [--slabs 20] [--rules 500] [--brute 200] [--truth FOLDER]
                                               [--growth FILE.svg]

Tables: the optimum against greedy, where the greedy plan takes the largest
unheld stretch of all, puts the key that helps most into it, and goes on while
that pays; small instances against brute force; hard rules by the tests' own
geometry; how long a revised plan takes; how far keys move when a noisy photo is
placed anew and when the last plan is taken up; and plans on true surveys, with
--truth, a folder of truth files whose cracks and outline are taken as the
survey. CPU seconds are this process's own.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np

from crackmap.placement.coupling import choose
from crackmap.placement.ground import lay_ground
from crackmap.placement.place import every_place, place, pose_problem, weigh
from crackmap.placement.problem import Problem, plan_cost
from crackmap.placement.revise import revise
from crackmap.records import AddedKey, Crack, Edits, Survey, Void, frozen_array
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop
from tests.placement.own_check import faults
from tests.placement.slabs import make_survey, random_keep_outs, random_survey
from tests.placement.test_coupling import brute_force, random_problem
from tests.placement.test_stability import four_checks, noisy

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


def against_greedy(slabs: int) -> list[tuple[int, int, float]]:
    """Table 1: objective of both, and time, by number of cracks; returns cracks, candidates and CPU of each slab."""
    print("cracks places  keys  exact cost  greedy cost  greedy worse by  proven  widest gap  CPU s mean / most")
    points: list[tuple[int, int, float]] = []
    for cracks in (5, 10, 20, 40):
        rows = []
        for seed in range(slabs):
            survey = random_survey(seed, cracks)
            start = time.process_time()
            ground = lay_ground(survey, SHOP, THICKNESS, Edits(), SETTINGS)
            candidates = weigh(ground, every_place(ground, SHOP, SETTINGS), Edits(), SHOP, SETTINGS)
            problem = pose_problem(candidates, list(ground.asking), ground.site, SETTINGS)
            choice = choose(problem, SETTINGS.node_limit)
            spent = time.process_time() - start
            greedy = plan_cost(problem, greedy_plan(problem))
            assert choice.cost <= greedy + 1e-6
            rows.append((len(choice.chosen), choice.cost, greedy, choice.cost - choice.bound, spent,
                         len(candidates.price)))
            points.append((cracks, len(candidates.price), spent))
        keys, exact, greedy_cost, gap, spent_s, places = np.array(rows).T
        worse = (greedy_cost.sum() / exact.sum() - 1) * 100
        proven = f"{int((gap < 1e-5).sum())}/{len(gap)}"
        print(f"{cracks:6d} {places.mean():6.0f} {keys.mean():5.1f} {exact.mean():11.2f} {greedy_cost.mean():12.2f} "
              f"{worse:14.1f} % {proven:>7} {gap.max():11.2g} {spent_s.mean():11.2f} / {spent_s.max():.2f}")
    return points


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


def against_brute_force(instances: int) -> None:
    """Table 3: small instances whose every subset was tried."""
    same = 0
    for seed in range(instances):
        problem = random_problem(seed)
        cost, chosen = brute_force(problem)
        choice = choose(problem, SETTINGS.node_limit)
        same += abs(choice.cost - cost) < 1e-6 and choice.chosen == chosen
    print(f"{same} of {instances} small instances agree with brute force")


def revising(slabs: int) -> None:
    """Table 4: one key moved by 8 mm on slabs of about 20 keys."""
    spent, keys, moved = [], [], 0
    for seed in range(slabs):
        survey = random_survey(seed, 10)
        last = place(survey, SHOP, THICKNESS)
        if len(last.keys) < 2:
            continue
        key = last.keys[len(last.keys) // 2]
        wish = AddedKey(key.centre + np.array([8.0, 0.0]), size=key.size_name, fixed=True)
        rest = tuple(k for k in last.keys if k.id != key.id)
        start = time.process_time()
        plan = revise(survey, SHOP, THICKNESS, Edits(keys=(wish,)), SETTINGS, rest)
        spent.append(time.process_time() - start)
        keys.append(len(plan.keys))
        there = np.array([k.centre for k in plan.keys])
        # A neighbour that the moved key would come too near to has to go: that is no shuffling.
        moved += sum(float(np.hypot(*(there - k.centre).T).min()) > 0.01
                     and float(np.hypot(*(wish.centre - k.centre))) > 100.0 for k in rest)
    print(f"revising {len(spent)} slabs of {np.mean(keys):.0f} keys: CPU {np.median(spent) * 1e3:.0f} ms median, "
          f"{max(spent) * 1e3:.0f} most; {moved} keys moved farther than 100 mm from the edit")


def steadiness(seeds: int) -> None:
    """Table 5: how far keys move on another exposure, placed anew and taken up again."""
    first = place(four_checks(), SHOP, THICKNESS)
    for title, again in (("placed anew", lambda survey: place(survey, SHOP, THICKNESS)),
                         ("taken up again", lambda survey: revise(survey, SHOP, THICKNESS, Edits(), SETTINGS,
                                                                  first.keys))):
        moves = []
        for seed in range(seeds):
            there = np.array([k.centre for k in again(noisy(four_checks(), seed)).keys])
            moves += [float(np.hypot(*(there - k.centre).T).min()) for k in first.keys]
        print(f"{title} on {seeds} noisy surveys: keys move {np.median(moves):.1f} mm median, "
              f"{np.percentile(moves, 95):.1f} at 95 %, {max(moves):.1f} most")


def draw_growth(points: list[tuple[int, int, float]], path: Path) -> None:
    """CPU seconds against candidates, one dot a slab, as SVG; dots grow with the number of cracks."""
    most_places, most_s = max(p[1] for p in points) * 1.05, max(p[2] for p in points) * 1.1
    width, height, left, below = 640, 380, 56, 44

    def at(places: float, seconds: float) -> tuple[float, float]:
        return (left + places / most_places * (width - left - 16),
                height - below - seconds / most_s * (height - below - 16))

    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif" '
             'font-size="12"><rect width="100%" height="100%" fill="white"/>']
    for seconds in np.arange(0.0, most_s, 0.5 if most_s < 5 else 1.0):
        x, y = at(0, seconds)
        parts.append(f'<path d="M{x:.0f} {y:.0f}H{width - 16}" stroke="#ddd"/>'
                     f'<text x="{x - 8:.0f}" y="{y + 4:.0f}" text-anchor="end">{seconds:g}</text>')
    for places in np.arange(0, most_places, 500):
        x, y = at(float(places), 0.0)
        parts.append(f'<text x="{x:.0f}" y="{y + 18:.0f}" text-anchor="middle">{places:.0f}</text>')
    for cracks, places, seconds in points:
        x, y = at(places, seconds)
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{2 + cracks / 8:.1f}" fill="#7a3fb0" '
                     f'fill-opacity="0.55"><title>{cracks} cracks</title></circle>')
    parts.append(f'<text x="{width / 2:.0f}" y="{height - 8}" text-anchor="middle">places weighed; larger dots: '
                 f'more cracks (5, 10, 20, 40)</text><text x="8" y="12">CPU s</text></svg>')
    path.write_text("\n".join(parts), encoding="utf-8")


def on_truth(folder: Path) -> None:
    """Table 6: plans on true surveys: cracks over 150 mm long and 2 mm wide are held or have a reason."""
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
    options.add_argument("--brute", type=int, default=200, help="small instances against brute force")
    options.add_argument("--growth", type=Path, help="SVG file for the growth of time")
    options.add_argument("--truth", type=Path, help="folder of truth files")
    chosen = options.parse_args()
    points = against_greedy(chosen.slabs)
    if chosen.growth is not None:
        draw_growth(points, chosen.growth)
    against_brute_force(chosen.brute)
    revising(chosen.slabs)
    steadiness(chosen.slabs)
    hard_rules(chosen.rules)
    if chosen.truth is not None:
        on_truth(chosen.truth)


if __name__ == "__main__":
    main()
