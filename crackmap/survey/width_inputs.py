"""What the width network is shown, and what its answers mean.

In: the strip of picture along a crack, straightened: columns along the crack,
rows at fixed places across a reach that grows with the rough width, in the
square root of linear light over the sound wood's beside the crack. Out, for each
column: the gap's width and its middle, and how far off each is likely to be.

Numpy only: the training script uses it too.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

ACROSS = np.linspace(-1.0, 1.0, 48)  # places in the reach
OUTER = 12  # places at either rim where sound wood is looked for
ALONG_PX = 8  # sound wood's light is averaged over this many columns either way
BRIGHTEST = 2.0  # light of more than four times the sound wood's says no more
CHANNELS = 6  # three of light, then: place across, size of the reach, sound wood's light
UNIT = 0.05  # of the reach: unit of the answered doubt
LEAST_DOUBT_PX = 0.03


def reach_of(rough: FloatArray) -> FloatArray:
    """Half the length of the strip's columns, for a rough width. [px] Any shape."""
    return np.asarray(1.0 * np.maximum(rough, 2.0) + 6.0)


def strip_inputs(light: NDArray[np.floating[Any]], reach: FloatArray) -> NDArray[np.float32]:
    """The network's inputs.

    Parameters
    ----------
    light : ndarray, shape (N, M, 3)
        Linear light at N places along the crack and the M places of `ACROSS`. [-]
    reach : ndarray, shape (N,)
        [px]

    Returns
    -------
    ndarray of float32, shape (CHANNELS, M, N)
    """
    root = np.sqrt(np.maximum(light, 0.0)).transpose(2, 1, 0).astype(np.float32)
    sound = _sound(root)
    inputs = np.empty((CHANNELS, *root.shape[1:]), np.float32)
    inputs[:3] = np.minimum(root / sound[:, None, :], BRIGHTEST) - 1.0
    inputs[3] = ACROSS[:, None]
    inputs[4] = np.log(reach / 12.0)
    inputs[5] = sound.max(0) * 2 - 1
    return inputs


def _sound(root: NDArray[np.float32]) -> NDArray[np.float32]:
    """Sound wood's light beside the crack, shape (3, N): the brighter half of the rims, averaged along."""
    rims = np.concatenate([root[:, :OUTER], root[:, -OUTER:]], axis=1)
    brighter = np.sort(rims, axis=1)[:, OUTER:].mean(1)
    count = brighter.shape[1]
    total = np.cumsum(np.pad(brighter, ((0, 0), (1, 0))), axis=1)
    low = np.maximum(np.arange(count) - ALONG_PX, 0)
    high = np.minimum(np.arange(count) + ALONG_PX + 1, count)
    return np.asarray(np.maximum((total[:, high] - total[:, low]) / (high - low), 0.02), np.float32)


def read_answers(
    answers: NDArray[np.floating[Any]], reach: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Width, middle less path, and the mean error to expect of each, from answers (4, N). [px]"""
    width, middle, width_doubt, middle_doubt = np.asarray(answers, float)
    unit = UNIT * reach
    return (
        reach * np.logaddexp(0.0, width),
        reach * middle,
        LEAST_DOUBT_PX + unit * np.exp(np.clip(width_doubt, -8, 4)),
        LEAST_DOUBT_PX + unit * np.exp(np.clip(middle_doubt, -8, 4)),
    )
