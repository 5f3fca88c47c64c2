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
from crackmap.survey.profile import Path
from crackmap.survey.ridge import SCALES, STRENGTH_UNIT, LineMap, line_map
from crackmap.survey.smooth_lines import smooth_lines
from crackmap.survey.tone import WoodValue, wood_value

ByteImage = NDArray[np.uint8]

LOW, HIGH = 0.75, 1.25  # strength at which a line goes on, and which it must reach somewhere [-]
CHANCE_LOW, CHANCE_HIGH = 0.1, 0.3  # chance of crack at which a line goes on, and which it must reach somewhere [-]
CHANCE_CORE = 0.3  # inside this chance lies the gap itself
FAINT_WIDTH = 6  # rough width of a line that has no such core [1/4 px]
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

    image: ByteImage
    seen: WoodValue
    lines: LineMap
    grain: GrainField
    branches: list[Branch]
    paths: list[Path]
    mm_per_px: float
    chance: ByteImage | None = None

    def pieces(self) -> Pieces:
        """Features of the pieces of all lines."""
        return self.pieces_along(self.paths)

    def pieces_along(self, paths: list[Path], deep: float | None = None) -> Pieces:
        """Features of the pieces of other lines of the same picture."""
        return pieces_of(self.image, self.seen, self.lines, self.grain, paths, self.mm_per_px, self.chance, deep)


def candidates(
    image: ByteImage, mm_per_px: float, wood: NDArray[np.bool_] | None, chance: ByteImage | None = None
) -> Candidates:
    """Every line worth a look.

    With the network's `chance` of crack, 0 to 255, shape (H, W), the lines along
    which it is likely; without, those dark enough against texture and tone.
    """
    seen = wood_value(image, wood)
    shortest = round(max(SHORTEST_PX, SHORTEST_MM / mm_per_px))
    if chance is None:
        lines = line_map(seen)
        branches = _branches(_crests(lines), lines, round(HIGH * STRENGTH_UNIT), shortest)
    else:
        mask = (chance >= round(255 * CHANCE_LOW)).view(np.uint8)
        lines = _chance_lines(chance)
        level = round(STRENGTH_UNIT * CHANCE_HIGH / CHANCE_CORE)
        branches = _branches(mask, lines, level, round(SHORTEST_PX))
    paths = smooth_lines([branch.points for branch in branches], SMOOTHING_PX) if branches else []
    return Candidates(image, seen, lines, grain_field(seen), branches, paths, mm_per_px, chance)


def _chance_lines(chance: ByteImage) -> LineMap:
    """The chance as strength, `CHANCE_CORE` counting as 1; the rough width is the breadth of the likely band."""
    core = (chance >= round(255 * CHANCE_CORE)).view(np.uint8)
    breadth = cv2.convertScaleAbs(cv2.distanceTransform(core, cv2.DIST_L2, 3), alpha=8.0)
    width = cv2.max(cv2.dilate(breadth, np.ones((5, 5), np.uint8)), float(FAINT_WIDTH))
    strength = cv2.convertScaleAbs(chance, alpha=STRENGTH_UNIT / (255 * CHANCE_CORE))
    return LineMap(np.asarray(strength, np.uint8), np.asarray(width, np.uint8))


def _crests(lines: LineMap) -> ByteImage:
    """1 where the strength is high and not far below the highest nearby.

    "Nearby" is as far as the scale that answered there reaches, so that the
    broad flanks of a wide crack go, and a hairline beside it stays.
    """
    mask = (lines.strength >= LOW * STRENGTH_UNIT).view(np.uint8)
    for level in sorted({scale.level for scale in SCALES}):
        same = [scale for scale in SCALES if scale.level == level]
        reach = round(CREST_REACH * max(scale.sigma_px for scale in same))
        highest = cv2.dilate(lines.strength, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
        low = cv2.compare(lines.strength, cv2.convertScaleAbs(highest, alpha=CREST_SHARE), cv2.CMP_LT)
        own = cv2.inRange(lines.width, same[0].quarter_width, same[-1].quarter_width)
        mask[cv2.bitwise_and(low, own) > 0] = 0
    return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)))


def _branches(mask: ByteImage, lines: LineMap, high: int, shortest: int) -> list[Branch]:
    found = branches_of(thin(mask, lines.strength, high, shortest))
    nodes = {node: point for b in found for node, point in ((b.start, b.points[0]), (b.end, b.points[-1]))}
    reach = rough_widths(lines, np.array(list(nodes.values()))) if nodes else np.zeros(0)
    # A spur at a node is as long as the line there is half wide, and a bit.
    limits = {node: max(6.0, 0.9 * width) for node, width in zip(nodes, reach, strict=True)}
    return prune_spurs(found, limits)
