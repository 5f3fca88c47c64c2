"""Where a label goes so that it covers no other text and as little as may be of what it names.

Terminology
-----------
Anchor   the point that a label speaks of.
Burden   how bad it is to cover a place: none on plain wood, some on a crack or
         key, infinite on another label.
Leader   the line from a label to its anchor where it could not stand beside it.

Units are those of the picture or page; y may run up or down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

_TAKEN = 1e6  # burden of a place where a label stands
_DIRECTIONS = 16
_RINGS = 9
Box = tuple[float, float, float, float]  # least x, least y, most x, most y


@dataclass(frozen=True, slots=True)
class LabelPlace:
    """A label's box, and its leader's two ends where it needs one."""

    box: Box
    leader: tuple[tuple[float, float], tuple[float, float]] | None


class LabelField:
    """A page or picture that fills up with labels, first come first served.

    Parameters
    ----------
    size : (float, float)
        Width and height of the area in which labels may stand.
    cell : float
        Side of the squares in which burdens are kept; about a third of a text's height.
    """

    def __init__(self, size: tuple[float, float], cell: float) -> None:
        self._size = size
        self._cell = cell
        self._burden = np.zeros((math.ceil(size[1] / cell) + 1, math.ceil(size[0] / cell) + 1), np.float32)

    def burden_line(self, points: ArrayLike, weight: float, width: float = 0.0, closed: bool = False) -> None:
        """Burden a line's places with `weight`."""
        mask = np.zeros(self._burden.shape, np.uint8)
        thick = max(1, round(width / self._cell))
        cv2.polylines(mask, [self._cells(points)], closed, 1, thick)
        self._add(mask, weight)

    def burden_area(self, polygon: ArrayLike, weight: float) -> None:
        """Burden a polygon's places with `weight`."""
        mask = np.zeros(self._burden.shape, np.uint8)
        cv2.fillPoly(mask, [self._cells(polygon)], 1)
        self._add(mask, weight)

    def take(self, box: Box) -> None:
        """Keep a box free of labels."""
        rows, columns = self._window(box)
        self._burden[rows, columns] = _TAKEN

    def is_free(self, box: Box) -> bool:
        """True where a box lies inside the area and covers no label."""
        rows, columns = self._window(box)
        inside = box[0] >= 0 and box[1] >= 0 and box[2] <= self._size[0] and box[3] <= self._size[1]
        return inside and float(self._burden[rows, columns].max(initial=0.0)) < _TAKEN

    def place(
        self,
        anchor: tuple[float, float],
        size: tuple[float, float],
        clear: float = 0.0,
        most_burden: float = math.inf,
    ) -> LabelPlace | None:
        """The best free place for a label, which is then taken; None where there is none.

        Parameters
        ----------
        anchor : (float, float)
            What the label speaks of.
        size : (float, float)
            Width and height of the label.
        clear : float
            Distance from the anchor that stays free: the radius of the thing named.
        most_burden : float
            Give up rather than cover more than this on average.
        """
        best: tuple[float, LabelPlace] | None = None
        for ring in range(_RINGS):
            reach = clear + size[1] * (0.35 + 0.9 * ring)
            away = 0.25 * ring
            if best is not None and best[0] <= away:
                break  # every place farther out costs more than this by its distance alone
            for turn in range(_DIRECTIONS):
                place = self._candidate(
                    anchor, size, reach, 2.0 * math.pi * (turn + 0.5) / _DIRECTIONS, clear
                )
                covered = self._covered(place)
                if covered is None or covered > most_burden:
                    continue
                cost = covered + away
                if best is None or cost < best[0] - 1e-9:
                    best = cost, place
        if best is None:
            return None
        self.take(best[1].box)
        if best[1].leader is not None:
            self.burden_line(best[1].leader, 3.0)
        return best[1]

    def _candidate(
        self, anchor: tuple[float, float], size: tuple[float, float], reach: float, angle: float, clear: float
    ) -> LabelPlace:
        """The box whose nearest point lies `reach` from the anchor in that direction."""
        dx, dy = math.cos(angle), math.sin(angle)
        x = anchor[0] + dx * reach + (dx if abs(dx) < 0.4 else math.copysign(1.0, dx)) * size[0] / 2.0
        y = anchor[1] + dy * reach + (dy if abs(dy) < 0.4 else math.copysign(1.0, dy)) * size[1] / 2.0
        box = (x - size[0] / 2.0, y - size[1] / 2.0, x + size[0] / 2.0, y + size[1] / 2.0)
        near = min(max(anchor[0], box[0]), box[2]), min(max(anchor[1], box[1]), box[3])
        gap = math.dist(near, anchor)
        if gap <= clear + size[1]:
            return LabelPlace(box, None)
        share = clear / gap * 0.9
        end = anchor[0] + (near[0] - anchor[0]) * share, anchor[1] + (near[1] - anchor[1]) * share
        return LabelPlace(box, (near, end))

    def _covered(self, place: LabelPlace) -> float | None:
        """Mean burden under the box and the leader; None where it is not free."""
        if not self.is_free(place.box):
            return None
        rows, columns = self._window(place.box)
        covered = float(self._burden[rows, columns].mean())
        if place.leader is not None:
            steps = np.linspace(0.15, 1.0, 12)[:, None]
            start, end = (np.array(point) for point in place.leader)
            cells = self._cells(start + (end - start) * steps)
            under = self._burden[
                np.clip(cells[:, 1], 0, self._burden.shape[0] - 1),
                np.clip(cells[:, 0], 0, self._burden.shape[1] - 1),
            ]
            if float(under.max()) >= _TAKEN:
                return None
            covered += 0.3 * float(under.mean())
        return covered

    def _add(self, mask: NDArray[np.uint8], weight: float) -> None:
        np.maximum(self._burden, mask * np.float32(weight), out=self._burden)

    def _cells(self, points: ArrayLike) -> NDArray[np.int32]:
        return np.round(np.asarray(points, float).reshape(-1, 2) / self._cell).astype(np.int32)

    def _window(self, box: Box) -> tuple[slice, slice]:
        """Every cell that a box touches."""
        lead = [max(0, math.floor(value / self._cell)) for value in box[:2]]
        last = [max(0, math.ceil(value / self._cell)) for value in box[2:]]
        return slice(lead[1], last[1] + 1), slice(lead[0], last[0] + 1)
