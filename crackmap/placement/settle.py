"""Chosen keys moved to the millimetre: the stations that were weighed lie further apart than a maker sets out.

Beside the best stations every place a millimetre on is weighed once more, all
keys at once, as often as that still moves one. With sizes and counts as they
are the cost has one valley, so that a photo with a little other noise, or
stations that fall elsewhere, lead to the same place.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from crackmap.placement.candidates import SET_OUT, Candidates
from crackmap.placement.crossings import find_crossings
from crackmap.placement.ground import Ground
from crackmap.placement.pockets import Pockets, lay_pockets
from crackmap.placement.rules import keeping_all
from crackmap.placement.solved import Solved
from crackmap.placement.user_keys import is_refused
from crackmap.records import Edits
from crackmap.settings import PlacementSettings

STEP = 1.0  # [mm]


def places_beside(ground: Ground, solved: Solved, edits: Edits, settings: PlacementSettings,
                  within: float | None = None) -> Pockets:
    """Sound places up to a station away from each chosen key that may move, or `within`, in steps of a millimetre."""
    crossings, pockets = solved.candidates.crossings, solved.candidates.pockets
    movable = [k for k in solved.chosen if not solved.candidates.needed[k]]
    reach = int(np.ceil((settings.station_step if within is None else within) / STEP))
    shifts = np.array([s for s in range(-reach, reach + 1) if s], float) * STEP
    kinds, centres, angles = [np.zeros(0, np.int64)], [np.zeros((0, 2))], [np.zeros(0)]
    for k in movable:
        n = next(n for n in solved.asking if crossings.held[k, n])
        line, arc = ground.site.lines[n], float(crossings.arc[k, n])
        at = np.concatenate([[arc], arc + shifts[(arc + shifts >= 0.0) & (arc + shifts <= line.length)]])
        middle, direction = line.frames(at, pockets.cuttings[pockets.kind[k]].half_width)
        kinds.append(np.full(len(at) - 1, pockets.kind[k]))
        centres.append(pockets.centre[k] + middle[1:] - middle[0])
        angles.append(pockets.angle_deg[k] + direction[1:] - direction[0])
    beside = lay_pockets(ground.cuttings, np.concatenate(kinds),
                         np.asarray(np.round(np.concatenate(centres), SET_OUT), np.float64),
                         np.asarray(np.round(np.concatenate(angles), SET_OUT) % 180.0, np.float64))
    beside = beside.take(keeping_all(beside, ground.site, ground.rules))
    return beside.take(~is_refused(beside.centre, edits, settings))


def in_hand(solved: Solved, ground: Ground) -> tuple[Pockets, NDArray[np.bool_], NDArray[np.bool_]]:
    """Our keys that will be cut; which of them must not move, and which should not."""
    candidates = solved.candidates
    ours = solved.numbers[candidates.user[solved.numbers] < 0]
    # The family's sizes come first among the cuttings, and only they are ours.
    pockets = dataclasses.replace(candidates.pockets.take(ours), cuttings=ground.cuttings)
    return pockets, candidates.needed[ours], candidates.stay[ours]


def with_settled(solved: Solved, near: Solved, ground: Ground) -> Solved:
    """The plan of `near`, whose candidates are those in hand and beside them, among all of `solved`'s candidates."""
    before, after = solved.candidates, near.candidates
    ours = np.array([k for k in near.chosen if after.user[k] < 0], np.int64)
    users = {int(after.user[k]): k for k in near.chosen if after.user[k] >= 0}
    count = len(before.pockets)
    added = after.pockets.take(ours)
    joined = Pockets(before.pockets.cuttings, np.concatenate([before.pockets.kind, added.kind]),
                     np.vstack([before.pockets.centre, added.centre]),
                     np.concatenate([before.pockets.angle_deg, added.angle_deg]))
    crossings = before.crossings.and_also(find_crossings(added, ground.site))
    # Keys that must stay are among those added now; their first selves step back.
    needed = np.concatenate([before.needed & (before.user >= 0), after.needed[ours]])
    candidates = Candidates(joined, crossings, np.concatenate([before.price, after.price[ours]]),
                            np.concatenate([before.user, np.full(len(ours), -1)]), needed,
                            np.concatenate([before.stay & False, after.stay[ours]]))
    chosen_users = [int(k) for k in np.flatnonzero(before.user >= 0) if int(before.user[k]) in users]
    chosen = tuple(sorted([*chosen_users, *range(count, count + len(ours))]))
    return dataclasses.replace(solved, candidates=candidates, chosen=chosen, objective=near.objective)
