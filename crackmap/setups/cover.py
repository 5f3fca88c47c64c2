"""Fewest spots that bring every pocket into reach: set cover, solved exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from crackmap.records import FloatArray
from crackmap.setups.spots import BoolArray, Spot

# Less than a set-up however many there are: these only choose among equals.
_NO_MARK = 4e-3  # for each of two marks that is not in reach
_TURNED = {0: 0.0, 180: 1e-3, 90: 2e-3, -90: 2e-3}  # a slab that lies lengthwise is easier to carry and to think of
_SKEW = 3e-3


def fewest_spots(spots: Sequence[Spot], coverable: BoolArray, home_deg: float) -> list[Spot]:
    """The spots to use, each needed.

    Parameters
    ----------
    spots : sequence of Spot
        What there is to choose from.
    coverable : ndarray of bool, shape (K,)
        Pockets that at least one spot reaches; the others are left out.
    home_deg : float
        The turn at which the slab lies lengthwise.
    """
    if not coverable.any():
        return []
    reached = np.array([spot.pockets for spot in spots])[:, coverable]
    cost = np.array([_cost(spot, home_deg) for spot in spots])
    found = milp(cost, integrality=np.ones(len(spots)), bounds=Bounds(0, 1),
                 constraints=LinearConstraint(reached.T.astype(float), lb=1.0))
    chosen = _greedy(reached) if found.x is None else [int(i) for i in np.flatnonzero(found.x > 0.5)]
    return [spots[i] for i in chosen]


def _cost(spot: Spot, home_deg: float) -> float:
    off = round((spot.lie.turn_deg - home_deg + 180.0) % 360.0 - 180.0)
    turned = _TURNED.get(180 if off == -180 else off, _SKEW)
    return float(1.0 + turned + _NO_MARK * max(0, 2 - int(spot.marks.sum())))


def _greedy(reached: BoolArray) -> list[int]:
    """The spot that adds most, again and again: for the case that the solver gives up."""
    left = np.ones(reached.shape[1], bool)
    chosen = []
    while left.any():
        best = int(np.argmax((reached & left).sum(axis=1)))
        chosen.append(best)
        left &= ~reached[best]
    return chosen


def shared_out(chosen: Sequence[Spot], bed_middle: FloatArray) -> list[BoolArray]:
    """Which pockets each spot cuts, each pocket in one: where it lies nearest to the bed's middle.

    `bed_middle` has shape (2,).
    """
    away = []
    for spot in chosen:
        middle = (spot.lie.pockets[:, :2] + spot.lie.pockets[:, 2:]) / 2.0 + spot.shift
        away.append(np.where(spot.pockets, np.hypot(*(middle - bed_middle).T), np.inf))
    nearest = np.argmin(np.array(away), axis=0)
    reached = np.isfinite(np.array(away)).any(axis=0)
    return [reached & (nearest == number) for number in range(len(chosen))]
