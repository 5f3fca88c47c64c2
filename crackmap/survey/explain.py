"""Pictures that show why: how likely a crack is everywhere, and what was kept and refused.

Made only when asked for: the cracks are then looked for once more.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.records import FloatArray, RectifiedPhoto
from crackmap.settings import SurveySettings
from crackmap.survey.face import measure_face
from crackmap.survey.find import Search, search
from crackmap.survey.reasons import NO_GAP, reasons_against

ImageArray = NDArray[np.uint8]
MOST_REFUSED = 60  # the most doubtful; the list must stay one that is read
GRAIN_STEP_MM = 45.0
KEPT_COLOUR, REFUSED_COLOUR, GRAIN_COLOUR = (30, 150, 60), (200, 40, 120), (40, 90, 200)
PAPER, INK = (250, 250, 247), (20, 20, 20)
PICTURE_SIDE = 2600  # longer pictures are made smaller [px]


@dataclass(frozen=True, slots=True, eq=False)
class Refused:
    """A line that was looked at and left out: its points (N, 2) [px], confidence and the chief reason."""

    points: FloatArray
    confidence: float
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class Explanation:
    """Two RGB pictures.

    `chance` (H, W, 3): the likelihood of crack and the direction of the grain;
    `lines` (H, W, 3): kept lines with their confidence, refused ones with a
    number, and under the picture the reason for each number.
    """

    chance: ImageArray
    lines: ImageArray


def explain(rectified: RectifiedPhoto, settings: SurveySettings, outline: FloatArray | None = None) -> Explanation:
    """Show how the cracks of a rectified photo were told from what is no crack.

    Parameters
    ----------
    rectified : RectifiedPhoto
    settings : SurveySettings
    outline : ndarray, shape (N, 2), optional
        The user's own outline. [mm]

    Raises
    ------
    SurveyError
        As `survey`.
    """
    face = measure_face(rectified, settings, outline)
    seen = search(rectified.pixels, face.mm_per_px, face.wood, settings.least_confidence)
    picture = np.asarray(rectified.pixels)
    if seen is None:
        return Explanation(picture, picture)
    part = np.asarray(seen.found.image)
    refused = refused_lines(seen, settings.least_confidence)
    return Explanation(_smaller(_chance_picture(seen, part)), _lines_picture(seen, part, refused, settings))


def refused_lines(seen: Search, least_confidence: float) -> list[Refused]:
    """The refused segments, the most doubtful first; pixels of the part."""
    below = [k for k in np.argsort(-seen.confidences) if seen.confidences[k] < least_confidence][:MOST_REFUSED]
    if not below:
        return []
    reasons = reasons_against(seen.features[below]) if len(seen.features) else [NO_GAP] * len(below)
    return [
        Refused(seen.segments[k].points, float(seen.confidences[k]), reason)
        for k, reason in zip(below, reasons, strict=True)
    ]


def _chance_picture(seen: Search, part: ImageArray) -> ImageArray:
    """The photo in grey, the chance of crack over it in red, short strokes along the grain."""
    grey = cv2.cvtColor(part, cv2.COLOR_RGB2GRAY)
    base = np.asarray(cv2.cvtColor(cv2.convertScaleAbs(grey, alpha=0.6, beta=90), cv2.COLOR_GRAY2RGB))
    chance = seen.found.chance if seen.found.chance is not None else np.zeros(grey.shape, np.uint8)
    weight = (chance.astype(np.float32) / 255.0)[..., None]
    drawn = np.asarray(base * (1 - weight) + np.array([225, 20, 20]) * weight).astype(np.uint8)
    step = max(int(GRAIN_STEP_MM / seen.found.mm_per_px), 24)
    x, y = np.meshgrid(np.arange(step // 2, part.shape[1], step), np.arange(step // 2, part.shape[0], step))
    places = np.stack([x.ravel(), y.ravel()], 1)
    places = places[seen.found.seen.wood[places[:, 1], places[:, 0]]]
    angles, coherence = seen.found.grain.at(places.astype(float))
    along = np.stack([np.cos(angles), np.sin(angles)], 1) * (coherence * step * 0.4)[:, None]
    strokes = np.rint(np.stack([places - along, places + along], 1) * 8).astype(np.int32)
    cv2.polylines(drawn, list(strokes), False, GRAIN_COLOUR, 2, cv2.LINE_AA, 3)
    return np.asarray(drawn, np.uint8)


def _lines_picture(seen: Search, part: ImageArray, refused: list[Refused], settings: SurveySettings) -> ImageArray:
    """Kept lines with their confidence and refused ones with a number; the reasons are listed below."""
    shrink = min(PICTURE_SIDE / max(part.shape[:2]), 1.0)
    grey = cv2.cvtColor(_smaller(part), cv2.COLOR_RGB2GRAY)
    drawn = np.asarray(cv2.cvtColor(cv2.convertScaleAbs(grey, alpha=0.55, beta=105), cv2.COLOR_GRAY2RGB))
    for branch, confidence in zip(seen.segments, seen.confidences, strict=True):
        if confidence >= settings.least_confidence:
            _draw(drawn, branch.points * shrink, KEPT_COLOUR, f"{confidence:.2f}")
    for number, line in enumerate(refused, start=1):
        _draw(drawn, line.points * shrink, REFUSED_COLOUR, str(number))
    return np.vstack([drawn, _list_of(refused, drawn.shape[1])])


def _draw(picture: ImageArray, points: FloatArray, colour: tuple[int, int, int], text: str) -> None:
    cv2.polylines(picture, [np.rint(points * 8).astype(np.int32)], False, colour, 2, cv2.LINE_AA, 3)
    x, y = points[len(points) // 2].astype(int) + [5, -7]
    for ink, thick in ((PAPER, 4), (colour, 1)):
        cv2.putText(picture, text, (int(x), int(y)), cv2.FONT_HERSHEY_SIMPLEX, 0.55, ink, thick, cv2.LINE_AA)


def _list_of(refused: list[Refused], width: int) -> ImageArray:
    """The legend and the numbered reasons, in as many columns as fit."""
    lines = [f"{k}  {line.confidence:.2f}  {line.reason}" for k, line in enumerate(refused, start=1)]
    columns = max(width // 620, 1)
    rows = -(-len(lines) // columns)
    strip = np.full((56 + 22 * rows + 12, width, 3), PAPER, np.uint8)
    head = "Green: kept, with its confidence.  Magenta: looked at and refused; number, confidence, chief reason:"
    cv2.putText(strip, head, (12, 32), cv2.FONT_HERSHEY_SIMPLEX, 0.6, INK, 1, cv2.LINE_AA)
    for k, text in enumerate(lines):
        at = (12 + (k // rows) * (width // columns), 62 + 22 * (k % rows))
        cv2.putText(strip, text, at, cv2.FONT_HERSHEY_SIMPLEX, 0.48, INK, 1, cv2.LINE_AA)
    return strip


def _smaller(picture: ImageArray) -> ImageArray:
    shrink = min(PICTURE_SIDE / max(picture.shape[:2]), 1.0)
    return np.asarray(cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.uint8)
