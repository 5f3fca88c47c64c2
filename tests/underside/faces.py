"""Both faces of a slab made in code: a bevelled live edge, a through crack that leans, a blind one, voids."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from crackmap.records import Crack, FloatArray, Survey, Void, frozen_array
from tests.placement.slabs import make_survey

LENGTH, WIDTH, THICKNESS = 1400.0, 480.0, 45.0  # [mm]
THROUGH_TO = 260.0  # the through crack comes out below from the end as far as this [mm]
LEAN = 3.0  # of its walls from face to face [mm]


def _edges(bevel_top: float, bevel_bottom: float) -> FloatArray:
    x = np.linspace(0.0, LENGTH, 300)
    low = 12.0 * np.sin(x / 140.0) + 5.0 * np.sin(x / 47.0) + bevel_bottom * (1.0 + 0.3 * x / LENGTH)
    high = WIDTH + 10.0 * np.sin(x / 190.0 + 1.0) + 4.0 * np.sin(x / 61.0) - bevel_top
    return np.vstack([np.column_stack([x, low]), np.column_stack([x, high])[::-1]])


def _crack(name: str, x: tuple[float, float], y: float, width: float) -> Crack:
    at = np.linspace(*x, int(abs(x[1] - x[0])) + 1)
    line = np.column_stack([at, y + 6.0 * np.sin(at / 60.0)])
    return Crack(name, frozen_array(line), frozen_array(np.full(len(at), width)), ("edge", "tip"), 0.9)


def _hole(name: str, x: float, y: float, radius: float) -> Void:
    turn = np.linspace(0.0, 2.0 * np.pi, 40, endpoint=False)
    return Void(name, frozen_array(np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])))


def show_face() -> Survey:
    """Cracks C1 (through as far as THROUGH_TO) and C2 (blind); voids V1 (through) and V2 (blind)."""
    return make_survey([_crack("C1", (0.0, 400.0), 180.0, 6.0), _crack("C2", (700.0, 900.0), 330.0, 3.0)],
                       voids=(_hole("V1", 1000.0, 140.0, 16.0), _hole("V2", 500.0, 390.0, 14.0)),
                       outline=frozen_array(_edges(0.0, 0.0)))


def underside(turn_deg: float = 0.0, shift: tuple[float, float] = (0.0, 0.0), bevels: tuple[float, float] = (11.0, 7.0),
              *, with_openings: bool = True) -> Survey:
    """The other face in a frame of its own, as seen from below once the slab is turned over.

    `under = turn (mirror show) + shift`, so `show = mirror turn^-1 (under - shift)`.
    """
    seen = make_survey([_crack("C1", (0.0, THROUGH_TO), 180.0 + LEAN, 4.0)] if with_openings else [],
                       voids=(_hole("V1", 1000.0, 140.0, 10.0),) if with_openings else (),
                       outline=frozen_array(_edges(*bevels)))
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])

    def moved(points: FloatArray) -> FloatArray:
        return frozen_array((points * (1.0, -1.0)) @ turn.T + shift)

    return replace(seen, outline=frozen_array(moved(seen.outline)[::-1]),
                   cracks=tuple(replace(c, centreline=moved(c.centreline)) for c in seen.cracks),
                   voids=tuple(replace(v, polygon=moved(v.polygon)) for v in seen.voids))


def true_place(points_under: FloatArray, turn_deg: float, shift: tuple[float, float]) -> FloatArray:
    """Where points of that underside lie on the show face, by the map that made them. [mm]"""
    a = np.radians(turn_deg)
    back = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return np.asarray((points_under - shift) @ back.T * (1.0, -1.0))
