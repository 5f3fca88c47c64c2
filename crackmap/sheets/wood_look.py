"""What the wood of a key looks like in a picture: colour, growth rings and pores along the grain."""

from __future__ import annotations

import numpy as np

from crackmap.records import FloatArray
from crackmap.sheets.palette import Colour, luminance

# Colours of planed and oiled wood, chosen by eye: for a picture, not for a match.
_COLOURS: dict[str, Colour] = {
    "walnut": (96, 66, 46),
    "wenge": (58, 45, 38),
    "oak": (178, 138, 92),
    "ash": (206, 178, 138),
    "maple": (220, 192, 150),
    "cherry": (166, 102, 66),
    "elm": (160, 118, 80),
    "beech": (200, 156, 114),
    "birch": (216, 186, 146),
    "mahogany": (128, 70, 46),
    "teak": (156, 108, 62),
    "iroko": (146, 98, 54),
    "jarrah": (112, 54, 42),
    "pine": (214, 176, 122),
    "fir": (206, 164, 116),
    "cedar": (164, 100, 70),
    "hickory": (186, 144, 102),
    "poplar": (196, 186, 146),
    "locust": (170, 136, 74),
    "chestnut": (172, 130, 86),
}
_DARK, _PALE = "walnut", "maple"


def wood_colour(name: str, slab: Colour) -> Colour:
    """Colour of a wood by name; where it has none or an unknown one, one that stands out from the slab."""
    words = name.lower().replace("_", " ").replace("-", " ").split()
    for word in reversed(words):  # "black walnut": the last word is the kind
        if word in _COLOURS:
            return _COLOURS[word]
    return _COLOURS[_DARK if luminance(slab) > 0.16 else _PALE]


def wood_texture(along: FloatArray, across: FloatArray, colour: Colour, seed: int) -> FloatArray:
    """Wood at points of a key.

    Parameters
    ----------
    along, across : ndarray, shape (H, W)
        Position along and across the grain. [mm]
    colour : Colour
        Its mean colour.
    seed : int
        Each key is cut from another place of the board.

    Returns
    -------
    ndarray, shape (H, W, 3)
        sRGB, 0 to 255, not clipped.
    """
    rng = np.random.default_rng(seed)
    # Rings are lines along the grain that bend a little: seen flat-sawn they open into long arches.
    bend = rng.uniform(-1.0, 1.0) * 6e-4 * (along - rng.uniform(-60.0, 60.0)) ** 2
    drift = _noise(rng, along, 45.0) * 1.2
    place = across + bend + drift + rng.uniform(0.0, 500.0)
    rings = 0.55 * _noise(rng, place, 4.5) + 0.35 * _noise(rng, place, 1.6) + 0.25 * _noise(rng, place, 0.6)
    pores = _streaks(rng, along, across, 7.0, 0.35)
    shade = 1.0 + 0.11 * rings - 0.16 * np.clip(pores - 1.1, 0.0, 1.0)
    warmth = np.stack([0.02 * rings, np.zeros_like(rings), -0.03 * rings], axis=-1)
    tint: FloatArray = np.array(colour, float) * (shade[..., None] + warmth)
    return tint


def _noise(rng: np.random.Generator, at: FloatArray, step: float) -> FloatArray:
    """Smooth noise of one coordinate, about -2 to 2, with features `step` long."""
    values = rng.normal(0.0, 1.0, 2048)
    place = at / step
    low = np.floor(place).astype(int)
    share = place - low
    share = share * share * (3.0 - 2.0 * share)
    blended: FloatArray = values[low % 2048] * (1.0 - share) + values[(low + 1) % 2048] * share
    return blended


def _streaks(
    rng: np.random.Generator, along: FloatArray, across: FloatArray, length: float, width: float
) -> FloatArray:
    """Noise in streaks, each row of streaks shifted by chance."""
    values = rng.normal(0.0, 1.0, (512, 512))
    row = np.floor(across / width).astype(int)
    shift = rng.uniform(0.0, 1.0, 512)[row % 512]
    streaks: FloatArray = values[row % 512, np.floor(along / length + shift).astype(int) % 512]
    return streaks
