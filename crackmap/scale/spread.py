"""Errors of slab points, as a smooth field of independent modes, and what they make of distances."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

FAR_SHARE = 0.4  # scale is judged on distances above this share of the largest (the design's definition)
_DRAWS = 2000


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Errors of slab points for one-sigma steps along independent directions.

    G points, K directions.
    """

    points: FloatArray  # (G, 2) in the slab frame [mm]
    modes: FloatArray  # (G, 2, K) [mm]

    @property
    def sigmas(self) -> FloatArray:
        """Position sigma of each point, in its worst direction, shape (G,). [mm]"""
        covariance = np.einsum("gik,gjk->gij", self.modes, self.modes)
        return np.asarray(np.sqrt(np.maximum(np.linalg.eigvalsh(covariance)[:, -1], 0)))

    def parts(self, counts: list[int]) -> tuple[Spread, ...]:
        """The field in consecutive parts of so many points each."""
        ends = np.cumsum(counts)
        return tuple(Spread(self.points[e - n:e], self.modes[e - n:e]) for e, n in zip(ends, counts, strict=True))

    def at(self, points: FloatArray) -> Spread:
        """The field at other points, by a cubic surface through this one.

        Errors of pose, lens and marks bend no faster than that over a view.
        """
        centre, reach = self.points.mean(axis=0), np.ptp(self.points, axis=0).max() / 2
        ours, theirs = (_cubic_terms((p - centre) / reach) for p in (self.points, points))
        flat = self.modes.reshape(len(self.points), -1)
        surface = np.linalg.lstsq(ours, flat, rcond=None)[0]
        return Spread(points, (theirs @ surface).reshape(len(points), 2, -1))

    def about(self, a: FloatArray, b: FloatArray) -> Spread:
        """The same errors for one who sets out from marks at `a` and `b`."""
        at_marks = self.at(np.stack([a, b])).modes
        base = b - a
        change = at_marks[1] - at_marks[0]
        turn = (base[0] * change[1] - base[1] * change[0]) / (base @ base)
        moved = self.points - a
        turned = np.stack([-moved[:, 1:] * turn, moved[:, :1] * turn], axis=1)
        return Spread(self.points, self.modes - at_marks[0] - turned)


def _cubic_terms(points: FloatArray) -> FloatArray:
    x, y = points.T
    return np.stack([x**i * y**j for i in range(4) for j in range(4 - i)], axis=1)


def scale_sigma_percent(spread: Spread) -> float:
    """One-sigma claim for the scale error of the design's definition. [%]

    The scale error is the median over far pairs of |distance ratio - 1|. Its
    distribution follows from the spread by drawing from it; the claim is the
    mean of its 68 % point and half its 95 % point, so that one and two sigma
    both hold about as often as for a normal error.
    """
    first, second = np.triu_indices(len(spread.points), 1)
    apart = spread.points[first] - spread.points[second]
    length = np.linalg.norm(apart, axis=1)
    far = length > FAR_SHARE * length.max()
    first, second, apart, length = first[far], second[far], apart[far], length[far]
    stretch = np.einsum("pi,pik->pk", apart / length[:, None] ** 2, spread.modes[first] - spread.modes[second])
    draws = np.random.default_rng(1).standard_normal((stretch.shape[1], _DRAWS))  # fixed: same photo, same claim
    errors = np.median(np.abs(stretch @ draws), axis=0)
    return float((np.percentile(errors, 68.27) + np.percentile(errors, 95.45) / 2) / 2 * 100)
