"""Where on the bed a slab can lie, and which pockets and marks each such place brings into reach.

Terminology
-----------
Bed     the machine's working area; x to the right, y to the back, its front
        left corner at 0, 0.
Spot    one way to lay the slab on the bed: a turn, then a shift.
Reach   the bed less a rim, by which the slab may lie amiss when it is put on
        the bed by hand.

In one direction a pocket is in reach over an interval of shifts. The largest
sets in reach are found at the ends of such intervals, so those ends are all
that need be tried; a spot is a pair of them, one for x and one for y.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.frames import turned
from crackmap.keys.outline import bounding_box, moved
from crackmap.records import FloatArray, Key
from crackmap.shop import Bed

_SAME = 1e-6  # shifts nearer than this are one [mm]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Lie:
    """The slab turned, not yet shifted: boxes of its outline, pockets and marks. [mm]"""

    turn_deg: float
    slab: FloatArray  # (4,) x least, y least, x most, y most
    pockets: FloatArray  # (K, 4)
    marks: FloatArray  # (M, 4), boxes without an extent

    @property
    def things(self) -> FloatArray:
        """Pockets, then marks, (K + M, 4)."""
        return np.concatenate([self.pockets, self.marks])


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """A place of the slab, and what is in reach there."""

    lie: Lie
    shift: tuple[float, float]  # [mm]
    pockets: BoolArray  # (K,)
    marks: BoolArray  # (M,)


def lie_of(outline: FloatArray, keys: Sequence[Key], marks: FloatArray, turn_deg: float) -> Lie:
    """The slab turned by `turn_deg` about its origin. `outline` has shape (N, 2), `marks` (M, 2). [mm]"""
    slab = turned(outline, turn_deg)
    pockets = [bounding_box(moved(key.pocket, turn_deg, (0.0, 0.0))) for key in keys]
    points = turned(marks, turn_deg)
    return Lie(turn_deg, np.concatenate([slab.min(axis=0), slab.max(axis=0)]),
               np.array(pockets, float).reshape(-1, 4), np.concatenate([points, points], axis=1))


def shift_limits(lie: Lie, bed: Bed, axis: int) -> tuple[float, float]:
    """Least and greatest shift along x (0) or y (1) that the sides which are not open allow. [mm]"""
    low_side, high_side = (("left", "right"), ("front", "back"))[axis]
    size = (bed.x, bed.y)[axis]
    least = -math.inf if low_side in bed.open_sides else -bed.table_beyond - lie.slab[axis]
    most = math.inf if high_side in bed.open_sides else size + bed.table_beyond - lie.slab[axis + 2]
    return float(least), float(most)


def lies_on(lie: Lie, bed: Bed) -> bool:
    """True where the slab can lie so on the bed at all."""
    return all(least <= most + _SAME for least, most in (shift_limits(lie, bed, axis) for axis in (0, 1)))


def spots_of(lie: Lie, bed: Bed, rim: float) -> list[Spot]:
    """Spots with the largest sets of pockets and marks in reach. `rim` is what stays free round the bed. [mm]"""
    if not lies_on(lie, bed):
        return []
    shifts = [_shifts(lie, bed, rim, axis) for axis in (0, 1)]
    inside = [_in_reach(lie, bed, rim, axis, shifts[axis]) for axis in (0, 1)]
    if not bed.clamps:  # then a set that lies in another along one axis never adds anything
        for axis in (0, 1):
            kept = _largest(inside[axis])
            shifts[axis], inside[axis] = shifts[axis][kept], inside[axis][kept]
    both = inside[0][:, None, :] & inside[1][None, :, :]
    if bed.clamps:
        both &= ~_under_clamps(lie, bed, shifts)
    rows = both.reshape(-1, both.shape[2])
    kept = _largest(rows)
    x, y = np.divmod(kept, len(shifts[1]))
    count = len(lie.pockets)
    return [Spot(lie, (float(shifts[0][i]), float(shifts[1][j])), rows[k, :count], rows[k, count:])
            for i, j, k in zip(x, y, kept, strict=True)]


def _shifts(lie: Lie, bed: Bed, rim: float, axis: int) -> FloatArray:
    """Shifts worth trying: where a thing comes into reach or leaves it, and the limits."""
    least, most = shift_limits(lie, bed, axis)
    size = (bed.x, bed.y)[axis]
    things = lie.things
    tried = [rim - things[:, axis], size - rim - things[:, axis + 2], np.array([least, most])]
    for clamp in bed.clamps:
        low, high = clamp[axis], clamp[axis] + clamp[axis + 2]
        tried += [high - lie.pockets[:, axis], low - lie.pockets[:, axis + 2]]
    every = np.concatenate(tried)
    every = every[np.isfinite(every) & (every >= least - _SAME) & (every <= most + _SAME)]
    if not len(every):  # nothing to reach and no limit: anywhere will do
        return np.array([0.0])
    return np.unique(np.round(np.clip(every, least, most), 6))


def _in_reach(lie: Lie, bed: Bed, rim: float, axis: int, shifts: FloatArray) -> BoolArray:
    """(S, K + M) which things are in reach at each shift, along one axis."""
    size = (bed.x, bed.y)[axis]
    things = lie.things
    low, high = things[None, :, axis] + shifts[:, None], things[None, :, axis + 2] + shifts[:, None]
    return np.asarray((low >= rim - _SAME * 10) & (high <= size - rim + _SAME * 10))


def _under_clamps(lie: Lie, bed: Bed, shifts: list[FloatArray]) -> BoolArray:
    """(S, T, K + M) which pockets and marks lie under a clamp at each pair of shifts."""
    things = lie.things
    under = np.zeros((len(shifts[0]), len(shifts[1]), len(things)), bool)
    for clamp in bed.clamps:
        over = []
        for axis in (0, 1):
            low = things[None, :, axis] + shifts[axis][:, None]
            high = things[None, :, axis + 2] + shifts[axis][:, None]
            over.append((high > clamp[axis] + 1e-5) & (low < clamp[axis] + clamp[axis + 2] - 1e-5))
        under |= over[0][:, None, :] & over[1][None, :, :]
    return under


def _largest(rows: BoolArray) -> NDArray[np.int64]:
    """Indices of rows that lie in no other row; of equal ones the first. In order."""
    _, first = np.unique(rows, axis=0, return_index=True)
    first = np.sort(first)
    kept = rows[first].astype(np.float32)
    size = kept.sum(axis=1)
    shared = kept @ kept.T
    inside = (shared >= size[:, None] - 0.5) & (size[None, :] > size[:, None] + 0.5)
    return np.asarray(first[~inside.any(axis=1)])


def slack(spot: Spot, bed: Bed, rim: float, pockets: BoolArray, marks: BoolArray) -> FloatArray:
    """Shifts that keep these pockets and marks in reach: rows of least and greatest, for x and y, (2, 2). [mm]

    Without clamps; with them the spot stays where it is.
    """
    if bed.clamps:
        return np.array([[s, s] for s in spot.shift])
    things = spot.lie.things[np.concatenate([pockets, marks])]
    ends = []
    for axis in (0, 1):
        least, most = shift_limits(spot.lie, bed, axis)
        size = (bed.x, bed.y)[axis]
        ends.append((max(least, float((rim - things[:, axis]).max(initial=-math.inf))),
                     min(most, float((size - rim - things[:, axis + 2]).min(initial=math.inf)))))
    return np.array([[s, s] if low > high else [low, high]
                     for (low, high), s in zip(ends, spot.shift, strict=True)])
