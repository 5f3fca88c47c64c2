"""The band along an outline, unrolled: one row a step along it, one column a step across.

Terminology
-----------
station   a point of the outline, evenly spaced; the rows of everything unrolled.
offset    distance from the station along its outward normal, negative inside. [mm]
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Real = TypeVar("Real", np.float32, np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """Stations (N, 2) [px], their outward normals (N, 2) [-] and the offsets (M,) [mm] sampled at each."""

    stations: FloatArray
    normals: FloatArray
    offsets: FloatArray
    mm_per_px: float

    @property
    def step_mm(self) -> float:
        """Distance between stations. [mm]"""
        return float(np.median(np.hypot(*np.diff(self.stations, axis=0).T))) * self.mm_per_px

    def at(self, offsets: FloatArray) -> FloatArray:
        """Points at one offset a station, shape (N, 2). [mm] -> [px]"""
        return self.stations + self.normals * (offsets / self.mm_per_px)[:, None]

    def unroll(self, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """`image` at every station and offset, shape (N, M) or (N, M, channels)."""
        stations, normals = self.stations.astype(np.float32), self.normals.astype(np.float32)
        run = (self.offsets / self.mm_per_px).astype(np.float32)
        x, y = (stations[:, k, None] + normals[:, k, None] * run for k in (0, 1))
        rows = 30000  # OpenCV's remap takes fewer than 2^15 at a time
        parts = [
            cv2.remap(image, x[k : k + rows], y[k : k + rows], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            for k in range(0, len(x), rows)
        ]
        return np.asarray(np.concatenate(parts), np.uint8)


def band_along(
    outline: FloatArray,
    mm_per_px: float,
    step: float,
    offsets: FloatArray,
    smooth: float,
    normal_smooth: float,
) -> Band:
    """Band along a closed outline (N, 2) [px].

    `step` between stations, `smooth` of the outline and `normal_smooth` of the
    normals are in mm along it: a normal smoother than the outline keeps
    neighbouring profiles from crossing at corners.
    """
    stations = smoothed(evenly_spaced(outline, step / mm_per_px), smooth / step)
    along = smoothed(stations, normal_smooth / step)
    tangent = np.roll(along, -1, axis=0) - np.roll(along, 1, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None] + 1e-12
    turn = 1.0 if signed_area(stations) > 0 else -1.0
    return Band(stations, turn * np.stack([tangent[:, 1], -tangent[:, 0]], axis=1), offsets, mm_per_px)


def signed_area(ring: FloatArray) -> float:
    """Shoelace area of a closed ring (N, 2); its sign tells the turn. In the ring's unit squared."""
    ahead = np.roll(ring, -1, axis=0)
    return 0.5 * float(np.sum(ring[:, 0] * ahead[:, 1] - ahead[:, 0] * ring[:, 1]))


def evenly_spaced(ring: FloatArray, step: float) -> FloatArray:
    """A closed ring resampled at about `step`, at least 16 points.

    Shape (N, 2) in and out; `step` in the ring's unit.
    """
    closed = np.vstack([ring, ring[:1]])
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(16, round(run[-1] / step))
    at = np.arange(count) * run[-1] / count
    return np.stack([np.interp(at, run, closed[:, k]) for k in (0, 1)], axis=1)


def smoothed(values: FloatArray, sigma: float) -> FloatArray:
    """Gaussian mean round a ring, along axis 0; `sigma` in steps. Shape (N, ...); `sigma` without unit. [-]"""
    if sigma <= 0:
        return values
    reach = min(int(3 * sigma) + 1, len(values) - 1)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    kernel /= kernel.sum()
    wrapped = np.concatenate([values[-reach:], values, values[:reach]])
    columns = wrapped.reshape(len(wrapped), -1).T
    out = np.stack([np.convolve(c, kernel, "valid") for c in columns], axis=1)
    return out.reshape(values.shape)


def ring_mean(values: NDArray[Real], reach: int) -> NDArray[Real]:
    """Mean over `reach` rows to both sides, round a ring, along axis 0. Shape (N, ...)."""
    reach = min(reach, (len(values) - 1) // 2)
    if reach == 0:
        return values
    wrapped = np.concatenate([values[-reach:], values, values[:reach]])
    mean = cv2.blur(wrapped.reshape(len(wrapped), -1), (1, 2 * reach + 1), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(mean[reach:-reach].reshape(values.shape), values.dtype)


def tidy(
    outline: FloatArray, mm_per_px: float, mouth: float, arm: float, corner: float, cell: float = 1.0
) -> FloatArray:
    """The outline without narrow notches and thin arms.

    A check's mouth at a sawn end is a narrow notch; a rule over the edge is a
    thin arm. Notches up to `mouth` wide are filled; arms up to `arm` wide are
    cut off unless they reach no more than `corner` beyond what stays, which is
    what a plain corner does. All lengths, and `cell` of the work grid, in mm.

    `outline` has shape (N, 2).
    """
    scale = mm_per_px / cell
    pad = arm / cell + 3
    origin = outline.min(axis=0) * scale - pad
    size = np.ceil(outline.max(axis=0) * scale - origin + pad).astype(int)
    mask = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(mask, [np.round((outline * scale - origin) * 16).astype(np.int32)], 1, shift=4)
    whole = _close(mask, mouth / cell / 2)
    body = _open(whole, arm / cell / 2)
    if not body.any():
        return outline
    parts = whole & (1 - body)
    count, labels = cv2.connectedComponents(parts)
    at = cv2.findNonZero(parts)
    if at is not None:
        columns, rows = at.reshape(-1, 2).T
        beyond = cv2.distanceTransform(1 - body, cv2.DIST_L2, 5)
        kept = np.ones(count, np.uint8)
        kept[labels[rows, columns][beyond[rows, columns] > corner / cell]] = 0  # parts that reach too far
        body[rows, columns] = kept[labels[rows, columns]]
    rings, _ = cv2.findContours(body, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(rings, key=cv2.contourArea)[:, 0].astype(float)
    return np.asarray((longest + origin) / scale)


def _close(mask: NDArray[np.uint8], radius: float) -> NDArray[np.uint8]:
    """Closing by a disc, through distance maps: the cost does not grow with the radius."""
    grown = (cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5) <= radius).astype(np.uint8)
    closed = cv2.distanceTransform(grown, cv2.DIST_L2, 5) > radius
    return np.asarray(closed.astype(np.uint8) | mask)


def _open(mask: NDArray[np.uint8], radius: float) -> NDArray[np.uint8]:
    """Opening by a disc, through distance maps."""
    core = (cv2.distanceTransform(mask, cv2.DIST_L2, 5) > radius).astype(np.uint8)
    opened = cv2.distanceTransform(1 - core, cv2.DIST_L2, 5) <= radius
    return np.asarray(opened.astype(np.uint8) & mask)
