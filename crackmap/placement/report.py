"""A solved plan in records and words: keys with reasons and checks, cracks without, warnings."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.keys.checks import depth_checks, outline_checks
from crackmap.keys.outline import moved
from crackmap.placement.reasons import key_reasons
from crackmap.placement.rules import REPORT_WITHIN, measure_all
from crackmap.placement.solved import Solved
from crackmap.placement.unheld import unheld_cracks
from crackmap.placement.user_keys import below_at
from crackmap.placement.worries import plan_warnings
from crackmap.records import Check, Edits, FloatArray, Key, Placement, Survey, frozen_array
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop

_SAID_BY_KEY_CHECKS = ("bit reaches", "floor")  # keys/checks.py reports these by its own names


def explain(solved: Solved, survey: Survey, shop: Shop, edits: Edits,
            settings: PlacementSettings) -> Placement:
    """The placement that a solved plan stands for."""
    numbers = solved.numbers
    numbers = numbers[reading_order(solved.candidates.pockets.centre[numbers], survey.outline)]
    checks = [(*found, _position(survey, centre, settings)) for found, centre in
              zip(_checks(solved, numbers, shop, settings), solved.candidates.pockets.centre[numbers], strict=True)]
    keys = tuple(_key(solved, int(k), f"K{n}", numbers, checks[n - 1], edits, shop, settings)
                 for n, k in enumerate(numbers, start=1))
    return Placement(keys, unheld_cracks(solved, survey, keys, shop, settings),
                     (*solved.warnings, *plan_warnings(solved, keys, shop, settings)), objective=solved.objective)


def reading_order(centres: FloatArray, outline: FloatArray) -> NDArray[np.int64]:
    """Order along the slab's long side from the left, then from the far side. [mm] in, indices out.

    `centres` has shape (K, 2), `outline` (N, 2).
    """
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.MultiPoint(outline)))
    sides = np.diff(corners[:3], axis=0)
    along = sides[int(np.hypot(*sides.T).argmax())]
    along = along / np.hypot(*along)
    if (along[0], along[1]) < (0.0, 0.0):
        along = -along
    across = np.array([-along[1], along[0]])
    return np.lexsort((-np.round(centres @ across), np.round(centres @ along)))


def _key(solved: Solved, k: int, name: str, numbers: NDArray[np.int64], checks: tuple[Check, ...],
         edits: Edits, shop: Shop, settings: PlacementSettings) -> Key:
    candidates = solved.candidates
    pockets, user = candidates.pockets, int(candidates.user[k])
    cutting = pockets.cuttings[pockets.kind[k]]
    centre, angle = pockets.centre[k], float(pockets.angle_deg[k]) % 180.0
    held = np.flatnonzero(candidates.crossings.held[k])
    cracks = tuple(solved.site.lines[n].crack_at(candidates.crossings.arc[k, n]) for n in held)
    origin = "suggested" if user < 0 else "fixed" if edits.keys[user].fixed else "added"
    return Key(name, tuple(dict.fromkeys(cracks)), frozen_array(centre), angle, cutting.shape,
               cutting.size.name, moved(cutting.shape.pocket, angle, centre),
               moved(cutting.shape.key, angle, centre), origin,
               key_reasons(solved, k, numbers, origin, shop, settings), checks)


def _checks(solved: Solved, numbers: NDArray[np.int64], shop: Shop,
            settings: PlacementSettings) -> list[tuple[Check, ...]]:
    """Rules, distance to the other keys, and what keys/ checks, for each chosen candidate."""
    candidates = solved.candidates
    pockets = candidates.pockets.take(numbers)
    figures = measure_all(pockets, solved.site, solved.rules)
    shapes = pockets.shapes
    of_outline = {kind: outline_checks(pockets.cuttings[kind].shape, shop.bit, shop.fit)
                  for kind in np.unique(pockets.kind).tolist()}
    checks = []
    for k, shape in enumerate(shapes):
        placed = [Check(rule.name, bool(value >= rule.limit), _figure(value), rule.limit, rule.unit,
                        rule.says)
                  for rule, value in zip(solved.rules, figures[k], strict=True)
                  if rule.name not in _SAID_BY_KEY_CHECKS]
        others = [float(shape.distance(other)) for j, other in enumerate(shapes) if j != k]
        nearest = min(others, default=np.inf)
        placed.append(Check("other keys", nearest >= settings.key_gap, _figure(nearest), settings.key_gap,
                            "mm", "wood between this pocket and the nearest other"))
        placed.append(_bridges(candidates.crossings.held[numbers[k]]))
        cutting = pockets.cuttings[pockets.kind[k]]
        checks.append((*placed, *of_outline[int(pockets.kind[k])],
                       *depth_checks(cutting.shape, shop, solved.site.thickness,
                                     below_at(shape, solved.site))))
    return checks


def _position(survey: Survey, centre: FloatArray, settings: PlacementSettings) -> Check:
    """How sure the key's place is by the datum: three sigma should stay within the wood kept at the edge."""
    sigma, limit = float(survey.scale.sigma_at(centre)[0]), settings.edge_margin / 3.0
    return Check("place by the datum", sigma <= limit, round(sigma, 2), round(limit, 2), "mm",
                 "one sigma of the pocket's place on the machine, at most; more or better markers lessen it")


def _bridges(held: NDArray[np.bool_]) -> Check:
    return Check("bridges a crack", bool(held.any()), int(held.sum()), 1, "",
                 "cracks that run across it, at least")


def _figure(value: float) -> float | str:
    return round(float(value), 2) if value <= REPORT_WITHIN else f"over {REPORT_WITHIN:.0f}"

