"""The light that comes out of a gap between two jagged lips, for made-up strips.

The gap's section narrows with depth between rough walls. Each sample's sight
line is followed down until it meets a wall, dust or the floor; how bright that
place is follows from the share of sky seen from there and from whether the lamp
reaches it. Pixels are the unit of length throughout, depth too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.width_network.noise import FloatArray, Rng, smooth_line, smooth_sheet

STEPS = 14


@dataclass(frozen=True, slots=True, eq=False)
class Lighting:
    """Where the light comes from and the eye stands.

    Parameters
    ----------
    lamp : float
        Sideways run of the lamp's light for a unit down. [-]
    sharp : float
        Share of the light that the lamp gives; the rest is sky. [-]
    soft : float
        Width of the penumbra for a unit of depth. [-]
    sight : float
        Sideways run of the sight lines for a unit down. [-]
    """

    lamp: float
    sharp: float
    soft: float
    sight: float


def random_lighting(rng: Rng) -> Lighting:
    """Any room or yard, any place under the camera."""
    lamp = float(rng.normal(0, 0.8))
    return Lighting(lamp, float(rng.beta(1.2, 1.5)), float(rng.uniform(0.02, 0.6)), float(rng.normal(0, 0.13)))


@dataclass(frozen=True, slots=True, eq=False)
class Gap:
    """One gap along a strip: lips and section.

    Parameters
    ----------
    left, right : ndarray, shape (S,)
        The lips' places across. [px]
    depth : ndarray, shape (S,)
        [px]
    closing : float
        The section's width falls as (1 - depth share) to this power. [-]
    lean : float
        Sideways run of the whole gap for a unit down. [-]
    rounding : tuple of float
        How far each wall has come in below its lip, and how deep that takes. [px]
    roughness : float
        Of the walls below the lips. [px]
    """

    left: FloatArray
    right: FloatArray
    depth: FloatArray
    closing: float
    lean: float
    rounding: tuple[float, float, float, float]
    roughness: float


def random_gap(rng: Rng, middle: FloatArray, width: FloatArray) -> Gap:
    """Lips at `middle` and `width`, with a section of any kind."""
    typical = max(float(np.median(width)), 0.3)
    # Checks are deep for their width, hairlines most of all.
    depth = typical**0.75 * float(np.exp(rng.normal(3.2, 0.9))) * np.exp(0.4 * smooth_line(rng, len(width), 30))
    depth = np.maximum(depth * np.clip(width / typical, 0.1, 1.0) ** rng.uniform(0, 0.7), 0.3)
    # Worn lips come in by a few tenths of a pixel, whatever the width, and catch the light.
    size = (0.3 if rng.random() < 0.6 else 0.03) * min(typical / 5, 1.0)
    rounding = (rng.exponential(size), rng.exponential(size), rng.uniform(0.3, 4), rng.uniform(0.3, 4))
    return Gap(
        middle - width / 2,
        middle + width / 2,
        depth,
        float(np.exp(rng.normal(-0.2, 0.5))),
        float(rng.normal(0, 0.12)),
        (float(rounding[0]), float(rounding[1]), float(rounding[2]), float(rounding[3])),
        float(min(typical, 8.0) * rng.choice([0.02, 0.06, 0.1]) * rng.uniform(0.3, 1.5)),
    )


def gap_cover(gap: Gap, y: FloatArray, step: float) -> FloatArray:
    """Share of each sample (Y, S) that lies between the lips. [-]"""
    low = np.maximum(y[:, None] - step / 2, gap.left)
    high = np.minimum(y[:, None] + step / 2, gap.right)
    return np.asarray(np.clip((high - low) / step, 0, 1))


def gap_light(rng: Rng, gap: Gap, y: FloatArray, cover: FloatArray, light: Lighting, wood: FloatArray) -> FloatArray:
    """Light of the samples in the gap, shape (Y, S, 3), as a share of what white wood would give.

    `wood` (3,) is the sound wood's reflectance.
    """
    rows, columns = np.nonzero(cover > 0)
    shape = cover.shape
    bumps = gap.roughness * np.stack([smooth_sheet(rng, (STEPS, shape[1]), (2.5, 8)) for _ in range(2)])
    left, right = gap.left[columns], gap.right[columns]
    depth = gap.depth[columns]
    floor = depth * _fill(rng, shape[1])[columns]
    start = np.clip(y[rows], left + 1e-3, np.maximum(right - 1e-3, left + 1e-3))
    met, place, side = _followed(gap, bumps, rng.uniform(0.2, 3.0), columns, start, floor, light.sight)
    sky = 0.5 * (_sine(place - left, met) + _sine(right - place, met))
    sky = np.clip(sky, 0.0, 1.0)
    crossed = place - light.lamp * met
    margin = np.minimum(crossed - left, right - crossed)
    lit = np.clip(0.5 + margin / (light.soft * met + 0.15), 0, 1)
    run = np.hypot(1, light.lamp)
    towards = np.sign(light.lamp) * side
    facing = np.where(side == 0, 1 / run, np.where(towards > 0, abs(light.lamp) / run, 0.12))
    upright = np.where(side == 0, 1.0, rng.uniform(0.6, 1.0))
    colour = _reflectance(rng, shape, wood, met, depth, floor)[rows, columns]
    come = light.sharp * run * lit * facing + (1 - light.sharp) * sky * upright
    # A rounded lip turns from the face's slope to the wall's: its upper part is lit like the face.
    soon = np.where(side < 0, gap.rounding[2], gap.rounding[3])
    level = np.where(side == 0, 0.0, np.exp(-met / (0.5 * soon)))
    come = level * (light.sharp * lit + (1 - light.sharp) * np.sqrt(sky)) + (1 - level) * come
    bounced = rng.uniform(0.05, 0.5) * sky**1.5
    out = np.zeros((*shape, 3))
    out[rows, columns] = colour * come[:, None] + colour**2 * bounced[:, None]
    return out


def _sine(across: FloatArray, down: FloatArray) -> FloatArray:
    return np.asarray(across / np.hypot(across, np.maximum(down, 1e-6)))


def _fill(rng: Rng, columns: int) -> FloatArray:
    """Share of the depth that is open, along the strip: dust and chips fill some stretches."""
    filled = np.ones(columns)
    if rng.random() < 0.18:
        stretch = smooth_line(rng, columns, rng.uniform(6, 40)) > rng.uniform(-0.5, 1.5)
        filled[stretch] = rng.uniform(0.0, 0.4)
        filled = np.convolve(np.pad(filled, 2, mode="edge"), np.ones(5) / 5, mode="valid")
    return filled


def _followed(
    gap: Gap, bumps: FloatArray, soon: float, columns: NDArray[np.intp], start: FloatArray, floor: FloatArray,
    sight: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Depth and place where each sight line ends, and on which side: -1, 1, or 0 for the floor.

    `bumps` (2, STEPS, S) of the left and right wall are at their full size from depth `soon` on.
    """
    left, right, depth = gap.left[columns], gap.right[columns], gap.depth[columns]
    middle, half = (left + right) / 2, (right - left) / 2
    met, place, side = floor.copy(), start + sight * floor, np.zeros(len(start))
    open_ = np.ones(len(start), bool)
    in_left, in_right, soon_left, soon_right = gap.rounding
    for step in range(1, STEPS + 1):
        z = depth * (step / STEPS) ** 2.2
        narrow = half * np.clip(1 - z / depth, 0, 1) ** gap.closing
        wild = bumps[:, step - 1][:, columns] * np.minimum(z / soon, 1)
        at_left = middle + gap.lean * z - narrow + in_left * (1 - np.exp(-z / soon_left)) + wild[0]
        at_right = middle + gap.lean * z + narrow - in_right * (1 - np.exp(-z / soon_right)) - wild[1]
        at = start + sight * z
        hit = open_ & (z <= floor) & ((at <= at_left) | (at >= at_right))
        met[hit], place[hit] = z[hit], at[hit]
        side[hit] = np.where(at[hit] <= at_left[hit], -1.0, 1.0)
        open_ &= ~hit
    return met, place, side


def _reflectance(
    rng: Rng, shape: tuple[int, ...], wood: FloatArray, met: FloatArray, depth: FloatArray, floor: FloatArray
) -> FloatArray:
    """Colour of what the sight lines meet, (Y, S, 3): raw or weathered wood, sometimes dirt or pale dust."""
    grain = np.exp(rng.uniform(0.05, 0.3) * smooth_sheet(rng, shape, (3, 10)))
    wall = wood ** rng.uniform(0.9, 1.3) * rng.uniform(0.5, 1.05)
    if rng.random() < 0.25:
        wall = wall * rng.uniform(0.15, 0.6)  # weathered, waxed or stained by iron
    colour = wall[None, None, :] * grain[:, :, None]
    if rng.random() < 0.13:
        pale = np.array([0.62, 0.48, 0.30]) * rng.uniform(0.4, 1.3)
        flecks = smooth_sheet(rng, shape, (6, 6)) > rng.uniform(0.8, 2.2)
        colour[flecks] = pale
    if (floor < 0.99 * depth).any() and rng.random() < 0.6:
        dust = np.array([0.62, 0.48, 0.30]) * rng.uniform(0.3, 1.2)
        share = float((floor < 0.99 * depth).mean())
        colour = colour * (1 - share) + dust * share
    return np.asarray(np.clip(colour, 0.004, 1.0))
