"""Across the edge, from inside out: wood, then a dark rim (bark, wane, shadow) or none, then bench.

Each profile along a normal is split into the three in that order at the least
cost, so that the edge of the show face comes out, not the edge of the bark.
What each layer looks like is learnt near by: the wood and the bench from zones
to both sides of where the edge must lie, along some length of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_band import Band, ring_mean
from crackmap.survey.edge_features import YARDSTICK
from crackmap.survey.edge_mixture import Mixture, fit_mixture
from crackmap.survey.light import FloatImage, shade_and_tints

FloatArray = NDArray[np.float64]
BoolMask = NDArray[np.bool_]

# Columns of a profile's features: log shade, two log tints, log roughness along the edge.
# Spreads added to what a zone shows, so that a plain zone is not taken too literally.
_FLOOR = np.array([0.12, 0.04, 0.06, 0.25])
_NEIGHBOURHOOD_MM = 90.0  # along the edge, to both sides, that a zone is averaged over
_ROUGHNESS_MM = 8.0  # along the edge
_LEAST_ROUGHNESS = 0.01  # log light
# Light changes along a slab; the same wood somewhat darker or brighter.
_RELIT_WOOD = (np.array([-0.1, 0.0, 0.0, 0.0]), np.array([0.4, 0.03, 0.05, 0.2]), 0.15)
# Sapwood: paler than the heartwood beside it, of wood's own tint (red over green over blue), as smooth.
_SAPWOOD = (np.array([0.9, 0.35, -0.6, 0.1]), np.array([0.7, 0.2, 0.35, 0.4]), 0.15)
# Bark and deep shadow: a fifth of the wood's light and rougher, of hardly any tint.
_RIM = (np.array([-1.7, 0.2, -0.3, 0.8]), np.array([0.7, 0.25, 0.4, 0.7]))
_SHADOWED_BENCH = (np.array([-1.1, 0.0, 0.0, 0.0]), np.array([0.5, 0.08, 0.12, 0.4]), 0.1)
# Anything else, spread evenly; on the wood it is rarer (stains, knots) than beside it.
_UNKNOWN = -float(np.log([2.0, 1.0, 1.0, 4.0]).sum()) - 2.0
_LEAST_SAMPLES = 100  # to learn the wood's colours from
_MOST_COST = 4.0  # of one sample, so that a pebble or a knot cannot outvote its surroundings
_STEP_YARDSTICK = np.array([1.0, 2.5, 2.0])  # weight of shade and tints in a step's strength
_STEP_GAIN = 12.0  # cost taken off for a full step across the edge
_FULL_STEP = 1.5  # log light across one sample; stronger ones say no more


class Painted(Protocol):
    """End paint at some stations: its mean and spread in profile features."""

    @property
    def stations(self) -> BoolMask: ...
    @property
    def mean(self) -> FloatArray: ...
    @property
    def spread(self) -> FloatArray: ...


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """Features (N, M, 4) along the band's normals and where they can be relied on (N, M)."""

    features: FloatArray
    usable: BoolMask
    band: Band


def profiles_of(band: Band, light: FloatImage, usable: NDArray[np.uint8]) -> Profiles:
    """Shade, tints and roughness along the normals; `usable` is 255 where slab or bench is in plain view."""
    colour = shade_and_tints(band.unroll(light))
    shade = colour[..., 0]
    wiggle = ring_mean(np.abs(shade - np.roll(shade, 1, axis=0)), max(1, round(_ROUGHNESS_MM / 2 / band.step_mm)))
    rough = np.log(wiggle + _LEAST_ROUGHNESS)
    return Profiles(np.concatenate([colour, rough[..., None]], axis=-1), band.unroll(usable) > 200, band)


def split_cost(
    profiles: Profiles,
    wood_zone: tuple[float, float],
    bench_zone: tuple[float, float],
    known_wood: Mixture | None,
    paint: Sequence[Painted] = (),
) -> FloatArray:
    """Cost of placing the show face's edge before each sample, shape (N, M + 1).

    Parameters
    ----------
    profiles : Profiles
    wood_zone, bench_zone : (float, float)
        Offsets between which there is surely wood, surely bench. [mm]
    known_wood : Mixture or None
        The wood's colours learnt round the whole slab (sapwood among them).
    paint : sequence
        Each with `.stations`, `.mean` and `.spread`: end paint there counts as wood.
    """
    features = profiles.features
    wood, wood_spread = zone_moments(profiles, wood_zone)
    bench, bench_spread = zone_moments(profiles, bench_zone)
    as_wood = _log_density(features, wood, wood_spread)
    as_wood = _joined(as_wood, features, wood, wood_spread, _RELIT_WOOD)
    follows = wood * np.array([1.0, 0.0, 0.0, 1.0])
    as_wood = _joined(as_wood, features, follows, np.zeros_like(wood_spread), _SAPWOOD)
    if known_wood is not None:
        as_wood = np.logaddexp(as_wood, _known(features, known_wood, wood, wood_spread) + np.log(0.5))
    for end in paint:
        painted = _log_density(features[end.stations], end.mean[None], end.spread[None])
        as_wood[end.stations] = np.logaddexp(as_wood[end.stations], painted)
    in_shadow = _log_density(features, bench + _SHADOWED_BENCH[0], np.hypot(bench_spread, _SHADOWED_BENCH[1]))
    as_bench = np.logaddexp(_log_density(features, bench, bench_spread), in_shadow + np.log(_SHADOWED_BENCH[2]))
    as_rim = _log_density(features, follows + _RIM[0], np.broadcast_to(_RIM[1], wood.shape))
    as_rim = np.logaddexp(as_rim, in_shadow + np.log(0.5))
    as_wood = np.logaddexp(as_wood, _UNKNOWN - 1.5)
    as_rim = np.logaddexp(as_rim, _UNKNOWN)
    as_bench = np.logaddexp(as_bench, _UNKNOWN - 1.0)
    return _ordered(profiles, as_wood, as_rim, as_bench) - _STEP_GAIN * _step(profiles)


def learn_wood(profiles: Profiles, edge: FloatArray, reach: tuple[float, float] = (2.0, 22.0)) -> Mixture | None:
    """Colours between `reach` [mm] inside the edge found so far (N,), all round; None if none is in view."""
    offsets = profiles.band.offsets[None]
    inside = (offsets < edge[:, None] - reach[0]) & (offsets > edge[:, None] - reach[1]) & profiles.usable
    colours = (profiles.features[..., :3][inside] / YARDSTICK[:3]).astype(np.float32)
    return fit_mixture(colours, 5) if len(colours) >= _LEAST_SAMPLES else None


def zone_moments(profiles: Profiles, zone: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
    """Mean and spread (N, 4) of a zone, averaged along the edge; where little is seen, of the whole ring."""
    offsets = profiles.band.offsets
    columns = (offsets >= zone[0]) & (offsets <= zone[1])
    values = profiles.features[:, columns]
    weight = profiles.usable[:, columns, None].astype(float)
    reach = max(1, round(_NEIGHBOURHOOD_MM / profiles.band.step_mm))
    everywhere = max(weight.sum(), 1e-6)
    prior = 0.5  # samples a station that the whole ring speaks for
    count = ring_mean(weight.sum(axis=1), reach) + prior
    moments = []
    for power in (values, values * values):
        total = (power * weight).sum(axis=(0, 1)) / everywhere
        moments.append((ring_mean((power * weight).sum(axis=1), reach) + prior * total) / count)
    mean, square = moments
    return mean, np.sqrt(np.maximum(square - mean**2, 0.0) + _FLOOR**2)


def _log_density(features: FloatArray, mean: FloatArray, spread: FloatArray) -> FloatArray:
    """Log of a product of Gaussians up to a constant, shape (N, M)."""
    total = np.zeros(features.shape[:2])
    for k in range(features.shape[-1]):
        total -= 0.5 * ((features[..., k] - mean[:, k, None]) / spread[:, k, None]) ** 2 + np.log(spread[:, k, None])
    return total


def _joined(
    log: FloatArray,
    features: FloatArray,
    mean: FloatArray,
    spread: FloatArray,
    kind: tuple[FloatArray, FloatArray, float],
) -> FloatArray:
    """`log` joined by a variety of the material: moved, wider, of some weight."""
    moved, wider, weight = kind
    return np.asarray(np.logaddexp(log, _log_density(features, mean + moved, np.hypot(spread, wider)) + np.log(weight)))


def _known(features: FloatArray, known: Mixture, wood: FloatArray, spread: FloatArray) -> FloatArray:
    """Log density under the colours learnt round the slab, with the local roughness."""
    colour = known.log_density(np.ascontiguousarray(features[..., :3] / YARDSTICK[:3], np.float32))
    wide = np.hypot(spread[:, 3, None], 0.3)
    rough = -0.5 * ((features[..., 3] - wood[:, 3, None]) / wide) ** 2 - np.log(wide)
    return np.asarray(colour - float(np.log(YARDSTICK[:3]).sum()) + rough)


def _ordered(profiles: Profiles, as_wood: FloatArray, as_rim: FloatArray, as_bench: FloatArray) -> FloatArray:
    """Least cost of wood before each sample, then rim, then bench."""
    top = np.maximum(np.maximum(as_wood, as_rim), as_bench)
    sums = []
    for log in (as_wood, as_rim, as_bench):
        cost = np.minimum(top - log, _MOST_COST) * profiles.usable
        sums.append(np.concatenate([np.zeros((len(cost), 1)), np.cumsum(cost, axis=1)], axis=1))
    wood, rim, bench = sums
    beyond = bench[:, -1:] - bench + rim  # rim up to here, bench from here on
    best = np.minimum.accumulate(beyond[:, ::-1], axis=1)[:, ::-1] - rim
    spacing = profiles.band.offsets[1] - profiles.band.offsets[0]
    return np.asarray(ring_mean(wood + best, 1) * spacing)


def _step(profiles: Profiles) -> FloatArray:
    """Strength of the colour step before each sample, 0 to `_FULL_STEP`, shape (N, M + 1)."""
    colour = profiles.features[..., :3] * _STEP_YARDSTICK
    change = np.abs(np.diff(colour, axis=1)).sum(axis=-1) * (profiles.usable[:, 1:] & profiles.usable[:, :-1])
    strength = np.zeros((colour.shape[0], colour.shape[1] + 1))
    strength[:, 1:-1] = change
    return np.minimum(ring_mean(strength, 1), _FULL_STEP)
