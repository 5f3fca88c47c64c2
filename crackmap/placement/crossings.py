"""Which lines a pocket bridges, and which it merely touches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.placement.crack_lines import CrackLine
from crackmap.placement.pockets import Pockets
from crackmap.placement.site import Site
from crackmap.records import FloatArray

_SHORT_OF_EDGE = 1.0  # a line sampled every 2 mm ends this near a pocket's side at worst [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Pockets against lines, shape (pockets, lines).

    A pocket holds a line that runs from one of its long sides to the other
    within its middle share. `arc` is where on the line, nan where not held.
    """

    held: NDArray[np.bool_]
    arc: FloatArray  # [mm]
    offset: FloatArray  # of the crossing from the waist, along the key; nan where not held [mm]
    stray: NDArray[np.bool_]  # touched without being held or a held line's branch

    def rows(self, chosen: NDArray[np.int64]) -> Crossings:
        """Those of some pockets."""
        return Crossings(self.held[chosen], self.arc[chosen], self.offset[chosen], self.stray[chosen])

    def and_also(self, more: Crossings) -> Crossings:
        """These and `more`."""
        return Crossings(np.vstack([self.held, more.held]), np.vstack([self.arc, more.arc]),
                         np.vstack([self.offset, more.offset]), np.vstack([self.stray, more.stray]))


def find_crossings(pockets: Pockets, site: Site, anywhere: bool = False) -> Crossings:
    """What each pocket holds and touches.

    With `anywhere`, for keys that are the user's word, a line may also cross
    outside the middle share, or end inside the pocket past its waist.
    """
    shape = (len(pockets), len(site.lines))
    held, arc, offset = np.zeros(shape, bool), np.full(shape, np.nan), np.full(shape, np.nan)
    touched = np.zeros(shape, bool)
    found = pockets.near(site.discs, within=site.crack_margin)
    meets = found.distance < site.crack_margin
    touched[found.pocket[meets], site.discs.owner[found.point[meets]]] = True
    half = pockets.of_kind("half_length") + pockets.of_kind("half_width")
    for n, crack_line in enumerate(site.lines):
        if not site.harmful[n]:
            continue
        x0, y0, x1, y1 = shapely.bounds(shapely.linestrings(crack_line.points))
        c = pockets.centre
        near = np.flatnonzero((c[:, 0] > x0 - half) & (c[:, 0] < x1 + half)
                              & (c[:, 1] > y0 - half) & (c[:, 1] < y1 + half))
        for rows in np.array_split(near, max(1, len(near) // 256)):
            if len(rows):
                held[rows, n], arc[rows, n], offset[rows, n] = _cross(pockets, rows, crack_line, anywhere)
    joined = (held.astype(np.int64) @ site.attached.astype(np.int64)) > 0
    return Crossings(held, arc, offset, touched & ~held & ~joined)


def _cross(pockets: Pockets, rows: NDArray[np.int64], line: CrackLine,
           anywhere: bool) -> tuple[NDArray[np.bool_], FloatArray, FloatArray]:
    points, arcs = line.points, line.arc
    a = np.radians(pockets.angle_deg[rows])[:, None]
    dx = points[None, :, 0] - pockets.centre[rows, :1]
    dy = points[None, :, 1] - pockets.centre[rows, 1:]
    along, across = dx * np.cos(a) + dy * np.sin(a), dy * np.cos(a) - dx * np.sin(a)
    half_width = pockets.of_kind("half_width")[rows, None]
    half_length = pockets.of_kind("half_length")[rows, None]
    inside = (np.abs(across) <= half_width) & (np.abs(along) <= half_length)
    central = np.abs(along) <= pockets.of_kind("middle")[rows, None]
    low = np.where(inside, across, np.inf).min(axis=1)
    high = np.where(inside, across, -np.inf).max(axis=1)
    limit = half_width[:, 0] - _SHORT_OF_EDGE - (arcs[1] - arcs[0])
    if anywhere:
        ok = (low <= 0.0) & (high >= 0.0) & (high - low >= limit)
    else:
        ok = (low <= -limit) & (high >= limit) & ~(inside & ~central).any(axis=1)
    nearest = np.where(inside, np.abs(across), np.inf).argmin(axis=1)
    count = np.maximum(inside.sum(axis=1), 1)
    mean_offset = np.where(inside, along, 0.0).sum(axis=1) / count
    return ok, np.where(ok, arcs[nearest], np.nan), np.where(ok, mean_offset, np.nan)
