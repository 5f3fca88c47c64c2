"""How deep an opening is reckoned: probed, through, or assumed with a range.

A photo shows no depth. Where nobody probed, a crack from the slab's end is
reckoned a third as deep as long until it is through, a closed one a fifth, a
void as deep as wide (our assumptions, in the settings); the range runs from a
shallow wedge to straight walls right through.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crackmap.errors import ResinError
from crackmap.records import Edits, FloatArray
from crackmap.resin.openings import Opening
from crackmap.settings import ResinSettings


@dataclass(frozen=True, slots=True, eq=False)
class Depths:
    """Depth of each slice of an opening, best and both ends of the range."""

    best: FloatArray  # (S,) [mm]
    least: FloatArray  # (S,) [mm]
    most: FloatArray  # (S,) [mm]
    wall_best: float  # volume over area times depth [-]
    wall_least: float
    wall_most: float
    source: str  # "assumed", "probed" or "through"


def probes_by_opening(found: tuple[Opening, ...], edits: Edits, thickness: float,
                      settings: ResinSettings) -> tuple[dict[str, list[tuple[int, float]]], tuple[str, ...]]:
    """Probed depths as (slice, depth) of the nearest opening, and a sentence for each that met none.

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
    """Depths of one opening, from its probes or assumed."""
    return _probed(opening, probes, thickness, settings) if probes else _assumed(opening, thickness, settings)


def _assumed(opening: Opening, thickness: float, settings: ResinSettings) -> Depths:
    walls = (settings.wall_share, settings.wall_share_least, settings.wall_share_most)
    if opening.kind == "void":
        best, least, most = (settings.void_depth * opening.width, settings.void_depth_least * opening.width,
                             np.full(1, thickness))
        return Depths(np.minimum(best, thickness), np.minimum(least, thickness), most, *walls, "assumed")
    share = settings.end_depth if opening.kind == "end" else settings.closed_depth
    deepest = share * opening.length  # more than the thickness: through as far as the fall allows
    best = np.minimum(deepest * _fall(opening.width, opening.width.max(), settings.depth_power), thickness)
    least = np.full(len(best), min(settings.least_depth * opening.length, thickness))
    half_penny = settings.closed_depth_most * opening.length
    limit = thickness if opening.kind == "end" else min(half_penny, thickness)
    return Depths(best, np.minimum(least, best), np.full(len(best), limit), *walls, "assumed")


def _probed(opening: Opening, probes: list[tuple[int, float]], thickness: float,
            settings: ResinSettings) -> Depths:
    """Depth along a crack from probes: each holds at its place, and falls with the width away from it."""
    walls = (settings.wall_share, settings.wall_share_least_probed, settings.wall_share_most)
    deep = all(depth >= thickness - settings.through_within for _, depth in probes)
    if opening.kind == "void":
        depth = np.full(1, float(np.mean([d for _, d in probes])))
        return Depths(depth, depth, depth, *walls, "through" if deep else "probed")
    best, steep, flat = (_from_probes(opening, probes, thickness, power, settings)
                         for power in (settings.depth_power, 1.0, 0.0))
    return Depths(best, np.minimum(np.minimum(steep, flat), best), np.maximum(np.maximum(steep, flat), best),
                  *walls, "through" if deep else "probed")


def _from_probes(opening: Opening, probes: list[tuple[int, float]], thickness: float, power: float,
                 settings: ResinSettings) -> FloatArray:
    order = sorted(probes)
    step = np.hypot(*np.diff(opening.place, axis=0).T) if len(opening.place) > 1 else np.zeros(0)
    arc = np.concatenate([[0.0], np.cumsum(step)])
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
