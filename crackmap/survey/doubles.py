"""One line for one gap: a wide crack's lit wall or filler must not make a second line inside it."""

from __future__ import annotations

import numpy as np

from crackmap.survey.graph import Branch, merge_through
from crackmap.survey.near import Neighbourhood
from crackmap.survey.profile import FloatArray

INSIDE_SHARE = 0.8  # of a line's points in the gap of larger ones: it is a double
MARGIN_PX = 1.5


def without_doubles(branches: list[Branch], widths: list[FloatArray]) -> list[Branch]:
    """Branches less those that run inside the gap of larger ones; `widths` at each branch's points. [px]

    The larger has the larger gap, length times width: of two ways round a hole the main one stays.

    Each widths array has shape (N,).
    """
    size = [branch.length * float(width.mean()) for branch, width in zip(branches, widths, strict=True)]
    low = np.array([branch.points.min(0) for branch in branches])
    high = np.array([branch.points.max(0) for branch in branches])
    reach = np.array([width.max() / 2 + MARGIN_PX for width in widths])[:, None]
    order = sorted(range(len(branches)), key=lambda k: size[k])
    kept = set(order)
    for number in order[:-1]:
        apart = ((low[number] > high + reach) | (high[number] < low - reach)).any(1)
        larger = [k for k in kept if k != number and size[k] >= size[number] and not apart[k]]
        if not larger:
            continue
        points = np.concatenate([branches[k].points for k in larger])
        half = np.concatenate([widths[k] / 2 for k in larger])
        distance, nearest = Neighbourhood(points).nearest(branches[number].points)
        inside = (distance <= half[nearest] + MARGIN_PX).mean() >= INSIDE_SHARE
        if inside and not _is_needed(branches, kept, number):
            kept.discard(number)
    return merge_through([branches[k] for k in sorted(kept)])


def _is_needed(branches: list[Branch], kept: set[int], number: int) -> bool:
    """Whether the kept branches would fall apart without this one."""
    neighbours: dict[int, list[int]] = {}
    for k in kept - {number}:
        neighbours.setdefault(branches[k].start, []).append(branches[k].end)
        neighbours.setdefault(branches[k].end, []).append(branches[k].start)
    start, end = branches[number].start, branches[number].end
    if start not in neighbours or end not in neighbours:
        return False  # a loose end
    reached, front = {start}, [start]
    while front:
        for node in neighbours.get(front.pop(), []):
            if node not in reached:
                reached.add(node)
                front.append(node)
    return end not in reached
