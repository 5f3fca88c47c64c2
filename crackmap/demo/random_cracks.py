"""Which cracks, voids and knots a random slab has, and where."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from crackmap.demo import grow_cracks as grow
from crackmap.demo.edges import inside_distance
from crackmap.demo.looks import WOODS
from crackmap.demo.scene import CrackShape, EdgeLine, KnotShape, VoidShape
from crackmap.demo.wishes import SceneWishes
from crackmap.records import frozen_array

_SHORTEST = 12  # vertices that a crack must keep inside the outline


@dataclass(frozen=True, slots=True, eq=False)
class Blank:
    """A slab without faults."""

    look: str
    edges: EdgeLine
    length: float  # [mm]
    width: float
    thickness: float

    def across_at(self, x: float, share: float) -> float:
        """y at a share of the way from the top edge to the bottom edge. [mm]"""
        top = float(np.interp(x, self.edges.x, self.edges.top))
        bottom = float(np.interp(x, self.edges.x, self.edges.bottom))
        return top + share * (bottom - top)


def count(rng: np.random.Generator, wish: int | None, least: int, most: int) -> int:
    """The wish, or a random number; draws in both cases, so that one wish does not change the rest."""
    drawn = int(rng.integers(least, most + 1))
    return drawn if wish is None else wish


def _free_place(
    rng: np.random.Generator, taken: list[tuple[float, float, float]], blank: Blank, radius: float
) -> tuple[float, float]:
    """A place on the face clear of what is there already, if a few tries find one."""
    best, most = (blank.length / 2, blank.across_at(blank.length / 2, 0.5)), -np.inf
    for _ in range(12):
        x = float(rng.uniform(0.1, 0.9) * blank.length)
        y = blank.across_at(x, float(rng.uniform(0.14, 0.86)))
        room = min((np.hypot(x - a, (y - b) * 2) - 3 * (r + radius) for a, b, r in taken), default=1e9)
        if room > most:
            best, most = (x, y), room
    taken.append((*best, radius))
    return best


def draw_knots_and_voids(
    rng: np.random.Generator, w: SceneWishes, blank: Blank
) -> tuple[tuple[KnotShape, ...], tuple[VoidShape, ...]]:
    """Sound knots, knot holes and bark inclusions."""
    taken: list[tuple[float, float, float]] = []
    knots, voids = [], []
    for _ in range(count(rng, w.knot_holes, 0, 2)):
        radius = float(np.exp(rng.normal(2.3, 0.4)))
        x, y = _free_place(rng, taken, blank, radius)
        voids.append(grow.void_shape(rng, "knot_hole", x, y, radius, blank.thickness))
    for _ in range(count(rng, w.inclusions, 0, 2)):
        radius = float(rng.uniform(3, 7))
        x, y = _free_place(rng, taken, blank, 2 * radius)
        voids.append(grow.void_shape(rng, "bark_inclusion", x, y, radius, blank.thickness))
    most = 9 if WOODS[blank.look].anatomy == "softwood" else 5
    for _ in range(count(rng, w.knots, 0, most)):
        radius = float(np.exp(rng.normal(2.1, 0.5)))
        x, y = _free_place(rng, taken, blank, radius)
        knots.append(KnotShape(x, y, radius, float(rng.uniform(1.1, 1.8)), float(rng.uniform(0, 0.9))))
    return tuple(knots), tuple(voids)


def _trimmed(crack: CrackShape, edges: EdgeLine) -> CrackShape | None:
    """The longest part of a crack inside the outline; None if too little is."""
    x, y = crack.centreline.astype(np.float32).T
    inside = np.r_[False, inside_distance(edges, x.copy(), y.copy()) > -0.6, False]
    starts, stops = np.flatnonzero(inside[1:] & ~inside[:-1]), np.flatnonzero(~inside[1:] & inside[:-1])
    if not len(starts) or (stops - starts).max() < _SHORTEST:
        return None
    longest = int((stops - starts).argmax())
    part = slice(int(starts[longest]), int(stops[longest]))
    if part == slice(0, len(x)):
        return crack
    return dataclasses.replace(
        crack,
        centreline=frozen_array(crack.centreline[part]),
        width=frozen_array(crack.width[part]),
        depth=frozen_array(crack.depth[part]),
        dusty=frozen_array(crack.dusty[part]),
    )


def draw_cracks(
    rng: np.random.Generator,
    w: SceneWishes,
    blank: Blank,
    knots: tuple[KnotShape, ...],
    voids: tuple[VoidShape, ...],
) -> tuple[CrackShape, ...]:
    """End checks, splits, surface checks, hairlines, shakes, knot checks, then branches of them."""
    flow = (*knots, *(v.as_knot for v in voids if v.kind == "knot_hole"))
    grown = [*_from_ends(rng, w, blank, flow), *_inner(rng, w, blank, flow), *_at_knots(rng, w, blank, flow)]
    stems = [c for c in (_trimmed(c, blank.edges) for c in grown) if c is not None]
    long = [i for i, c in enumerate(stems) if len(c.centreline) > 60]
    branches = []
    for _ in range(min(count(rng, w.branches, 0, 3), 3 * len(long))):
        weights = np.array([stems[i].width.max() for i in long])
        parent = int(rng.choice(long, p=weights / weights.sum()))
        branch = _trimmed(grow.branch_from(rng, stems, parent, blank.thickness), blank.edges)
        if branch is not None:
            branches.append(branch)
    return (*stems, *branches)


def _from_ends(
    rng: np.random.Generator, w: SceneWishes, blank: Blank, flow: tuple[KnotShape, ...]
) -> list[CrackShape]:
    edges, cracks = blank.edges, []
    if rng.random() < 0.12 if w.split is None else w.split:
        y = blank.across_at(0.0, float(rng.uniform(0.25, 0.75)))
        cracks.append(grow.split_along(rng, edges, y, rng.uniform(3, 9), blank.thickness, flow))
    widest = w.widest or float(rng.uniform(3, 14))
    for n in range(count(rng, w.end_checks, 2, 7)):
        size = widest if n == 0 else widest * float(np.clip(rng.exponential(0.25), 0.05, 0.8))
        reach = float(np.clip(45 * size**0.85 * rng.uniform(0.6, 1.4), 30, 0.6 * blank.length))
        if n == 0 and w.longest:
            reach = w.longest
        left = bool(rng.random() < 0.5)
        y = blank.across_at(0.0 if left else blank.length, float(rng.uniform(0.1, 0.9)))
        cracks.append(grow.end_check(rng, edges, y, left, reach, size, blank.thickness, flow))
    return cracks


def _inner(
    rng: np.random.Generator, w: SceneWishes, blank: Blank, flow: tuple[KnotShape, ...]
) -> list[CrackShape]:
    cracks = []
    kinds = (
        ("surface_check", w.surface_checks, (30, 160), (0.6, 4.5)),
        ("hairline", w.hairlines, (25, 90), (0.25, 0.75)),
    )
    for kind, wish, lengths, widths in kinds:
        for _ in range(count(rng, wish, 0, 5)):
            x = float(rng.uniform(0.1, 0.9) * blank.length)
            y = blank.across_at(x, float(rng.uniform(0.1, 0.9)))
            long, wide = rng.uniform(*lengths), rng.uniform(*widths)
            cracks.append(grow.inner_check(rng, kind, x, y, long, wide, blank.thickness, flow))
    shakes = int(rng.random() < 0.25) if w.ring_shakes is None else w.ring_shakes
    for _ in range(shakes):
        x = float(rng.uniform(0.3, 0.7) * blank.length)
        y = blank.across_at(x, float(rng.uniform(0.25, 0.75)))
        radius, sweep, stretch = rng.uniform(25, 70), rng.uniform(50, 120), rng.uniform(2, 4)
        wide = rng.uniform(0.5, 2.5)
        cracks.append(grow.ring_shake(rng, x, y, radius, sweep, stretch, wide, blank.thickness))
    return cracks


def _at_knots(
    rng: np.random.Generator, w: SceneWishes, blank: Blank, flow: tuple[KnotShape, ...]
) -> list[CrackShape]:
    cracks = []
    for k in flow:
        long, wide = rng.uniform(20, 110), rng.uniform(0.5, 2.2)
        if rng.random() < 0.45 and w.knot_checks is not False:
            cracks.append(grow.knot_check(rng, k.x, k.y, k.radius, k.stretch, long, wide, blank.thickness))
    return cracks
