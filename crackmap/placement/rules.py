"""The hard rules: one function each, from pockets to the figure that is limited.

Every rule asks for at least its limit, so that one comparison serves all:
the optimiser's filter, the checks printed beside each key, and the reasons why
a crack has none. Exact distances go up to `REPORT_WITHIN` and are inf beyond.
The filter looks distances up (look_up.py), many times as quick, and asks for a
little more than the limit, by which a look-up may be wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.placement.crossings import Crossings, find_crossings
from crackmap.placement.look_up import OVERSTATED, least_by_pocket
from crackmap.placement.pockets import Pockets
from crackmap.placement.score import angle_to_grain, wing_reach
from crackmap.placement.site import Boundary, Site
from crackmap.records import FloatArray
from crackmap.settings import PlacementSettings

REPORT_WITHIN = 25.0  # how far reports look; twice the largest margin [mm]


class Trial:
    """Pockets on a site, to be measured; what several rules need is found once.

    With `quick`, distances are looked up, and inf beyond the look-up's reach.
    """

    def __init__(self, pockets: Pockets, site: Site, quick: bool) -> None:
        self.pockets, self.site, self.quick = pockets, site, quick

    @cached_property
    def crossings(self) -> Crossings:
        """Lines that each pocket holds and touches."""
        return find_crossings(self.pockets, self.site)

    def take(self, rows: NDArray[np.bool_]) -> Trial:
        """Some of the pockets."""
        taken = Trial(self.pockets.take(rows), self.site, self.quick)
        if "crossings" in self.__dict__:
            taken.__dict__["crossings"] = self.crossings.rows(np.flatnonzero(rows))
        return taken


Measure = Callable[[Trial], FloatArray]


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
    slack: float = 0.0  # asked for on top by the filter, for what a look-up overstates


def all_rules(settings: PlacementSettings, least_floor: float, least_reach: float) -> tuple[Rule, ...]:
    """The rules in force, in the order in which they are named when several are broken. Both least lengths in mm."""
    return (
        Rule("bit reaches", bit_to_spare, 0.0, "mm", "cutting length past the pocket's depth",
             "be deeper than the bit cuts", "a longer bit or a shallower pocket"),
        Rule("floor", floor_left, least_floor, "mm", "wood under the pocket, or over what is kept out below",
             "leave {value:.1f} mm of floor, {limit:g} mm is asked for", "a shallower pocket"),
        Rule("slab edge", room_to_edge, settings.edge_margin, "mm", "sound wood to the slab's edge",
             "come within {value:.1f} mm of the slab's edge, {limit:g} mm is asked for",
             "a smaller key or a smaller edge margin", OVERSTATED),
        Rule("finished top", room_to_top, settings.edge_margin, "mm", "wood to the finished top's edge",
             "come within {value:.1f} mm of where the top will be cut, {limit:g} mm is asked for",
             "a larger finished top", OVERSTATED),
        Rule("voids", room_to_voids, settings.void_margin, "mm", "sound wood to the nearest void",
             "come within {value:.1f} mm of a void, {limit:g} mm is asked for",
             "filling the void first, or a smaller void margin", OVERSTATED),
        Rule("keep-out", room_to_keep_out, settings.keep_out_margin, "mm", "to the nearest area kept out",
             "come within {value:.1f} mm of an area kept out, {limit:g} mm is asked for",
             "a smaller area kept out", OVERSTATED),
        Rule("sound wings", room_to_wings, settings.crack_margin, "mm",
             "sound wood between the wings and any crack",
             "have a crack within {value:.1f} mm of a wing, {limit:g} mm is asked for",
             "a longer key across both cracks", OVERSTATED),
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


def bit_to_spare(trial: Trial) -> FloatArray:
    """Cutting length past the pocket's depth. [mm]"""
    return trial.site.cutting_length - trial.pockets.depth


def floor_left(trial: Trial) -> FloatArray:
    """Wood under each pocket, above what is kept out from below. [mm]"""
    below = np.zeros(len(trial.pockets))
    for keep_out, area in trial.site.keep_out:
        if keep_out.from_face == "below" and keep_out.depth is not None:
            over = shapely.intersects(trial.pockets.shapes, area)
            below = np.maximum(below, np.where(over, keep_out.depth, 0.0))
    return trial.site.thickness - trial.pockets.depth - below


def room_to_edge(trial: Trial) -> FloatArray:
    """Wood between each pocket and the slab's edge; 0 where it crosses or lies outside. [mm]"""
    return _room_within(trial, trial.site.slab_edge)


def room_to_top(trial: Trial) -> FloatArray:
    """Wood between each pocket and the finished top's edge; inf where the slab isn't trimmed. [mm]"""
    if trial.site.top_edge is None:
        return np.full(len(trial.pockets), np.inf)
    return _room_within(trial, trial.site.top_edge)


def room_to_voids(trial: Trial) -> FloatArray:
    """Wood between each pocket and the nearest void. [mm]"""
    return _room_outside(trial, trial.site.void_edges)


def room_to_keep_out(trial: Trial) -> FloatArray:
    """Distance to the nearest area where nothing may be cut from above. [mm]

    What reaches up from below by a known depth is the floor rule's business.
    """
    return _room_outside(trial, trial.site.keep_out_edges)


def room_to_wings(trial: Trial) -> FloatArray:
    """Sound wood between each pocket's wings and the nearest crack, its own included. [mm]"""
    if not trial.quick:
        return _nearest(trial.site.bodies, trial.pockets.wings)
    room = np.zeros(len(trial.pockets))
    # Most places fail by a crack through the middle of a wing, which is found sooner.
    left = np.flatnonzero(~trial.pockets.have_in_core(trial.site.discs))
    room[left] = least_by_pocket(
        trial.pockets.take(left).near(trial.site.discs, wings=True, within=trial.site.crack_margin + 1.0), len(left))
    return room


def no_strays(trial: Trial) -> FloatArray:
    """1 where each crack that a pocket meets is held or a held crack's branch, else 0. [-]"""
    return np.where(trial.crossings.stray.any(axis=1), 0.0, 1.0)


def reach(trial: Trial) -> FloatArray:
    """Shorter wing past the outermost lip that each pocket bridges. [mm]"""
    return wing_reach(trial.pockets, trial.crossings, trial.site)


def grain_angle(trial: Trial) -> FloatArray:
    """Angle between key and slab grain, 0 to 90. [deg]"""
    return angle_to_grain(trial.pockets.angle_deg, trial.site.grain_deg)


def measure_all(pockets: Pockets, site: Site, rules: tuple[Rule, ...], quick: bool = False) -> FloatArray:
    """Every rule's figure for every pocket, shape (pockets, rules)."""
    trial = Trial(pockets, site, quick)
    return np.column_stack([rule.measure(trial) for rule in rules])


def keeping_all(pockets: Pockets, site: Site, rules: tuple[Rule, ...], strict: bool = True) -> NDArray[np.int64]:
    """Indices of the pockets that break no rule; each rule looks only at what the last ones left.

    With `strict`, so far from the limits that exact figures keep them too.
    """
    left, trial = np.arange(len(pockets)), Trial(pockets, site, quick=True)
    for rule in rules:
        if len(left):
            keeps = rule.measure(trial) >= rule.limit + (rule.slack if strict else 0.0)
            left, trial = left[keeps], trial.take(keeps)
    return left


def _room_within(trial: Trial, edge: Boundary) -> FloatArray:
    """Distance to an edge from inside, 0 outside. [mm]"""
    return np.where(edge.encloses(trial.pockets.centre), _room_to(trial, edge), 0.0)


def _room_outside(trial: Trial, edges: Boundary) -> FloatArray:
    """Distance to the nearest edge from outside, 0 inside. [mm]"""
    return np.where(edges.encloses(trial.pockets.centre), 0.0, _room_to(trial, edges))


def _room_to(trial: Trial, edges: Boundary) -> FloatArray:
    if trial.quick:
        return least_by_pocket(trial.pockets.near(edges.points), len(trial.pockets))
    return _nearest(edges.tree, trial.pockets.shapes)


def _nearest(tree: shapely.STRtree | None, shapes: NDArray[np.object_]) -> FloatArray:
    distances = np.full(len(shapes), np.inf)
    if tree is None or not len(tree) or not len(shapes):
        return distances
    (which, _), found = tree.query_nearest(shapes, max_distance=REPORT_WITHIN, return_distance=True,
                                           all_matches=False)
    distances[which] = found
    return distances
