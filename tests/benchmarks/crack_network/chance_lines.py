"""From the chance of crack at each pixel to thin lines, and how sure each line is."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.graph import Branch, branches_of, prune_spurs, thin
from crackmap.survey.judge_points import rough_widths
from crackmap.survey.ridge import STRENGTH_UNIT, LineMap

LOW, HIGH = 0.3, 0.6  # chance at which a line goes on, and which it must reach somewhere [-]
SHORTEST_PX = 8.0  # shorter lines are pores and flecks
RIM_PX = 4  # the wood's own edge is a dark line too: nothing this near it starts a line
BESIDE_PX = 10.0  # a line that stays this near the edge is the edge's shadow, not a crack
BESIDE_SHARE = 0.6
# Log-odds of a line from the mean log-odds of its pixels: logistic regression on the 120 lines found in
# eight generated scenes that the network was not fitted on. The line's length told nothing more.
CONFIDENCE_OFFSET, CONFIDENCE_GAIN = -1.1, 0.70
LEAST_CHANCE = 0.002


def within_rim(wood: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The wood without its rim; the picture's own border is no rim."""
    side = 2 * RIM_PX + 1
    kept = cv2.erode(wood.astype(np.uint8), np.ones((side, side), np.uint8), borderValue=1)
    return np.asarray(kept > 0)


def chance_strength(chance: NDArray[np.float32], lines: LineMap) -> LineMap:
    """Lines whose strength is the chance, even odds counting as 1; the scale is that of `lines`."""
    strength = cv2.convertScaleAbs(chance, alpha=2 * STRENGTH_UNIT)
    return LineMap(np.asarray(strength, np.uint8), lines.scale)


def chance_branches(chance: NDArray[np.float32], lines: LineMap) -> list[Branch]:
    """The branches of the lines along which crack is likely."""
    level = np.asarray(cv2.convertScaleAbs(chance, alpha=255), np.uint8)
    mask = (level >= round(255 * LOW)).view(np.uint8)
    found = branches_of(thin(mask, level, round(255 * HIGH), round(SHORTEST_PX)))
    if not found:
        return []
    nodes = {node: point for b in found for node, point in ((b.start, b.points[0]), (b.end, b.points[-1]))}
    half = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    reach = rough_widths(lines, np.array(list(nodes.values())))
    # A spur at a node is as long as the line there is half wide, and a bit.
    limits = {
        node: max(6.0, 0.9 * float(wide), 1.5 * float(half[round(point[1]), round(point[0])]))
        for (node, point), wide in zip(nodes.items(), reach, strict=True)
    }
    return prune_spurs(found, limits)


def without_edge_lines(branches: list[Branch], wood: NDArray[np.bool_]) -> list[Branch]:
    """Branches less those that run along the wood's edge."""
    framed = np.pad(wood.astype(np.uint8), 1, constant_values=1)
    inside = cv2.distanceTransform(framed, cv2.DIST_L2, 3)[1:-1, 1:-1]

    def beside(branch: Branch) -> bool:
        column, row = np.rint(branch.points).astype(int).T
        return bool((inside[row, column] < BESIDE_PX).mean() > BESIDE_SHARE)

    return [branch for branch in branches if not beside(branch)]


def line_confidences(chance: NDArray[np.float32], branches: list[Branch]) -> list[float]:
    """How sure it is that each line is a crack, from the mean log-odds along it. [-]

    The pixels of a line are no independent witnesses: their mean, not their sum, counts.
    """
    best = cv2.dilate(chance, np.ones((3, 3), np.uint8))
    sure = []
    for branch in branches:
        column, row = np.rint(branch.points).astype(int).T
        seen = np.clip(best[row, column], LEAST_CHANCE, 1 - LEAST_CHANCE)
        odds = CONFIDENCE_OFFSET + CONFIDENCE_GAIN * float(np.log(seen / (1 - seen)).mean())
        sure.append(float(1 / (1 + np.exp(-odds))))
    return sure
