"""Cracks joined into lines that keys are spaced along.

Terminology
-----------
Line   what a maker sees as one crack: the surveyed cracks that run on straight
       through junctions, and tips that face each other across a hand's
       breadth of dust, joined and resampled at an even step. A branch is a line of its
       own that starts at a junction.
Arc    distance along the line from its start. [mm]
Start  the more open end: slab edge before void before junction before tip; of
       two alike, the end with the wider half.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from crackmap.records import Crack, FloatArray, frozen_array

RESAMPLE_STEP = 2.0  # well under any key's width, so that a line's shape is kept [mm]
_SAME_POINT = 1.5  # ends nearer than this share a junction [mm]
_END_PIECE = 15.0  # an end's direction is taken over this length: shorter follows the jagged lip [mm]
_MOST_TURN = 60.0  # lines run on through a junction up to this turn [deg]
_MOST_TURN_ACROSS_GAP = 20.0  # tips that face each other are in line within this [deg]
OPENNESS = {"edge": 4, "border": 3, "void": 2, "junction": 1, "tip": 0}


@dataclass(frozen=True, slots=True, eq=False)
class CrackLine:
    """One line. Arrays have N entries, at arcs `RESAMPLE_STEP` apart or a little less."""

    cracks: tuple[str, ...]  # ids of the surveyed cracks, from the start
    points: FloatArray  # (N, 2) [mm]
    arc: FloatArray  # (N,) [mm]
    width: FloatArray  # (N,) [mm]
    owner: NDArray[np.int64]  # (N,) index into `cracks`
    ends: tuple[str, str]

    @property
    def name(self) -> str:
        """ "C1" or "C1+C4"."""
        return "+".join(self.cracks)

    @property
    def length(self) -> float:
        """[mm]"""
        return float(self.arc[-1])

    @property
    def widest(self) -> float:
        """[mm]"""
        return float(self.width.max())

    def width_at(self, arc: FloatArray) -> FloatArray:
        """Width at arcs. [mm]"""
        return np.asarray(np.interp(arc, self.arc, self.width))

    def width_about(self, arc: FloatArray, half_window: float) -> FloatArray:
        """Mean width within `half_window` of arcs. [mm]"""
        low, high = np.clip(arc - half_window, 0.0, self.length), np.clip(arc + half_window, 0.0, self.length)
        area = np.concatenate([[0.0], np.cumsum((self.width[1:] + self.width[:-1]) / 2.0 * np.diff(self.arc))])
        return np.asarray((np.interp(high, self.arc, area) - np.interp(low, self.arc, area))
                          / np.maximum(high - low, 1e-9))

    def crack_at(self, arc: float) -> str:
        """Id of the surveyed crack at an arc."""
        return self.cracks[int(self.owner[np.argmin(np.abs(self.arc - arc))])]

    def frames(self, arc: FloatArray, half_window: float) -> tuple[FloatArray, FloatArray]:
        """Mean position and direction of the line within `half_window` of arcs.

        A key bridges a piece of crack as long as its head is wide; the mean
        over that piece puts the waist on the crack, and the chord over it is
        the direction that the key sees, whatever the lips do between.

        Returns
        -------
        centre : ndarray, shape (M, 2)
            [mm]
        direction_deg : ndarray, shape (M,)
            From start to end of the line. [deg]
        """
        low = np.clip(arc - half_window, 0.0, self.length)
        high = np.clip(arc + half_window, 0.0, self.length)
        steps = np.diff(self.arc)[:, None]
        area = np.vstack([np.zeros(2), np.cumsum((self.points[1:] + self.points[:-1]) / 2.0 * steps, axis=0)])
        span = np.maximum(high - low, 1e-9)[:, None]
        centre = (_columns(high, self.arc, area) - _columns(low, self.arc, area)) / span
        chord = _columns(high, self.arc, self.points) - _columns(low, self.arc, self.points)
        return centre, np.degrees(np.arctan2(chord[:, 1], chord[:, 0]))


def _columns(at: FloatArray, arc: FloatArray, rows: FloatArray) -> FloatArray:
    return np.column_stack([np.interp(at, arc, rows[:, k]) for k in range(rows.shape[1])])


@dataclass(frozen=True, slots=True)
class _End:
    crack: int
    last: bool
    point: FloatArray
    outward: FloatArray  # unit vector
    kind: str


def join_cracks(cracks: tuple[Crack, ...], join_gap: float) -> tuple[CrackLine, ...]:
    """The lines of `cracks`, in the order of their first crack.

    Parameters
    ----------
    cracks : tuple of Crack
        Those to be considered.
    join_gap : float
        Tips that face each other within this are joined. [mm]
    """
    usable = [c for c in cracks if len(c.centreline) >= 2 and c.length > 0.0]
    ends = [_end_of(crack, k, last) for k, crack in enumerate(usable) for last in (False, True)]
    links = _links(ends, join_gap)
    chains = _chains(len(usable), links)
    return tuple(_line(usable, chain) for chain in chains)


def _end_of(crack: Crack, index: int, last: bool) -> _End:
    points = crack.centreline[::-1] if last else crack.centreline
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    inner = _columns(np.array([min(_END_PIECE, arc[-1])]), arc, points)[0]
    outward = points[0] - inner
    return _End(index, last, points[0], outward / max(float(np.hypot(*outward)), 1e-9),
                crack.ends[1 if last else 0])


def _links(ends: list[_End], join_gap: float) -> dict[tuple[int, bool], tuple[int, bool]]:
    """Which end runs on into which: straightest pairs first, each end once, no rings."""
    pairs = sorted((turn, i, j) for i, j in combinations(range(len(ends)), 2)
                   if (turn := _turn(ends[i], ends[j], join_gap)) is not None)
    links: dict[tuple[int, bool], tuple[int, bool]] = {}
    group = list(range(len(ends) // 2))
    for _, i, j in pairs:
        a, b = ends[i], ends[j]
        if (a.crack, a.last) in links or (b.crack, b.last) in links or group[a.crack] == group[b.crack]:
            continue
        links[a.crack, a.last] = (b.crack, b.last)
        links[b.crack, b.last] = (a.crack, a.last)
        old, new = group[b.crack], group[a.crack]
        group = [new if g == old else g for g in group]
    return links


def _turn(a: _End, b: _End, join_gap: float) -> float | None:
    """Turn where a line runs on from end `a` into end `b` [deg]; None where it doesn't."""
    if a.crack == b.crack or "edge" in (a.kind, b.kind) or "void" in (a.kind, b.kind):
        return None
    gap = b.point - a.point
    distance = float(np.hypot(*gap))
    turn = float(np.degrees(np.arccos(np.clip(-(a.outward @ b.outward), -1.0, 1.0))))
    if distance <= _SAME_POINT:
        return turn if turn <= _MOST_TURN else None
    if distance > join_gap or a.kind != "tip" or b.kind != "tip":
        return None
    aside = float(np.degrees(np.arccos(np.clip(a.outward @ gap / distance, -1.0, 1.0))))
    return turn + aside if max(turn, aside) <= _MOST_TURN_ACROSS_GAP else None


def _chains(count: int, links: dict[tuple[int, bool], tuple[int, bool]]) -> list[list[tuple[int, bool]]]:
    """Each line as its cracks in order, with True where a crack is run from last to first."""
    chains: list[list[tuple[int, bool]]] = []
    seen: set[int] = set()
    for crack in range(count):
        if crack in seen:
            continue
        # Walk back to the line's beginning, then forward through it.
        first, backwards = crack, False
        while (first, backwards) in links:
            first, met_at_last = links[first, backwards]
            backwards = not met_at_last
        chain = [(first, backwards)]
        while (chain[-1][0], not chain[-1][1]) in links:
            following, met_at_last = links[chain[-1][0], not chain[-1][1]]
            chain.append((following, met_at_last))
        seen.update(k for k, _ in chain)
        chains.append(chain)
    return chains


def _line(cracks: list[Crack], chain: list[tuple[int, bool]]) -> CrackLine:
    ends = (cracks[chain[0][0]].ends[1 if chain[0][1] else 0],
            cracks[chain[-1][0]].ends[0 if chain[-1][1] else 1])
    points = np.vstack([cracks[k].centreline[::-1] if back else cracks[k].centreline for k, back in chain])
    width = np.concatenate([cracks[k].width[::-1] if back else cracks[k].width for k, back in chain])
    owner = np.concatenate([np.full(len(cracks[k].width), n) for n, (k, _) in enumerate(chain)])
    names = [cracks[k].id for k, _ in chain]
    if _is_backwards(ends, width):
        points, width, owner = points[::-1], width[::-1], len(names) - 1 - owner[::-1]
        ends, names = (ends[1], ends[0]), names[::-1]
    step = np.hypot(*np.diff(points, axis=0).T)
    keep = np.concatenate([[True], step > 1e-9])
    arc = np.concatenate([[0.0], np.cumsum(step)])[keep]
    even = np.linspace(0.0, arc[-1], max(2, int(np.ceil(arc[-1] / RESAMPLE_STEP)) + 1))
    nearest = np.clip(np.searchsorted(arc, even), 0, len(arc) - 1)
    return CrackLine(tuple(names), frozen_array(_columns(even, arc, points[keep]), 2), frozen_array(even),
                     frozen_array(np.interp(even, arc, width[keep])), owner[keep][nearest], ends)


def _is_backwards(ends: tuple[str, str], width: FloatArray) -> bool:
    a, b = (OPENNESS.get(kind, 0) for kind in ends)
    if a != b:
        return b > a
    half = len(width) // 2
    return bool(width[-half:].mean() > width[:half].mean()) if half else False
