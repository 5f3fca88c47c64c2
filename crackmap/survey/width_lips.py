"""The lips of a crack: width and middle at each point, read off the straightened picture.

A small convolutional network looks at the strip of picture along the crack, in
colour and in linear light. From one profile a lit wall, a stained margin and
dust can't be told from wood or gap; from a stretch of them they can: lips are
sharp and run on, smudges are soft, walls change their light.

For a crack narrower than the blur the answer amounts to the missing light, since
blur moves light about but loses none. Each answer comes with the error to
expect, and widths are averaged along the crack by that: a stretch full of dust
takes its width from either side.

The network was fitted on made-up strips (tests/benchmarks/width_network), never
on a photograph.
"""

from __future__ import annotations

import threading
from functools import lru_cache
from pathlib import Path as FilePath

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.profile import FloatArray, Path, profiles, smooth_along
from crackmap.survey.width import Widths, averaged, linear_light
from crackmap.survey.width_inputs import ACROSS, reach_of, read_answers, strip_inputs

NETWORK_FILE = FilePath(__file__).with_name("width_network.onnx")
AHEAD_PX = 14  # the strip runs on beyond both ends: as far as the network looks along the crack
PIECE_PX = 600  # longest strip shown at once; keeps the crops from the picture small
ROUGH_PX = 4.0  # rough widths are smoothed over this sigma along the crack
# Of the network's doubt: 68.3 % of the errors lie within it on sixteen generated photos that nothing was
# fitted on, each counted alike, widths from hairlines to 40 px. On made strips left out 1.16 would do: photos
# hold more to be wrong about.
ONE_SIGMA = 1.35
_one_at_a_time = threading.Lock()


def measure_lips(image: NDArray[np.uint8], path: Path, rough_width: FloatArray) -> Widths:
    """Widths along `path` and how far the middle of the gap lies from it.

    Parameters
    ----------
    image : ndarray of uint8, shape (H, W, 3)
        sRGB.
    path : Path
        Centreline, points about a pixel apart.
    rough_width : ndarray, shape (N,)
        First guess of the width, right to a factor of two. [px]

    Returns
    -------
    Widths
        `sigma` holds about two thirds of the errors.
    """
    long, rough = _run_on(path), np.pad(rough_width, AHEAD_PX, mode="edge")
    reach = reach_of(smooth_along(rough, ROUGH_PX))
    light = _light_strip(image, long, reach)
    width, middle, width_doubt, middle_doubt = read_answers(_answers(strip_inputs(light, reach)), reach)
    own = slice(AHEAD_PX, -AHEAD_PX)
    weight = 1 / width_doubt**2
    return Widths(
        averaged(width, weight)[own],
        ONE_SIGMA * averaged(width_doubt, weight)[own],
        averaged(middle, 1 / middle_doubt**2)[own],
    )


def _run_on(path: Path) -> Path:
    """The path with `AHEAD_PX` straight points more at either end."""
    points, normals = path.points, path.normals
    reach = min(8, len(points) - 1)
    steps = np.arange(1, AHEAD_PX + 1)[:, None]
    parts = []
    for end, inner in ((points[0], points[reach]), (points[-1], points[-1 - reach])):
        outward = (end - inner) / max(float(np.hypot(*(end - inner))), 1e-9)
        parts.append(end + steps * outward)
    before = np.repeat(normals[:1], AHEAD_PX, axis=0)
    after = np.repeat(normals[-1:], AHEAD_PX, axis=0)
    return Path(np.vstack([parts[0][::-1], points, parts[1]]), np.vstack([before, normals, after]))


def _light_strip(image: NDArray[np.uint8], path: Path, reach: FloatArray) -> NDArray[np.float32]:
    """Linear light (N, M, 3) at `ACROSS` times `reach`, from crops, so that the whole picture is never converted."""
    table = linear_light()
    parts = []
    for first in range(0, len(path), PIECE_PX):
        piece = slice(first, first + PIECE_PX)
        points = path.points[piece]
        margin = float(reach[piece].max()) + 2
        size = np.array(image.shape[1::-1])
        low = np.clip(np.floor(points.min(0) - margin).astype(int), 0, size - 1)
        high = np.clip(np.ceil(points.max(0) + margin).astype(int) + 1, low + 1, size)
        crop = cv2.LUT(np.ascontiguousarray(image[low[1] : high[1], low[0] : high[0]]), table)
        parts.append(profiles(crop, Path(points - low, path.normals[piece]), reach[piece][:, None] * ACROSS))
    return np.concatenate(parts)


def _answers(inputs: NDArray[np.float32]) -> NDArray[np.float32]:
    """The network's answers (4, N) for inputs (CHANNELS, M, N)."""
    with _one_at_a_time:
        network = _network()
        network.setInput(inputs[None])
        return np.array(network.forward()[0])


@lru_cache(maxsize=1)
def _network() -> cv2.dnn.Net:
    return cv2.dnn.readNetFromONNX(str(NETWORK_FILE))
