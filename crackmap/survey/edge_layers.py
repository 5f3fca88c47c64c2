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

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_band import Band, ring_mean
from crackmap.survey.edge_colour import colour_of
from crackmap.survey.edge_features import YARDSTICK
from crackmap.survey.edge_mixture import Mixture, fit_mixture
from crackmap.survey.light import FloatImage

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
_UNKNOWN_WOOD, _UNKNOWN_RIM, _UNKNOWN_BENCH = (float(np.exp(_UNKNOWN - rarer)) for rarer in (1.5, 0.0, 1.0))
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
class Moments:
    """Mean and spread of each feature at each station, (N, 4) both."""

    mean: FloatArray
    spread: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """Features along the band's normals, a plane each (4, N, M), and where they can be relied on (N, M)."""

    features: FloatImage
    usable: BoolMask
    band: Band


def profiles_of(band: Band, pixels: NDArray[np.uint8], usable: BoolMask) -> Profiles:
    """Shade, tints and roughness along the normals; `usable`: where slab or bench is in plain view.

    `pixels` has shape (H, W, 3), `usable` (H, W).
    """
    colour = colour_of(band.unroll(pixels))
    shade = colour[..., 0]
    wiggle = ring_mean(cv2.absdiff(shade, np.roll(shade, 1, axis=0)), max(1, round(_ROUGHNESS_MM / 2 / band.step_mm)))
    rough = np.log(wiggle + _LEAST_ROUGHNESS).astype(np.float32)
    plain = band.unroll(usable.view(np.uint8) * np.uint8(255)) > 200
    return Profiles(np.stack([*cv2.split(colour), rough]), plain, band)


def split_cost(
    profiles: Profiles,
    wood: Moments,
    bench: Moments,
    known_wood: Mixture | None,
    paint: Sequence[Painted] = (),
) -> FloatImage:
    """Cost of placing the show face's edge before each sample, shape (N, M + 1).

    Parameters
    ----------
    profiles : Profiles
    wood, bench : Moments
        What sure wood and sure bench look like at each station.
    known_wood : Mixture or None
        The wood's colours learnt round the whole slab (sapwood among them).
    paint : sequence
        Each with `.stations`, `.mean` and `.spread`: end paint there counts as wood.
    """
    features = profiles.features
    follows = wood.mean * np.array([1.0, 0.0, 0.0, 1.0])
    as_wood = _density(features, wood.mean, wood.spread)
    as_wood += _variety(features, wood, _RELIT_WOOD)
    as_wood += _variety(features, Moments(follows, np.zeros_like(wood.spread)), _SAPWOOD)
    if known_wood is not None:
        as_wood += _known(features, known_wood, wood)
    for end in paint:
        as_wood[end.stations] += _density(features[:, end.stations], end.mean[None], end.spread[None])
    in_shadow = _variety(features, bench, _SHADOWED_BENCH)
    as_bench = _density(features, bench.mean, bench.spread) + in_shadow
    in_shadow *= np.float32(0.5 / _SHADOWED_BENCH[2])
    as_rim = _density(features, follows + _RIM[0], np.broadcast_to(_RIM[1], wood.mean.shape)) + in_shadow
    as_wood += np.float32(_UNKNOWN_WOOD)
    as_rim += np.float32(_UNKNOWN_RIM)
    as_bench += np.float32(_UNKNOWN_BENCH)
    return _ordered(profiles, as_wood, as_rim, as_bench) - np.float32(_STEP_GAIN) * _step(profiles)


def learn_wood(profiles: Profiles, edge: FloatArray, reach: tuple[float, float] = (2.0, 22.0)) -> Mixture | None:
    """Colours between `reach` [mm] inside the edge found so far (N,), all round; None if none is in view."""
    offsets = profiles.band.offsets[None]
    inside = (offsets < edge[:, None] - reach[0]) & (offsets > edge[:, None] - reach[1]) & profiles.usable
    colours = (profiles.features[:3, inside].T / YARDSTICK[:3]).astype(np.float32)
    return fit_mixture(colours, 5) if len(colours) >= _LEAST_SAMPLES else None


def zone_moments(profiles: Profiles, zone: tuple[float, float]) -> Moments:
    """Look of a zone, averaged along the edge; where little of it is seen, round the whole ring."""
    offsets = profiles.band.offsets
    columns = (offsets >= zone[0]) & (offsets <= zone[1])
    values = profiles.features[:, :, columns]
    weight = profiles.usable[:, columns].astype(np.float32)
    reach = max(1, round(_NEIGHBOURHOOD_MM / profiles.band.step_mm))
    everywhere = max(float(weight.sum()), 1e-6)
    prior = 0.5  # samples a station that the whole ring speaks for
    count = ring_mean(weight.sum(axis=1), reach)[:, None] + prior
    moments = []
    for sums in (np.einsum("knm,nm->nk", values, weight), np.einsum("knm,knm,nm->nk", values, values, weight)):
        total = sums.sum(axis=0, dtype=float) / everywhere
        moments.append((ring_mean(sums, reach) + prior * total) / count)
    mean, square = moments
    return Moments(mean, np.sqrt(np.maximum(square - mean**2, 0.0) + _FLOOR**2))


def _density(features: FloatImage, mean: FloatArray, spread: FloatArray) -> FloatImage:
    """Product of Gaussians up to a constant, shape (N, M)."""
    total: FloatImage | None = None
    for plane, middle, width in zip(features, mean.T.astype(np.float32), spread.T.astype(np.float32), strict=True):
        away = (plane - middle[:, None]) * (np.float32(0.5**0.5) / width[:, None])
        away *= away
        total = away if total is None else np.add(total, away, out=total)
    assert total is not None
    return np.asarray(cv2.exp(-total) / np.prod(spread, axis=1).astype(np.float32)[:, None], np.float32)


def _variety(features: FloatImage, known: Moments, kind: tuple[FloatArray, FloatArray, float]) -> FloatImage:
    """Density of a variety of a material: moved, wider, of some weight."""
    moved, wider, weight = kind
    density = _density(features, known.mean + moved, np.hypot(known.spread, wider))
    density *= np.float32(weight)
    return density


def _known(features: FloatImage, known: Mixture, wood: Moments) -> FloatImage:
    """Half the density under the colours learnt round the slab, with the local roughness."""
    colour = known.log_density(np.moveaxis(features[:3], 0, -1) / YARDSTICK[:3])
    wide = np.hypot(wood.spread[:, 3:], 0.3)
    rough = _density(features[3:], wood.mean[:, 3:], wide)
    rough *= cv2.exp(colour) * np.float32(0.5 / np.prod(YARDSTICK[:3]))
    return rough


def _ordered(profiles: Profiles, as_wood: FloatImage, as_rim: FloatImage, as_bench: FloatImage) -> FloatImage:
    """Least cost of wood before each sample, then rim, then bench."""
    top = cv2.log(cv2.max(cv2.max(as_wood, as_rim), as_bench))
    sums = []
    for density in (as_wood, as_rim, as_bench):
        cost = cv2.min(top - cv2.log(density), _MOST_COST) * profiles.usable
        sums.append(np.pad(np.cumsum(cost, axis=1, dtype=np.float32), ((0, 0), (1, 0))))
    wood, rim, bench = sums
    beyond = bench[:, -1:] - bench + rim  # rim up to here, bench from here on
    best = np.minimum.accumulate(beyond[:, ::-1], axis=1)[:, ::-1] - rim
    spacing = np.float32(profiles.band.offsets[1] - profiles.band.offsets[0])
    return np.asarray(ring_mean(wood + best, 1) * spacing)


def _step(profiles: Profiles) -> FloatImage:
    """Strength of the colour step before each sample, 0 to `_FULL_STEP`, shape (N, M + 1)."""
    count, columns = profiles.usable.shape
    strength = np.zeros((count, columns + 1), np.float32)
    inner = strength[:, 1:-1]
    for plane, weight in zip(profiles.features, _STEP_YARDSTICK, strict=False):
        inner += np.float32(weight) * np.abs(plane[:, 1:] - plane[:, :-1])
    inner *= profiles.usable[:, 1:] & profiles.usable[:, :-1]
    return np.asarray(np.minimum(ring_mean(strength, 1), _FULL_STEP), np.float32)
