"""Every place where a key may go: stations along the lines, each size, small turns, and spans."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from crackmap.placement.crossings import Crossings
from crackmap.placement.pockets import Cutting, Pockets, lay_pockets
from crackmap.placement.rules import Rule, keeping_all
from crackmap.placement.score import ABOUT, wanted_length
from crackmap.placement.site import Site
from crackmap.records import FloatArray
from crackmap.settings import PlacementSettings
from crackmap.shop import KeyChoice

Pieces = Mapping[int, list[tuple[float, float]]]  # of lines, by number: pairs of arcs [mm]

SET_OUT = 1  # decimals of a key's place [mm] and angle [deg]: what a sheet prints is what was checked


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Places that break no rule, or that the user asked for."""

    pockets: Pockets
    crossings: Crossings
    price: FloatArray  # (N,) [-]
    user: NDArray[np.int64]  # (N,) index of the user's key, -1 for the tool's own
    needed: NDArray[np.bool_]  # (N,) the user's, and those of an earlier plan that must not move
    stay: NDArray[np.bool_]  # (N,) those of an earlier plan that should not move without need


def own_places(asking: list[int], site: Site, cuttings: tuple[Cutting, ...], rules: tuple[Rule, ...],
               choice: KeyChoice, settings: PlacementSettings, within: Pieces | None = None) -> Pockets:
    """Pockets along and across the asking lines that break no rule.

    Parameters
    ----------
    asking : list of int
        Numbers of the lines that may get keys.
    within : mapping from line number to pieces of it, optional
        Where to look: pairs of arcs [mm]. All along every asking line where left out.
    """
    searched = asking if within is None else [n for n in asking if n in within]
    kinds, centres, angles = [], [], []
    for n in searched:
        pieces = None if within is None else within[n]
        for kind, centre, angle in [*_along(n, site, cuttings, choice, settings, pieces),
                                    *_across(n, asking, searched, site, cuttings, settings, pieces)]:
            kinds.append(kind)
            centres.append(centre)
            angles.append(angle)
    if not kinds:
        return lay_pockets(cuttings, np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros(0))
    return _turned_until_sound(np.concatenate(kinds), np.concatenate(centres), np.concatenate(angles),
                               site, cuttings, rules, settings)


def stations(n: int, site: Site, cuttings: tuple[Cutting, ...], choice: KeyChoice,
             settings: PlacementSettings) -> tuple[NDArray[np.int64], FloatArray, FloatArray]:
    """Kind, centre and angle of pockets square to line `n` at every station, before any rule."""
    parts = list(_along(n, site, cuttings, choice, settings))
    return tuple(np.concatenate([p[k] for p in parts]) for k in range(3))  # type: ignore[return-value]


def _stations(n: int, site: Site, step: float, pieces: list[tuple[float, float]] | None,
              settings: PlacementSettings) -> FloatArray:
    """Arcs along a line, those within pieces of it: at even steps, half as long about its forks. [mm]

    Just before a fork a key holds both branches by their stem, just beyond it
    one may span both where they still lie near; neither place is wide.
    """
    line = site.lines[n]
    count = max(1, int(line.length / step))
    even = (np.arange(count) + 0.5) * (line.length / count)
    finer = [even]
    for fork in _forks(n, site):
        finer.append(fork + np.arange(-settings.fork_reach, settings.fork_reach + 1e-9, step / 2.0))
    arcs = np.unique(np.concatenate(finer))
    arcs = np.asarray(arcs[(arcs >= 0.0) & (arcs <= line.length)], np.float64)
    if pieces is None:
        return arcs
    return arcs[np.any([(arcs >= a) & (arcs <= b) for a, b in pieces], axis=0)] if pieces else arcs[:0]


def _forks(n: int, site: Site) -> list[float]:
    """Arcs of line `n` where it branches off another or another branches off it. [mm]"""
    line, found = site.lines[n], []
    for m in np.flatnonzero(site.attached[n]).tolist():
        other = site.lines[m]
        roots = [p for p, kind in ((other.points[0], other.ends[0]), (other.points[-1], other.ends[1]))
                 if kind == "junction"]
        away = [np.hypot(*(line.points - root).T) for root in roots]
        found += [float(line.arc[int(d.argmin())]) for d in away]
    return found


def _along(n: int, site: Site, cuttings: tuple[Cutting, ...], choice: KeyChoice, settings: PlacementSettings,
           pieces: list[tuple[float, float]] | None = None,
           ) -> list[tuple[NDArray[np.int64], FloatArray, FloatArray]]:
    line = site.lines[n]
    arcs = _stations(n, site, settings.station_step, pieces, settings)
    wanted = wanted_length(line.width_about(arcs, ABOUT), line.width_about(arcs, ABOUT), choice, settings)
    lengths = np.array([c.size.length for c in cuttings])
    places = []
    for kind, cutting in enumerate(cuttings):
        # One size larger than asked for may fit its neighbours better; two never do.
        enough = (lengths < cutting.size.length) & (lengths >= wanted[:, None])
        at = arcs[enough.sum(axis=1) <= 1]
        centre, direction = line.frames(at, cutting.half_width)
        places.append((np.full(len(at), kind), centre, direction + 90.0))
    return places


def _across(n: int, asking: list[int], searched: list[int], site: Site, cuttings: tuple[Cutting, ...],
            settings: PlacementSettings, pieces: list[tuple[float, float]] | None,
            ) -> list[tuple[NDArray[np.int64], FloatArray, FloatArray]]:
    """Pockets across line `n` and neighbours that run beside it, the waist midway.

    A ray square to `n` meets the neighbours in turn; each prefix of them is a
    group. `n` is the first by number of the group's lines that are searched,
    so that none comes twice.
    """
    line = site.lines[n]
    most = 2.0 * max(c.middle for c in cuttings)
    arcs = _stations(n, site, 2.0 * settings.station_step, pieces, settings)
    half_window = float(np.median([c.half_width for c in cuttings]))
    start, direction = line.frames(arcs, half_window)
    others = [m for m in asking if m != n]
    if not others or not len(arcs):
        return []
    tree = STRtree([shapely.linestrings(site.lines[m].points) for m in others])
    places = []
    for side in (90.0, -90.0):
        a = np.radians(direction + side)
        step = np.column_stack([np.cos(a), np.sin(a)])
        rays = shapely.linestrings(np.stack([start, start + most * step], axis=1))
        hits: dict[int, list[tuple[float, int]]] = {}
        for ray, other in zip(*tree.query(rays, predicate="intersects"), strict=True):
            met = shapely.get_coordinates(shapely.intersection(rays[ray], tree.geometries[other]))
            distance = float(np.hypot(*(met - start[ray]).T).min())
            hits.setdefault(int(ray), []).append((distance, others[int(other)]))
        for ray, met_lines in hits.items():
            places += _groups(n, searched, sorted(met_lines), start[ray], step[ray], float(arcs[ray]),
                              float(direction[ray]), site, cuttings, settings)
    return places


def _groups(n: int, searched: list[int], met: list[tuple[float, int]], start: FloatArray, step: FloatArray, arc: float,
            direction: float, site: Site, cuttings: tuple[Cutting, ...],
            settings: PlacementSettings) -> list[tuple[NDArray[np.int64], FloatArray, FloatArray]]:
    places = []
    directions, half = [direction], float(site.lines[n].width_at(np.array([arc]))[0]) / 2.0
    for distance, m in met:
        other = site.lines[m]
        point = start + distance * step
        at = other.arc[int(np.argmin(np.hypot(*(other.points - point).T)))]
        _, theirs = other.frames(np.array([at]), 12.0)
        turn = float((theirs[0] - direction + 90.0) % 180.0 - 90.0)
        if abs(turn) > settings.parallel_within:
            break
        directions.append(direction + turn)
        if m < n and m in searched:
            continue
        outer = float(other.width_at(np.array([at]))[0]) / 2.0
        width = distance + half + outer
        kinds = [k for k, c in enumerate(cuttings) if 2.0 * c.middle >= width + 2.0 * settings.crack_margin]
        centre = start + step * (distance + outer - half) / 2.0
        if kinds:
            places.append((np.array(kinds), np.tile(centre, (len(kinds), 1)),
                           np.full(len(kinds), float(np.mean(directions)) + 90.0)))
    return places


def _turned_until_sound(kind: NDArray[np.int64], centre: FloatArray, angle: FloatArray, site: Site,
                        cuttings: tuple[Cutting, ...], rules: tuple[Rule, ...],
                        settings: PlacementSettings) -> Pockets:
    """Each place at the first of the allowed turns and shifts that breaks no rule, in figures that can be set out.

    A shift moves the pocket along itself, so that the crack crosses off the
    waist: toward the sound wood of a crack that hugs an edge or a void.
    """
    centre, angle = np.round(centre, SET_OUT), np.round(angle, SET_OUT)
    middle = np.array([c.middle for c in cuttings])[kind]
    is_sound = np.zeros(len(kind), bool)
    for turn, shift in [*((turn, 0.0) for turn in settings.turns), *((0.0, shift) for shift in settings.shifts)]:
        left = np.flatnonzero(~is_sound)
        if not len(left):
            break
        a = np.radians(angle[left] + turn)
        along = np.column_stack([np.cos(a), np.sin(a)]) * (shift * middle[left])[:, None]
        trial = lay_pockets(cuttings, kind[left], np.round(centre[left] + along, SET_OUT),
                            (angle[left] + turn) % 180.0)
        kept = keeping_all(trial, site, rules)
        centre[left[kept]], angle[left[kept]], is_sound[left[kept]] = trial.centre[kept], trial.angle_deg[kept], True
    return lay_pockets(cuttings, kind[is_sound], centre[is_sound], angle[is_sound])
