"""Keys of neighbouring cracks brought into line.

Keys on cracks that run side by side look meant where they stand in one line or
are plainly staggered, and like a slip where they miss each other's line by a
little. The cost of such a miss joins lines that otherwise have nothing to do
with each other, so it is not part of the exact search: once a plan is found,
keys go a few millimetres along their cracks as long as the row gains more than
the plan loses. Each move is the best of all keys'; the first wins a tie.

Where symmetry is asked for, keys on cracks that lie like mirror images about
the slab's long axis are drawn opposite each other in the same way.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.placement.candidates import Candidates
from crackmap.placement.pockets import Pockets
from crackmap.placement.problem import Problem, plan_cost
from crackmap.placement.score import angle_to_grain
from crackmap.placement.site import Site
from crackmap.placement.solved import Solved
from crackmap.records import FloatArray
from crackmap.settings import PlacementSettings

_WORTH_MOVING = 1e-4  # [keys]
_MOST_MOVES = 3  # for each key: one is usual, and a neighbour's move may call for another


def miss_costs(candidates: Candidates, keys: NDArray[np.int64], others: NDArray[np.int64], site: Site,
               settings: PlacementSettings) -> FloatArray:
    """What each of `keys` costs by missing the lines of each of `others`, shape (keys, others). [keys]

    Nothing in line, most at `row_miss`, nothing again from twice that on.
    """
    held = candidates.crossings.held
    apart = (held[keys].astype(np.int64) @ held[others].astype(np.int64).T) == 0
    cost = np.where(apart, _row_costs(candidates.pockets, keys, others, settings), 0.0)
    if settings.symmetry_weight > 0.0:
        cost += np.where(apart, _mirror_costs(candidates.pockets.centre, keys, others, site, settings), 0.0)
    return cost


def _row_costs(pockets: Pockets, keys: NDArray[np.int64], others: NDArray[np.int64],
               settings: PlacementSettings) -> FloatArray:
    a, b = pockets.angle_deg[keys][:, None], pockets.angle_deg[others][None, :]
    turn = (b - a + 90.0) % 180.0 - 90.0
    along = np.radians(a + turn / 2.0)
    apart = pockets.centre[others][None, :] - pockets.centre[keys][:, None]
    sideways = np.abs(apart[..., 0] * np.cos(along) + apart[..., 1] * np.sin(along))
    miss = np.abs(apart[..., 1] * np.cos(along) - apart[..., 0] * np.sin(along))
    is_row = (angle_to_grain(a, b) <= settings.row_parallel) & (sideways <= settings.row_within)
    share = np.minimum(miss / (2.0 * settings.row_miss), 1.0)
    return np.where(is_row, settings.row_weight * np.sin(np.pi * share) ** 2, 0.0)


def _mirror_costs(centre: FloatArray, keys: NDArray[np.int64], others: NDArray[np.int64], site: Site,
                  settings: PlacementSettings) -> FloatArray:
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(site.slab if site.top is None else site.top))
    sides = np.diff(corners[:3], axis=0)
    axis = sides[int(np.hypot(*sides.T).argmax())]
    axis = axis / np.hypot(*axis)
    off = centre - corners[:4].mean(axis=0)
    along, side = off @ axis, off @ np.array([-axis[1], axis[0]])
    a, b = side[keys][:, None], side[others][None, :]
    miss = np.abs(along[keys][:, None] - along[others][None, :])
    is_pair = ((a * b < 0.0) & (np.abs(a + b) <= settings.symmetry_within)
               & (miss < 2.0 * settings.row_miss))
    # Unlike in a row, staggered is no better than a miss.
    share = np.minimum(miss / (2.0 * settings.row_miss), 1.0)
    return np.where(is_pair, settings.symmetry_weight * share**2, 0.0)


def line_up(near: Solved, problem: Problem, settings: PlacementSettings) -> Solved:
    """The plan with its keys exchanged for places beside them where a row gains more than the plan loses.

    Parameters
    ----------
    near : Solved
        The plan among the places that its keys may go to; the places of each
        key are those of its size that lie nearest to it.
    problem : Problem
        Over the candidates of `near`.
    settings : PlacementSettings
    """
    candidates = near.candidates
    chosen = np.array(near.chosen, np.int64)
    cost = start = plan_cost(problem, frozenset(chosen.tolist()))
    if not np.isfinite(cost):
        return near
    places = _places_of(candidates, chosen, settings)
    for _ in range(_MOST_MOVES * len(chosen)):
        found = _best_move(near, chosen, places, problem, cost, settings)
        if found is None:
            break
        which, place, cost = found
        chosen[which] = place
    return dataclasses.replace(near, chosen=tuple(sorted(chosen.tolist())),
                               objective=near.objective + cost - start)


def _places_of(candidates: Candidates, chosen: NDArray[np.int64],
               settings: PlacementSettings) -> list[NDArray[np.int64]]:
    """For each key the numbers of the places that it may go to; none for a key that should stay."""
    pockets, held = candidates.pockets, candidates.crossings.held
    free = np.setdiff1d(np.arange(len(pockets)), chosen)
    away = np.hypot(*(pockets.centre[free][:, None] - pockets.centre[chosen][None]).transpose(2, 0, 1))
    owner = away.argmin(axis=1) if len(chosen) else np.zeros(0, np.int64)
    places = []
    for i, k in enumerate(chosen.tolist()):
        fits = ((owner == i) & (away[:, i] <= settings.row_reach) & (pockets.kind[free] == pockets.kind[k])
                & (held[free] == held[k]).all(axis=1))
        places.append(free[:0] if candidates.needed[k] or candidates.stay[k] else free[fits])
    return places


def _best_move(near: Solved, chosen: NDArray[np.int64], places: list[NDArray[np.int64]], problem: Problem, cost: float,
               settings: PlacementSettings) -> tuple[int, int, float] | None:
    """Which key, where to, and what the plan costs then; None where nothing is gained."""
    best, found = _WORTH_MOVING, None
    missed = miss_costs(near.candidates, chosen, chosen, near.site, settings).sum(axis=1)
    for i, (k, here) in enumerate(zip(chosen.tolist(), missed.tolist(), strict=True)):
        if here <= best or not len(places[i]):
            continue
        others = np.delete(chosen, i)
        spared = here - miss_costs(near.candidates, places[i], others, near.site, settings).sum(axis=1)
        for place, gain in zip(places[i].tolist(), spared.tolist(), strict=True):
            if gain <= best or place == k:
                continue
            trial = plan_cost(problem, frozenset([*others.tolist(), place]))
            if gain - (trial - cost) > best:
                best, found = gain - (trial - cost), (i, place, trial)
    return found
