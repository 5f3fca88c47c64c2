"""The wood beside a crack, for made-up strips: growth lines, pores, flecks, stains, colour edges."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.width_network.noise import FloatArray, Rng, smooth_line, smooth_sheet


def random_wood(rng: Rng) -> FloatArray:
    """Reflectance of sound wood, (3,): pale maple to dark walnut, yellow to red to grey."""
    red = np.exp(rng.uniform(np.log(0.05), np.log(0.8)))
    green = red * rng.uniform(0.5, 0.92)
    return np.array([red, green, green * rng.uniform(0.35, 0.92)])


def face_light(rng: Rng, y: FloatArray, width: FloatArray, middle: FloatArray, wood: FloatArray) -> FloatArray:
    """Light of the face as if there were no gap, (Y, S, 3), 1 for white wood in full light."""
    shape = (len(y), len(width))
    logs = _growth(rng, y, shape)
    logs += rng.exponential(0.04) * smooth_sheet(rng, shape, (3, rng.uniform(6, 30)))  # fibres
    logs += rng.exponential(0.08) * smooth_sheet(rng, shape, (60, 120))  # uneven light
    tint = 1 + np.array([0.0, 0.5, 1.0]) * rng.uniform(-0.2, 0.7)  # darker is redder, mostly
    picture = wood * np.exp(logs[:, :, None] * tint)
    _add_specks(rng, picture)
    if rng.random() < 0.2:
        _change_colour(rng, picture, y)
    beside = np.maximum(np.abs(y[:, None] - middle) - width / 2, 0)
    for _ in range(rng.choice(4, p=[0.45, 0.3, 0.15, 0.1])):
        _stain(rng, picture, y, beside)
    if rng.random() < 0.12:
        edge = smooth_line(rng, len(width), 40) * 4 + rng.uniform(y[0], y[-1])
        beyond = (y[:, None] - edge) / rng.uniform(0.3, 4) * rng.choice([-1, 1])
        shade = 1 - rng.uniform(0.2, 0.7) / (1 + np.exp(np.clip(beyond, -50, 50)))
        picture *= shade[:, :, None]
    return picture


def _growth(rng: Rng, y: FloatArray, shape: tuple[int, int]) -> FloatArray:
    """Growth lines: one random profile, bent along the strip."""
    slope = rng.normal(0, 0.08) if rng.random() < 0.85 else rng.normal(0, 1.0)
    bend = rng.exponential(4.0) * smooth_sheet(rng, shape, (80, rng.uniform(40, 200)))
    small = rng.exponential(0.4) * smooth_sheet(rng, shape, (10, rng.uniform(10, 40)))
    place = y[:, None] + slope * np.arange(shape[1]) / 2 + bend + small
    line = np.zeros(4096)
    for _ in range(3):
        line += rng.exponential(0.07) * smooth_line(rng, 4096, np.exp(rng.uniform(np.log(4), np.log(60))))
    if rng.random() < 0.4:  # late wood: narrow dark lines
        sharp = smooth_line(rng, 4096, np.exp(rng.uniform(np.log(8), np.log(50))))
        line -= rng.exponential(0.2) * np.exp(-((sharp / rng.uniform(0.1, 0.5)) ** 2))
    return np.asarray(np.interp(place * 4 + 2048, np.arange(4096), line))


def _add_specks(rng: Rng, picture: FloatArray) -> None:
    """Pores and flecks, pale or dark, short along the grain."""
    if rng.random() < 0.5:
        return
    shape = picture.shape[:2]
    pale = rng.random() < 0.4
    for _ in range(rng.poisson(shape[0] * shape[1] * np.exp(rng.uniform(np.log(5e-5), np.log(2e-3))))):
        row, column = rng.integers(shape[0]), rng.integers(shape[1])
        across, along = rng.uniform(1.2, 4), rng.uniform(1, 10)
        low, high = max(row - 10, 0), row + 11
        first, last = max(column - 25, 0), column + 26
        near = picture[low:high, first:last]
        rows = np.arange(low, low + near.shape[0])[:, None] - row
        columns = np.arange(first, first + near.shape[1]) - column
        blob = np.exp(-((rows / across) ** 2) - (columns / along) ** 2)
        near *= np.exp((rng.uniform(0.1, 1.2) if pale else -rng.uniform(0.1, 0.9)) * blob)[:, :, None]


def _change_colour(rng: Rng, picture: FloatArray, y: FloatArray) -> None:
    """A border of sapwood, heartwood or a knot running through the strip."""
    edge = rng.uniform(y[0], y[-1]) + rng.exponential(3) * smooth_line(rng, picture.shape[1], 60)
    edge = edge + rng.normal(0, 0.3) * np.arange(picture.shape[1])
    share = 1 / (1 + np.exp(-np.clip((y[:, None] - edge) / rng.uniform(0.2, 2), -30, 30)))
    factor = np.exp(rng.normal(0, 0.6) + rng.normal(0, 0.1, 3))
    picture *= 1 + share[:, :, None] * (factor - 1)


def _stain(rng: Rng, picture: FloatArray, y: FloatArray, beside: FloatArray) -> None:
    """A dark margin, patch or smudge along the crack or near it."""
    count = picture.shape[1]
    if rng.random() < 0.6:
        reach = np.exp(rng.uniform(np.log(0.8), np.log(9)))
        form = np.exp(-((beside / reach) ** rng.uniform(0.8, 2.5)))
    else:
        centre = rng.normal(0, 4) + rng.exponential(2) * smooth_line(rng, count, 30)
        form = np.exp(-(((y[:, None] - centre) / np.exp(rng.uniform(0, 2.2))) ** 2))
    patchy = np.clip(rng.normal(0.3, 0.5) + 0.6 * smooth_line(rng, count, np.exp(rng.uniform(2.3, 4.8))), 0, 1)
    if rng.random() < 0.3:
        patchy = np.ones(count)
    mottled = np.clip(1 + rng.exponential(0.15) * smooth_sheet(rng, form.shape, (10, 20)), 0, 2)
    deep = rng.uniform(-0.25, 1.8) * patchy * form * mottled
    picture *= np.exp(-deep[:, :, None] * (1 + rng.uniform(-0.2, 0.2, 3)))
