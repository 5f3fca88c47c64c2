"""Every place where a key may go: stations along the lines, each size, small turns, and spans."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from crackmap.placement.crossings import Crossings
from crackmap.placement.pockets import Cutting, Pockets, lay_pockets
from crackmap.placement.rules import Rule, keeping_all
from crackmap.placement.score import wanted_length
from crackmap.placement.site import Site
from crackmap.records import FloatArray
from crackmap.settings import PlacementSettings
from crackmap.shop import KeyChoice

_SET_OUT = 1  # decimals of a key's place [mm] and angle [deg]: what a sheet prints is what was checked


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Places that break no rule, or that the user asked for."""

    pockets: Pockets
    crossings: Crossings
    price: FloatArray  # (N,) [-]
    user: NDArray[np.int64]  # (N,) index of the user's key, -1 for the tool's own


def own_places(asking: list[int], site: Site, cuttings: tuple[Cutting, ...], rules: tuple[Rule, ...],
               choice: KeyChoice, settings: PlacementSettings) -> Pockets:
    """Pockets along and across the asking lines that break no rule."""
    kinds, centres, angles = [], [], []
    for n in asking:
        for kind, centre, angle in [*_along(n, site, cuttings, choice, settings),
                                    *_across(n, asking, site, cuttings, settings)]:
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


def _along(n: int, site: Site, cuttings: tuple[Cutting, ...], choice: KeyChoice,
           settings: PlacementSettings) -> list[tuple[NDArray[np.int64], FloatArray, FloatArray]]:
    line = site.lines[n]
    count = max(1, int(line.length / settings.station_step))
    arcs = np.asarray((np.arange(count) + 0.5) * (line.length / count), np.float64)
    wanted = wanted_length(line.width_at(arcs), line.width_at(arcs), choice, settings)
    lengths = np.array([c.size.length for c in cuttings])
    places = []
    for kind, cutting in enumerate(cuttings):
        # One size larger than asked for may fit its neighbours better; two never do.
        enough = (lengths < cutting.size.length) & (lengths >= wanted[:, None])
        at = arcs[enough.sum(axis=1) <= 1]
        centre, direction = line.frames(at, cutting.half_width)
        places.append((np.full(len(at), kind), centre, direction + 90.0))
    return places


def _across(n: int, asking: list[int], site: Site, cuttings: tuple[Cutting, ...],
            settings: PlacementSettings) -> list[tuple[NDArray[np.int64], FloatArray, FloatArray]]:
    """Pockets across line `n` and neighbours that run beside it, the waist midway.

    A ray square to `n` meets the neighbours in turn; each prefix of them is a
    group. `n` is the group's first line by number, so that none comes twice.
    """
    line = site.lines[n]
    most = 2.0 * max(c.middle for c in cuttings)
    count = max(1, int(line.length / (2.0 * settings.station_step)))
    arcs = np.asarray((np.arange(count) + 0.5) * (line.length / count), np.float64)
    half_window = float(np.median([c.half_width for c in cuttings]))
    start, direction = line.frames(arcs, half_window)
    others = [m for m in asking if m != n]
    if not others:
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
            places += _groups(n, sorted(met_lines), start[ray], step[ray], float(arcs[ray]),
                              float(direction[ray]), site, cuttings, settings)
    return places


def _groups(n: int, met: list[tuple[float, int]], start: FloatArray, step: FloatArray, arc: float,
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
        if m < n:
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
    """Each place at the first of the allowed turns that breaks no rule, in figures that can be set out."""
    centre, angle = np.round(centre, _SET_OUT), np.round(angle, _SET_OUT)
    turn_of = np.full(len(kind), np.nan)
    for turn in settings.turns:
        left = np.flatnonzero(np.isnan(turn_of))
        if not len(left):
            break
        trial = lay_pockets(cuttings, kind[left], centre[left], angle[left] + turn)
        turn_of[left[keeping_all(trial, site, rules)]] = turn
    sound = ~np.isnan(turn_of)
    return lay_pockets(cuttings, kind[sound], centre[sound], angle[sound] + turn_of[sound])
