"""The fitted part of the width measure: what goes in, what comes out.

In: a profile across the crack in linear light, over the sound wood's on both
sides, at fixed places in a window that grows with the rough width; and the
rough width. Out: width and middle, and how sure.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from crackmap.survey.network import FloatArray, Network, stored_network

MODEL_FILE = "width_model.json"
RELATIVE = np.linspace(-1, 1, 41)  # places in the window
NAMES = tuple(f"light_at_{place:+.2f}" for place in RELATIVE) + ("log_rough_width",)
OUTER = 5  # samples at either end of the profile that show sound wood


def window_of(rough: FloatArray) -> FloatArray:
    """Half the length of the profile looked at, for a rough width. [px] Any shape."""
    return np.asarray(0.9 * rough + 4.0)


def inputs_of(light: FloatArray, rough: FloatArray) -> FloatArray:
    """Rows for the network from profiles (P, M) at `RELATIVE` times the window, in any unit of light."""
    left = np.median(light[:, :OUTER], axis=1)
    right = np.median(light[:, -OUTER:], axis=1)
    ramp = 0.5 + 0.5 * np.clip(RELATIVE * 1.2, -1, 1)
    sound = left[:, None] * (1 - ramp) + right[:, None] * ramp
    share = light / np.maximum(sound, 1e-4)
    return np.column_stack([np.clip(share, 0, 1.5), np.log(rough)])


def targets_of(width: FloatArray, shift: FloatArray, rough: FloatArray) -> FloatArray:
    """What the network's first two outputs stand for, shape (P, 2)."""
    return np.column_stack([np.sqrt(width / rough), shift / rough])


def read_outputs(outputs: FloatArray, rough: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Width, its sigma and the shift of the middle from the network's outputs. [px]

    `outputs` has shape (N, 4), `rough` (N,).
    """
    root = np.clip(outputs[:, 0], 0.05, 2.0)
    width = root**2 * rough
    sigma = 2 * root * np.exp(0.5 * np.clip(outputs[:, 2], -10, 2)) * rough
    return width, np.maximum(sigma, 0.05), outputs[:, 1] * rough


@cache
def fitted_width() -> Network:
    """The model that comes with the package."""
    return stored_network(MODEL_FILE, NAMES)
