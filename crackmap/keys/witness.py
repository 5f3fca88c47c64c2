"""A place on the wood by which a maker sees that the drawing lies the right way round.

Two marks fix the slab on the machine, but their distance is the same when A
and B are swapped, and when the wrong face lies up. A third place tells: the bit
brought there must stand over a crack that can be seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike

from crackmap.records import FloatArray, Key, Survey, frozen_array

LEAST_TELLING = 15.0  # a place nearer than this to where a mistake would put it tells nothing by eye [mm]


@dataclass(frozen=True, slots=True, eq=False)
class WitnessPlace:
    """Where the bit must stand, and over what."""

    at: FloatArray  # (2,) in the slab frame [mm]
    over: str  # as the end of "the bit must stand over ..."
    # How far from there it stands with A and B swapped, or with the other face up, whichever is less. [mm]
    tells_by: float


def witness_place(survey: Survey, keys: Sequence[Key], a: ArrayLike, b: ArrayLike) -> WitnessPlace | None:
    """The place that tells most clearly of swapped marks and of the wrong face up.

    Parameters
    ----------
    survey : Survey
    keys : sequence of Key
        Of which one's crossing with its crack is chosen; without any, a point of the slab's edge.
    a, b : array_like, shape (2,)
        The marks gone by, in the slab frame. [mm]

    Returns
    -------
    WitnessPlace or None
        None where no place tells by `LEAST_TELLING` at least.
    """
    first, second = np.asarray(a, float), np.asarray(b, float)
    cracks = {crack.id: crack for crack in survey.cracks}
    places = [(key, _on_crack(key, cracks[key.cracks[0]].centreline)) for key in keys
              if key.cracks and key.cracks[0] in cracks]
    points = np.array([at for _, at in places]).reshape(-1, 2)
    names = [f"crack {key.cracks[0]}, in the middle of {key.id}" for key, _ in places]
    if not places:
        points = np.asarray(survey.outline, float)
        names = ["the slab's edge"] * len(points)
    tells = _told_apart(points, first, second)
    best = int(np.argmax(tells))
    if tells[best] < LEAST_TELLING:
        return None
    return WitnessPlace(frozen_array(points[best]), names[best], float(tells[best]))


def _on_crack(key: Key, centreline: FloatArray) -> FloatArray:
    """The crack's point nearest to the key's waist. [mm]"""
    line = shapely.LineString(centreline)
    return np.asarray(shapely.get_coordinates(line.interpolate(line.project(shapely.Point(key.centre))))[0])


def _told_apart(points: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """For each point the way to where it would be taken for with A and B swapped, or mirrored; the lesser. [mm]"""
    ahead = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    off = points - (a + b) / 2.0
    along, across = off @ ahead, off @ np.array([-ahead[1], ahead[0]])
    swapped = 2.0 * np.hypot(along, across)
    return np.asarray(np.minimum(swapped, np.minimum(2.0 * np.abs(across), 2.0 * np.abs(along)))
                      if np.abs(across).max() > LEAST_TELLING / 2.0 else swapped)
