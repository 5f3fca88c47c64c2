"""Sealed ends: paint or wax on the last centimetres of the show face.

Mills seal the ends against checking, and the brush runs over on to the face.
Such a strip is part of the face though it has neither the wood's colour nor its
grain. It is told from a shadow on the bench by its tint, which the bench has
not, in sun or in shade, and by being all of one colour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_layers import Moments, Profiles
from crackmap.survey.light import FloatImage

FloatArray = NDArray[np.float64]
BoolMask = NDArray[np.bool_]

_SAWN = 0.7  # cosine between normal and grain: nearer than 45 degrees is an end, not a side
_LEAST_END_MM = 40.0
_REACH_MM = (-4.0, 14.0)  # about the edge found so far, where paint is looked for
_FAR = 3.5  # spreads of tint from wood and from bench
_LEAST_FAR = 0.12  # log tint: whatever the spreads say, less is no other colour
_SKY = np.array([-0.20, 0.30])  # how far blue skylight moves the tints of a sunlit bench in shade
_DARKEST = -1.35  # log light against the wood: darker is a gap or deep shadow
_LEAST_SHARE = 0.3  # of an end's stations that show paint
# Log tint, median deviation: paint is of one colour.
_MOST_UNEVEN = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Paint:
    """One painted end: its stations (N,) and the paint's mean and spread (4,) in profile features."""

    stations: BoolMask
    mean: FloatArray
    spread: FloatArray


def painted_ends(
    profiles: Profiles, edge: FloatArray, grain: FloatArray, wood: Moments, bench: Moments
) -> list[Paint]:
    """Paint at each sawn end that has some.

    Parameters
    ----------
    profiles : Profiles
    edge : ndarray, shape (N,)
        Offset of the edge found so far at each station. [mm]
    grain : ndarray, shape (2,)
        Unit vector along the grain, in pixels (x, y).
    wood, bench : Moments
        What sure wood and sure bench look like at each station.
    """
    found = []
    offsets = profiles.band.offsets[None]
    for end in _ends(np.abs(profiles.band.normals @ grain) > _SAWN, profiles.band.step_mm):
        features = np.moveaxis(profiles.features[:, end], 0, -1)
        near = (offsets > edge[end, None] + _REACH_MM[0]) & (offsets < edge[end, None] + _REACH_MM[1])
        odd = _oddness(features, _at(wood, end), _at(bench, end)) * (near & profiles.usable[end])
        shows = (odd > 1).sum(axis=1) >= 2
        if shows.mean() < _LEAST_SHARE:
            continue
        # The most odd sample across a strip is its middle, and where the strip is
        # broad no pixel mixed with wood or bench.
        most = odd.max(axis=1)
        broad = shows & (most >= np.median(most[shows]))
        core = features[broad, odd[broad].argmax(axis=1)]
        middle = np.median(core, axis=0)
        uneven = 1.5 * np.median(np.abs(core - middle), axis=0)
        if max(uneven[1:3]) <= _MOST_UNEVEN:
            mixed = 0.7 * np.median(np.abs(features[odd > 1] - middle), axis=0)
            found.append(Paint(end, middle, np.maximum(np.maximum(uneven, mixed), [0.3, 0.05, 0.06, 0.6])))
    return found


def _at(moments: Moments, stations: BoolMask) -> Moments:
    return Moments(moments.mean[stations, None], moments.spread[stations, None])


def _oddness(features: FloatImage, wood: Moments, bench: Moments) -> FloatArray:
    """How far the tint of an end's samples (N, M, 4) is from wood's and from bench's; above 1 it is neither."""
    tints = features[..., 1:3]
    from_wood = _distance(tints - wood.mean[..., 1:3], wood.spread[..., 1:3])
    from_bench = _distance(_beyond_sky(tints - bench.mean[..., 1:3]), bench.spread[..., 1:3])
    light = features[..., 0] > wood.mean[..., 0] + _DARKEST
    return np.asarray(np.minimum(from_wood, from_bench) * light)


def _distance(difference: FloatArray, spread: FloatArray) -> FloatArray:
    """Tint distance; above 1 is another colour."""
    limit = np.maximum(_FAR * spread, _LEAST_FAR)
    return np.asarray(np.hypot(*np.moveaxis(difference / limit, -1, 0)))


def _beyond_sky(difference: FloatArray) -> FloatArray:
    """What is left of a tint difference from the bench once skylight has explained its part."""
    share = np.clip((difference @ _SKY) / (_SKY @ _SKY), 0.0, 1.0)
    return np.asarray(difference - share[..., None] * _SKY)


def _ends(sawn: BoolMask, step: float) -> list[BoolMask]:
    """Runs of stations along sawn ends, round the ring, long enough to be one."""
    if sawn.all() or not sawn.any():
        return []
    first = int(np.flatnonzero(~sawn)[0])
    rolled = np.roll(sawn, -first)
    bounds = np.flatnonzero(np.diff(np.concatenate([[False], rolled, [False]]).astype(np.int8)))
    runs = []
    for begin, end in bounds.reshape(-1, 2):
        if (end - begin) * step >= _LEAST_END_MM:
            run = np.zeros(len(sawn), bool)
            run[begin:end] = True
            runs.append(np.roll(run, first))
    return runs
