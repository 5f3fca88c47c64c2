"""Cracks that run across the grain: what a maker must know before keying."""

from __future__ import annotations

import numpy as np

from crackmap.records import Crack

_ACROSS_DEG = 50.0  # checks follow the fibres; spiral grain and knots seldom turn them by more
_ACROSS_LEAST_MM = 30.0


def across_grain_warnings(cracks: tuple[Crack, ...], grain_deg: float) -> tuple[str, ...]:
    """A sentence that names the cracks that run across the grain, breaks rather than drying checks; or none."""
    across = []
    for crack in cracks:
        run = crack.centreline[-1] - crack.centreline[0]
        turn = abs((np.degrees(np.arctan2(run[1], run[0])) - grain_deg + 90) % 180 - 90)
        if turn > _ACROSS_DEG and crack.length > _ACROSS_LEAST_MM:
            across.append(crack.id)
    if not across:
        return ()
    names, runs = ", ".join(across), "runs" if len(across) == 1 else "run"
    return (f"{names} {runs} across the grain: a break rather than a drying check; look at it before keying.",)
