"""The hard rules: one function each, from pockets to the figure that is limited.

Every rule asks for at least its limit, so that one comparison serves all:
the optimiser's filter, the checks printed beside each key, and the reasons why
a crack has none. Distances are exact up to `REPORT_WITHIN` and inf beyond;
where the filter only asks whether one is `nearer` than its limit, it is 0 or
inf, which is five times as quick.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from crackmap.placement.crossings import find_crossings
from crackmap.placement.pockets import Pockets
from crackmap.placement.score import angle_to_grain, wing_reach
from crackmap.placement.site import Site
from crackmap.records import FloatArray
from crackmap.settings import PlacementSettings

REPORT_WITHIN = 25.0  # how far reports look; twice the largest margin [mm]

Measure = Callable[[Pockets, Site, float | None], FloatArray]


@dataclass(frozen=True, slots=True)
class Rule:
    """One hard rule."""

    name: str
    measure: Measure
    limit: float
    unit: str
    says: str  # what the figure is
    breaks: str  # ends "a key there would ..."; {value} and {limit} are filled in
    allows: str  # what would allow it


def all_rules(settings: PlacementSettings, least_floor: float, least_reach: float) -> tuple[Rule, ...]:
    """The rules in force, in the order in which they are named when several are broken."""
    return (
        Rule("bit reaches", bit_to_spare, 0.0, "mm", "cutting length past the pocket's depth",
             "be deeper than the bit cuts", "a longer bit or a shallower pocket"),
        Rule("floor", floor_left, least_floor, "mm", "wood under the pocket, or over what is kept out below",
             "leave {value:.1f} mm of floor, {limit:g} mm is asked for", "a shallower pocket"),
        Rule("slab edge", room_to_edge, settings.edge_margin, "mm", "sound wood to the slab's edge",
             "come within {value:.1f} mm of the slab's edge, {limit:g} mm is asked for",
             "a smaller key or a smaller edge margin"),
        Rule("finished top", room_to_top, settings.edge_margin, "mm", "wood to the finished top's edge",
             "come within {value:.1f} mm of where the top will be cut, {limit:g} mm is asked for",
             "a larger finished top"),
        Rule("voids", room_to_voids, settings.void_margin, "mm", "sound wood to the nearest void",
             "come within {value:.1f} mm of a void, {limit:g} mm is asked for",
             "filling the void first, or a smaller void margin"),
        Rule("keep-out", room_to_keep_out, settings.keep_out_margin, "mm", "to the nearest area kept out",
             "come within {value:.1f} mm of an area kept out, {limit:g} mm is asked for",
             "a smaller area kept out"),
        Rule("sound wings", room_to_wings, settings.crack_margin, "mm",
             "sound wood between the wings and any crack",
             "have a crack within {value:.1f} mm of a wing, {limit:g} mm is asked for",
             "a longer key across both cracks"),
        Rule("grain", grain_angle, settings.least_grain_angle, "deg", "angle between key and slab grain",
             "lie {value:.0f} degrees from the grain, {limit:g} is asked for",
             "nothing here: a crack across the grain is a break; glue it up"),
        Rule("cracks bridged whole", no_strays, 1.0, "",
             "1 where every crack that the pocket meets runs across it",
             "meet another crack without running across it", "moving it by hand"),
        Rule("wing reach", reach, least_reach, "mm", "shorter wing past the outermost lip",
             "reach only {value:.1f} mm past the crack's lip, {limit:g} mm is asked for",
             "a longer key, or a smaller least_reach"),
    )


def bit_to_spare(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """Cutting length past the pocket's depth. [mm]"""
    return site.cutting_length - pockets.depth


def floor_left(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """Wood under each pocket, above what is kept out from below. [mm]"""
    below = np.zeros(len(pockets))
    for keep_out, area in site.keep_out:
        if keep_out.from_face == "below" and keep_out.depth is not None:
            over = shapely.intersects(pockets.shapes, area)
            below = np.maximum(below, np.where(over, keep_out.depth, 0.0))
    return site.thickness - pockets.depth - below


def room_to_edge(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """Wood between each pocket and the slab's edge; 0 where it crosses or lies outside. [mm]"""
    inside = shapely.contains_xy(site.slab, pockets.centre)
    return np.where(inside, _nearest(site.slab_edge, pockets.shapes, nearer), 0.0)


def room_to_top(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """Wood between each pocket and the finished top's edge; inf where the slab isn't trimmed. [mm]"""
    if site.top is None or site.top_edge is None:
        return np.full(len(pockets), np.inf)
    inside = shapely.contains_xy(site.top, pockets.centre)
    return np.where(inside, _nearest(site.top_edge, pockets.shapes, nearer), 0.0)


def room_to_voids(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """Wood between each pocket and the nearest void. [mm]"""
    return _nearest(site.voids, pockets.shapes, nearer)


def room_to_keep_out(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """Distance to the nearest area where nothing may be cut from above. [mm]

    What reaches up from below by a known depth is the floor rule's business.
    """
    areas = [area for k, area in site.keep_out if k.from_face != "below" or k.depth is None]
    return _nearest(STRtree(areas) if areas else None, pockets.shapes, nearer)


def room_to_wings(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """Sound wood between each pocket's wings and the nearest crack, its own included. [mm]"""
    return _nearest(site.bodies, pockets.wings, nearer)


def no_strays(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """1 where each crack that a pocket meets is held or a held crack's branch, else 0. [-]"""
    return np.where(find_crossings(pockets, site).stray.any(axis=1), 0.0, 1.0)


def reach(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """Shorter wing past the outermost lip that each pocket bridges. [mm]"""
    return wing_reach(pockets, find_crossings(pockets, site), site)


def grain_angle(pockets: Pockets, site: Site, nearer: float | None) -> FloatArray:
    """Angle between key and slab grain, 0 to 90. [deg]"""
    return angle_to_grain(pockets.angle_deg, site.grain_deg)


def measure_all(pockets: Pockets, site: Site, rules: tuple[Rule, ...]) -> FloatArray:
    """Every rule's figure for every pocket, shape (pockets, rules)."""
    return np.column_stack([rule.measure(pockets, site, None) for rule in rules])


def keeping_all(pockets: Pockets, site: Site, rules: tuple[Rule, ...]) -> NDArray[np.int64]:
    """Indices of the pockets that break no rule; each rule looks only at what the last ones left."""
    left = np.arange(len(pockets))
    for rule in rules:
        if len(left):
            left = left[rule.measure(pockets.take(left), site, rule.limit) >= rule.limit]
    return left


def _nearest(tree: STRtree | None, shapes: NDArray[np.object_], nearer: float | None) -> FloatArray:
    distances = np.full(len(shapes), np.inf)
    if tree is None or not len(shapes):
        return distances
    if nearer is not None:
        which, _ = tree.query(shapes, predicate="dwithin", distance=nearer)
        distances[which] = 0.0
        return distances
    (which, _), found = tree.query_nearest(shapes, max_distance=REPORT_WITHIN, return_distance=True,
                                           all_matches=False)
    distances[which] = found
    return distances
