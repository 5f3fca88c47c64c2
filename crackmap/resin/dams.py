"""Where resin would run out: openings below, and cracks that open at the slab's edge or end."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.records import THROUGH, Crack, Dam, FloatArray, OtherFace, Survey, frozen_array
from crackmap.resin.depths import Depths
from crackmap.resin.openings import Opening
from crackmap.settings import ResinSettings


def dams_of(survey: Survey, found: list[tuple[Opening, Depths]], thickness_mm: float, finished: FloatArray | None,
            settings: ResinSettings) -> tuple[Dam, ...]:
    """Every place to tape or dam before the pour, those below first.

    Parameters
    ----------
    survey : Survey
    found : list of (Opening, Depths)
        What resin is poured into.
    thickness_mm : float
        Of the slab. [mm]
    finished : ndarray, shape (N, 2), or None
        Outline of the finished top; a crack that runs out over it is dammed at the slab's end all the same. [mm]
    """
    cracks = {c.id: c for c in survey.cracks}
    voids = {v.id: v for v in survey.voids}
    below: list[Dam] = []
    ends: list[Dam] = []
    for opening, depths in found:
        if opening.id in voids:
            below += _void_dams(opening, np.asarray(voids[opening.id].polygon), depths, thickness_mm, settings)
        else:
            below += _crack_dams(opening, depths, thickness_mm, settings)
            ends += _end_dams(cracks[opening.id], finished, settings)
    if survey.other_face is not None:
        below += _only_below(survey.other_face, settings)
    return tuple(Dam(f"D{n}", d.opening, d.where, d.sure, d.line, d.width, d.margin)
                 for n, d in enumerate([*below, *ends], 1))


def _void_dams(opening: Opening, rim: FloatArray, depths: Depths, thickness: float,
               settings: ResinSettings) -> list[Dam]:
    through = bool(opening.state[0] == THROUGH) or depths.source == "through"
    if not through and not _may_be_through(opening.state[:1], depths.most[:1], thickness, settings).any():
        return []
    return [Dam("", opening.id, "below", through, frozen_array(np.vstack([rim, rim[:1]]), 2), float(opening.width[0]),
                settings.tape_margin)]


def _crack_dams(opening: Opening, depths: Depths, thickness: float, settings: ResinSettings) -> list[Dam]:
    """One dam for each stretch of a crack that comes, or may come, out below."""
    sure = (opening.state == THROUGH) | ((depths.source == "through") & (depths.best >= thickness - 1e-6))
    maybe = ~sure & _may_be_through(opening.state, depths.most, thickness, settings)
    dams = []
    for seen, certain in ((sure, True), (maybe, False)):
        for first, last in _runs(seen):
            line = opening.place[first:last]
            width = float(opening.width[first:last].max())
            dams.append(Dam("", opening.id, "below", certain, frozen_array(line, 2), width, settings.tape_margin))
    return dams


def _may_be_through(state: NDArray[np.int8], most: FloatArray, thickness: float,
                    settings: ResinSettings) -> NDArray[np.bool_]:
    """Nobody has seen whether it is through, and it may be as deep as the slab."""
    return np.asarray((state < 0) & (most >= thickness - settings.through_within))


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.r_[0, flags.astype(np.int8), 0]))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _end_dams(crack: Crack, finished: FloatArray | None, settings: ResinSettings) -> list[Dam]:
    dams = []
    for kind, place, width in ((crack.ends[0], crack.centreline[0], crack.width[0]),
                               (crack.ends[1], crack.centreline[-1], crack.width[-1])):
        if kind != "edge" or float(width) < settings.least_width:
            continue
        if finished is not None and not shapely.Polygon(finished).buffer(1.0).intersects(
                shapely.linestrings(crack.centreline)):
            continue  # wholly in what is sawn off: not filled
        dams.append(Dam("", crack.id, "end", True, frozen_array(np.asarray(place)[None], 2), float(width),
                        settings.tape_margin))
    return dams


def _only_below(other: OtherFace, settings: ResinSettings) -> list[Dam]:
    """Openings seen below alone: something may lead to them inside the wood."""
    dams = []
    cracks = {c.id: c for c in other.survey.cracks}
    voids = {v.id: v for v in other.survey.voids}
    for name in other.only_below:
        if name in cracks:
            line, width = cracks[name].centreline, cracks[name].widest
        else:
            rim = np.asarray(voids[name].polygon)
            line, width = np.vstack([rim, rim[:1]]), float(np.ptp(rim, axis=0).max())
        if width >= settings.least_width:
            dams.append(Dam("", f"{name} below", "below", False, frozen_array(other.to_show(line), 2), float(width),
                            settings.tape_margin))
    return dams
