"""Lines in a picture of wood that may be cracks."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.grain_field import GrainField, grain_field
from crackmap.survey.graph import Branch, branches_of, prune_spurs, thin
from crackmap.survey.judge_features import Pieces, pieces_of
from crackmap.survey.judge_points import rough_widths
from crackmap.survey.profile import Path, smoothed_paths
from crackmap.survey.ridge import SCALES, STRENGTH_UNIT, LineMap, line_map
from crackmap.survey.tone import WoodValue, wood_value

LOW, HIGH = 0.75, 1.25  # strength at which a line goes on, and which it must reach somewhere [-]
SHORTEST_PX = 12.0
SHORTEST_MM = 6.0  # shorter lines are pores and flecks
CREST_REACH = 1.2  # in sigmas of the scale that answered
CREST_SHARE = 0.6
SMOOTHING_PX = 2.0  # takes the staircase of pixels off a path


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """The lines of a picture and what was measured on the way.

    `paths` are the `branches` smoothed, point for point; both have one entry a line.
    """

    image: NDArray[np.uint8]
    seen: WoodValue
    lines: LineMap
    grain: GrainField
    branches: list[Branch]
    paths: list[Path]
    mm_per_px: float

    def pieces(self) -> Pieces:
        """Features of the pieces of all lines."""
        return pieces_of(self.image, self.seen, self.lines, self.grain, self.paths, self.mm_per_px)


def candidates(image: NDArray[np.uint8], mm_per_px: float, wood: NDArray[np.bool_] | None) -> Candidates:
    """Every line dark enough, against texture and tone, to be worth a look."""
    seen = wood_value(image, wood)
    lines = line_map(seen)
    branches = _branches(lines, max(SHORTEST_PX, SHORTEST_MM / mm_per_px))
    paths = smoothed_paths([branch.points for branch in branches], SMOOTHING_PX) if branches else []
    return Candidates(image, seen, lines, grain_field(seen), branches, paths, mm_per_px)


def _crests(lines: LineMap) -> NDArray[np.uint8]:
    """1 where the strength is high and not far below the highest nearby.

    "Nearby" is as far as the scale that answered there reaches, so that the
    broad flanks of a wide crack go, and a hairline beside it stays.
    """
    mask = (lines.strength >= LOW * STRENGTH_UNIT).view(np.uint8)
    for level in sorted({scale.level for scale in SCALES}):
        indices = [k for k, scale in enumerate(SCALES) if scale.level == level]
        reach = round(CREST_REACH * max(SCALES[k].sigma_px for k in indices))
        highest = cv2.dilate(lines.strength, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
        low = cv2.compare(lines.strength, cv2.convertScaleAbs(highest, alpha=CREST_SHARE), cv2.CMP_LT)
        own = cv2.inRange(lines.scale, indices[0], indices[-1])
        mask[cv2.bitwise_and(low, own) > 0] = 0
    return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)))


def _branches(lines: LineMap, shortest: float) -> list[Branch]:
    mask = _crests(lines)
    skeleton = thin(mask, lines.strength, round(HIGH * STRENGTH_UNIT), round(shortest))
    found = branches_of(skeleton)
    nodes = {node: point for b in found for node, point in ((b.start, b.points[0]), (b.end, b.points[-1]))}
    reach = rough_widths(lines, np.array(list(nodes.values()))) if nodes else np.zeros(0)
    # A spur at a node is as long as the line there is half wide, and a bit.
    limits = {node: max(6.0, 0.9 * width) for node, width in zip(nodes, reach, strict=True)}
    return prune_spurs(found, limits)
