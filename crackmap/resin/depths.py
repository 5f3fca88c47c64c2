"""How deep an opening is reckoned: probed, seen from below, or assumed with a range.

A photo of one face shows no depth. Where nobody probed and nobody looked from
below, a crack from the slab's end is reckoned a third as deep as long until it
is through, a closed one a fifth, a void as deep as wide (our assumptions, in the
settings); the range runs from a shallow wedge to straight walls right through.

Where the underside shows a stretch to be through, its volume lies between both
faces' areas by the prismoid rule; where it shows it to be blind, it is not as
deep as the slab, and beside a through stretch it falls from there.

How walls close: near the bottom of a crack the gap grows with the square root
of the height above it (the crack-opening displacement of fracture mechanics,
u = (4 K / E') sqrt(2 r / pi); from memory, any handbook), so a blind crack
holds two thirds of area times depth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.errors import ResinError
from crackmap.records import BLIND, THROUGH, Edits, FloatArray
from crackmap.resin.openings import Opening
from crackmap.resin.solids import prismoid_volume
from crackmap.settings import ResinSettings


@dataclass(frozen=True, slots=True, eq=False)
class Depths:
    """Depth of each slice of an opening, best and both ends of the range."""

    best: FloatArray  # (S,) [mm]
    least: FloatArray  # (S,) [mm]
    most: FloatArray  # (S,) [mm]
    wall_best: FloatArray  # (S,) volume over area times depth [-]
    wall_least: FloatArray  # (S,)
    wall_most: FloatArray  # (S,)
    source: str  # "assumed", "probed", "through", "partly through" or "blind"


def probes_by_opening(found: tuple[Opening, ...], edits: Edits, thickness: float,
                      settings: ResinSettings) -> tuple[dict[str, list[tuple[int, float]]], tuple[str, ...]]:
    """Probed depths as (slice, depth) of the nearest opening, and a sentence for each that met none.

    `thickness` in mm.

    Raises
    ------
    ResinError
        If a depth is negative or more than the slab's thickness.
    """
    probes: dict[str, list[tuple[int, float]]] = {}
    lost = []
    for x, y, depth in edits.probed_depths:
        if not np.isfinite(depth) or depth < 0.0:
            raise ResinError(f"probed depth {depth:g} mm at x {x:.0f}, y {y:.0f} mm must be zero or more.")
        if depth > thickness + settings.through_within:
            raise ResinError(f"probed depth {depth:g} mm at x {x:.0f}, y {y:.0f} mm is more than the slab's "
                             "thickness "
                             f"of {thickness:g} mm; check both.")
        near = [(float(away.min()), opening.id, int(away.argmin())) for opening in found
                for away in [np.hypot(*(opening.place - (x, y)).T)
                             - (opening.width / 2.0 if opening.kind == "void" else 0.0)]]
        best = min(near, default=(np.inf, "", 0))
        if best[0] > settings.probe_within:
            lost.append(f"the depth probed at x {x:.0f}, y {y:.0f} mm lies more than "
                        f"{settings.probe_within:g} mm from "
                        "every crack and void and was left out.")
        else:
            probes.setdefault(best[1], []).append((best[2], min(float(depth), thickness)))
    return probes, tuple(lost)


def depths_of(opening: Opening, probes: list[tuple[int, float]], thickness: float,
              settings: ResinSettings) -> Depths:
    """Depths of one opening, from its probes, from below, or assumed. `thickness` in mm."""
    depths = _probed(opening, probes, thickness, settings) if probes else _assumed(opening, thickness, settings)
    return _seen_from_below(opening, depths, bool(probes), thickness, settings)


def _walls(count: int, least: float, best: float, most: float) -> dict[str, FloatArray]:
    return {name: np.full(count, value) for name, value in (("wall_least", least), ("wall_best", best),
                                                            ("wall_most", most))}


def _assumed(opening: Opening, thickness: float, settings: ResinSettings) -> Depths:
    s = settings
    walls = _walls(len(opening.width), s.wall_share_least, s.wall_share, s.wall_share_most)
    if opening.kind == "void":
        best, least, most = s.void_depth * opening.width, s.void_depth_least * opening.width, np.full(1, thickness)
        walls["wall_best"][:] = s.void_wall_share
        return Depths(np.minimum(best, thickness), np.minimum(least, thickness), most, **walls, source="assumed")
    share = s.end_depth if opening.kind == "end" else s.closed_depth
    deepest = share * opening.length  # more than the thickness: through as far as the fall allows
    best = np.minimum(deepest * _fall(opening.width, opening.width.max(), s.depth_power), thickness)
    walls["wall_best"][best >= thickness] = s.wall_share_through
    least = np.full(len(best), min(s.least_depth * opening.length, thickness))
    half_penny = s.closed_depth_most * opening.length
    limit = thickness if opening.kind == "end" else min(half_penny, thickness)
    return Depths(best, np.minimum(least, best), np.full(len(best), limit), **walls, source="assumed")


def _probed(opening: Opening, probes: list[tuple[int, float]], thickness: float,
            settings: ResinSettings) -> Depths:
    """Depth along a crack from probes: each holds at its place, and falls with the width away from it."""
    s = settings
    walls = _walls(len(opening.width), s.wall_share_least_probed, s.wall_share, s.wall_share_most)
    deep = all(depth >= thickness - s.through_within for _, depth in probes)
    source = "through" if deep else "probed"
    if opening.kind == "void":
        depth = np.full(1, float(np.mean([d for _, d in probes])))
        walls["wall_best"][:] = s.void_wall_share
        return Depths(depth, depth, depth, **walls, source=source)
    best, steep, flat = (_from_probes(opening, probes, thickness, power, s) for power in (s.depth_power, 1.0, 0.0))
    walls["wall_best"][best >= thickness - s.through_within] = s.wall_share_through
    return Depths(best, np.minimum(np.minimum(steep, flat), best), np.maximum(np.maximum(steep, flat), best),
                  **walls, source=source)


def _seen_from_below(opening: Opening, depths: Depths, probed: bool, thickness: float,
                     settings: ResinSettings) -> Depths:
    """The depths corrected by what the underside's photo tells of each slice."""
    through, blind = opening.state == THROUGH, opening.state == BLIND
    if not (through.any() or blind.any()):
        return depths
    best, least, most = (each.copy() for each in (depths.best, depths.least, depths.most))
    walls = [each.copy() for each in (depths.wall_least, depths.wall_best, depths.wall_most)]
    if through.any():
        if not probed:
            least, best, most = (_beside_through(opening, through, thickness, power)
                                 for power in (1.0, settings.depth_power, 0.0))
        for wall, share in zip(walls, _lower_shares(opening, settings), strict=True):
            wall[through] = share[through]
        for depth in (best, least, most):
            depth[through] = thickness
    # Not through is not as deep as the slab; how near nobody can see from here.
    for depth, limit in ((least, settings.blind_most), (best, settings.blind_most), (most, 1.0)):
        depth[blind] = np.minimum(depth[blind], limit * thickness)
    least = np.minimum(least, best)
    source = ("through" if through.all() else "partly through") if through.any() else (
        depths.source if probed else "blind")
    return Depths(best, least, np.maximum(most, best), walls[1], walls[0], walls[2], source)


def _lower_shares(opening: Opening, settings: ResinSettings) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Volume over area times thickness of through slices, least, best and most, by the prismoid rule.

    `lower` is the area below over that above. Half-way down a crack has the
    root law's width, sqrt((1 + lower^2) / 2) of that above; a void is the
    frustum of a cone. Straight from lip to lip at the least, straight down
    from the wider at the most.
    """
    r = np.where(np.isfinite(opening.lower), opening.lower, np.nan)
    root = np.sqrt((1.0 + r**2) / 2.0) if opening.kind != "void" else ((1.0 + np.sqrt(r)) / 2.0) ** 2
    shares = []
    for middle, usual in (((1.0 + r) / 2.0 if opening.kind != "void" else root * settings.void_waist,
                           settings.wall_share_least_probed),
                          (root, settings.wall_share_through), (np.maximum(1.0, r), settings.wall_share_most)):
        shares.append(np.where(np.isfinite(r), prismoid_volume(1.0, middle, r, 1.0), usual))
    return shares[0], shares[1], shares[2]


def _beside_through(opening: Opening, through: NDArray[np.bool_], thickness: float, power: float) -> FloatArray:
    """Depth of the slices beside through ones: the thickness where they meet, less with the width. [mm]"""
    arc = _arc(opening)
    inside = np.flatnonzero(through)
    # The through slice nearest to each slice, and its width, from which the depth falls.
    nearest = inside[np.abs(arc[:, None] - arc[inside][None, :]).argmin(axis=1)]
    share = np.minimum(opening.width / np.maximum(opening.width[nearest], 1e-9), 1.0)
    return np.asarray(thickness * share**power)


def _arc(opening: Opening) -> FloatArray:
    step = np.hypot(*np.diff(opening.place, axis=0).T) if len(opening.place) > 1 else np.zeros(0)
    return np.concatenate([[0.0], np.cumsum(step)])


def _from_probes(opening: Opening, probes: list[tuple[int, float]], thickness: float, power: float,
                 settings: ResinSettings) -> FloatArray:
    order = sorted(probes)
    arc = _arc(opening)
    at = np.array([arc[k] for k, _ in order])
    # What the depth would be where the crack is widest, by each probe; blended in between.
    widest = float(opening.width.max())
    scale = np.array([_depth_at_widest(depth, float(opening.width[k]) / widest, thickness, power, settings)
                      for k, depth in order])
    return np.asarray(np.minimum(np.interp(arc, at, scale) * _fall(opening.width, widest, power), thickness))


def _depth_at_widest(depth: float, share: float, thickness: float, power: float,
                     settings: ResinSettings) -> float:
    """Depth where the crack is widest, from a probe where its width is `share` of that. [mm]

    A probe right through says only "at least the thickness": the crack is then
    reckoned through down to `through_while` of its width.
    """
    if depth >= thickness - settings.through_within:
        share = min(share, settings.through_while)
    return float(depth / max(share, 0.05) ** power)


def _fall(width: FloatArray, widest: float, power: float) -> FloatArray:
    """Depth over the depth at the widest place. [-]"""
    return np.asarray((width / max(widest, 1e-9)) ** power) if power > 0.0 else np.ones(len(width))
