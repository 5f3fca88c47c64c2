"""Where a measured crack ends.

A path that runs on where there is no gap is cut back. A path that comes near the
wood's border runs straight out to it: within a few pixels of the border a finder
sees the border as well, and its lines hook along it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.profile import FloatArray
from crackmap.survey.width import Widths

NO_GAP_PX = 0.3  # an end with less than this shows no gap
KEPT_SHARE = 0.7  # of a crack's length, however little its ends show
BORDER_PX = 7  # the border misleads a finder this near it
HOOK_PX = 24  # longest end that is straightened
AIM_PX = 24  # the direction is taken over this much of the crack
_AROUND = np.array([(np.cos(a), np.sin(a)) for a in np.arange(8) * np.pi / 4])


def run_to_border(wood: NDArray[np.bool_], points: FloatArray, free: tuple[bool, bool]) -> FloatArray:
    """The points of a crack with the `free` ends that come near the wood's border run straight out to it. [px]

    An end that points along the border stays as it is.

    `wood` has shape (H, W), `points` (N, 2).
    """
    for side in (1, 0):
        points = points if side else points[::-1]
        if free[side]:
            points = _run_out(wood, points)
        points = points if side else points[::-1]
    return points


def _run_out(wood: NDArray[np.bool_], points: FloatArray) -> FloatArray:
    """As `run_to_border`, for the last end."""
    tail = points[-HOOK_PX - 1 :]
    around = (tail[:, None, :] + BORDER_PX * _AROUND).reshape(-1, 2)
    near = np.asarray(np.any(~_on_wood(wood, around).reshape(len(tail), -1), axis=1))
    if not near[-1]:
        return points
    hook = len(near) if near.all() else int(np.argmin(near[::-1]))
    inner = points[: max(len(points) - hook, min(len(points), AIM_PX // 2))]
    outward = inner[-1] - inner[max(len(inner) - AIM_PX, 0)]
    outward = outward / max(float(np.hypot(*outward)), 1e-9)
    ahead = inner[-1] + np.outer(np.arange(1, HOOK_PX + BORDER_PX + 1), outward)
    off = ~_on_wood(wood, ahead)
    return np.vstack([inner, ahead[: int(np.argmax(off))]]) if off.any() else points


def _on_wood(wood: NDArray[np.bool_], points: FloatArray) -> NDArray[np.bool_]:
    """Whether points (N, 2) lie on the wood and in the picture."""
    column, row = np.rint(points).astype(int).T
    inside = (column >= 0) & (row >= 0) & (column < wood.shape[1]) & (row < wood.shape[0])
    return np.asarray(inside & wood[np.clip(row, 0, wood.shape[0] - 1), np.clip(column, 0, wood.shape[1] - 1)])


def without_empty_ends(widths: Widths, free: tuple[bool, bool]) -> slice:
    """The part of a path between the first and the last place with a gap, cut at `free` ends only.

    A crack that shows too little gap to tell its ends by is kept whole.
    """
    count = len(widths.width)
    shown = np.flatnonzero(widths.width >= NO_GAP_PX)
    if not len(shown):
        return slice(0, count)
    first = int(shown[0]) if free[0] else 0
    last = int(shown[-1]) + 1 if free[1] else count
    return slice(first, last) if last - first >= max(KEPT_SHARE * count, 4) else slice(0, count)
