"""The rough outline drawn on to the edge of the show face, in passes from wide to narrow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.edge_band import band_along, tidy
from crackmap.survey.edge_layers import learn_wood, profiles_of, split_cost, zone_moments
from crackmap.survey.edge_mixture import Mixture
from crackmap.survey.edge_paint import painted_ends
from crackmap.survey.edge_path import closed_path
from crackmap.survey.edge_view import View
from crackmap.survey.light import FloatImage

BoolMask = NDArray[np.bool_]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Pass:
    """One pass along the outline; lengths in mm, offsets outward."""

    inner: float
    outer: float
    wood: tuple[float, float]
    bench: tuple[float, float]
    along: float
    across: float
    steepest: int
    stiffness: float
    # Notches narrower than `mouth` are filled (a check's mouth), arms narrower than
    # `arm` cut off (a rule) where they reach more than `corner` beyond the rest.
    mouth: float
    arm: float
    corner: float


# The rough outline may lie on the bark's far side or along the heartwood: up to
# 40 mm off. Sapwood and bark together are seldom wider than that again.
_WIDE = _Pass(-70.0, 80.0, (-70.0, -38.0), (45.0, 80.0), 5.0, 2.5, 4, 1.0, mouth=40.0, arm=60.0, corner=22.0)
_NEARER = _Pass(-40.0, 60.0, (-30.0, -8.0), (30.0, 60.0), 2.5, 1.25, 4, 0.6, mouth=18.0, arm=30.0, corner=12.0)
_PASSES = (_WIDE, _WIDE, _NEARER)
_TIDY_CELL_MM = 1.5  # fine enough: the last pass draws the outline anew


def settled(ring: FloatArray, view: View, usable: BoolMask, grain: FloatArray) -> FloatArray:
    """The closed outline (N, 2) moved to where the show face ends. [px of the view]

    Parameters
    ----------
    ring : ndarray, shape (N, 2)
        Rough outline. [px of the view]
    view : View
    usable : ndarray of bool, shape (h, w)
        Where slab or bench is in plain view.
    grain : ndarray, shape (2,)
        Unit vector along the grain.
    """
    known: Mixture | None = None
    ring = _tidied(ring, view, _WIDE)
    for turn in _PASSES:
        offsets = np.arange(turn.inner, turn.outer + turn.across / 2, turn.across)
        band = band_along(ring, view.mm_per_px, turn.along, offsets, 1.25 * turn.along, 6 * turn.along)
        profiles = profiles_of(band, view.pixels, usable)
        wood, bench = zone_moments(profiles, turn.wood), zone_moments(profiles, turn.bench)
        found = _offsets(split_cost(profiles, wood, bench, known), turn)
        paint = painted_ends(profiles, found, grain, wood, bench)
        if paint:
            found = _offsets(split_cost(profiles, wood, bench, known, paint), turn)
        known = learn_wood(profiles, found)
        ring = _tidied(band.at(found), view, turn)
    return ring


def _offsets(cost: FloatImage, turn: _Pass) -> FloatArray:
    """Offset of the edge at each station. [mm]"""
    path = closed_path(cost, turn.steepest, turn.stiffness)
    return np.asarray(turn.inner + (path - 0.5) * turn.across)


def _tidied(ring: FloatArray, view: View, turn: _Pass) -> FloatArray:
    return tidy(ring, view.mm_per_px, turn.mouth, turn.arm, turn.corner, cell=max(turn.across, _TIDY_CELL_MM))
