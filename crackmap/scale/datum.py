"""Datum on the slab itself, for a reference that lies beside it."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import ArrayLike

from crackmap.records import Crack, Datum, FloatArray, RectifiedPhoto, Survey, frozen_array
from crackmap.scale.mapping import Mapping
from crackmap.scale.slab_budget import moved_budget


def slab_corner_datum(rectified: RectifiedPhoto, survey: Survey) -> tuple[RectifiedPhoto, Survey]:
    """Hang the frame on two corners of the slab where no mark lies on it.

    With a reference on the slab both records come back as they are. Otherwise
    the two corners at the foot of the slab, as the photo shows it, become the
    marks: A on the left, B on the right, and everything moves into their frame.

    Parameters
    ----------
    rectified : RectifiedPhoto
    survey : Survey
        Measured from it.
    """
    if has_reference_on_slab(survey):
        return rectified, survey
    a, b = foot_corners(survey.outline, survey.mapping)
    frame = _NewFrame(a, float(np.degrees(np.arctan2(*(b - a)[::-1]))))
    datum = Datum(frozen_array(frame.points(a)), frozen_array(frame.points(b)), "slab corners",
                  "left corner at the foot of the slab, as photographed",
                  "right corner at the foot of the slab, as photographed")
    references = tuple(replace(r, corners_mm=frozen_array(frame.points(r.corners_mm))) for r in survey.references)
    scale = moved_budget(survey.scale, a, b, frame.points(survey.scale.sigma_field[:, :2]), frame.turn_deg)
    moved_survey = replace(
        survey, mapping=frame.mapping(survey.mapping), datum=datum, references=references, scale=scale,
        outline=frozen_array(frame.points(survey.outline)),
        voids=tuple(replace(v, polygon=frozen_array(frame.points(v.polygon))) for v in survey.voids),
        cracks=frame.cracks(survey.cracks), set_aside=frame.cracks(survey.set_aside),
        found_outline=None if survey.found_outline is None else frozen_array(frame.points(survey.found_outline), 2),
        grain_deg=_half_turn(survey.grain_deg - frame.turn_deg))
    moved_photo = replace(rectified, mapping=frame.mapping(rectified.mapping),
                          photo_mapping=frame.mapping(rectified.photo_mapping), datum=datum, references=references,
                          scale=scale)
    return moved_photo, moved_survey


class _NewFrame:
    """A frame with its origin at a point of the old one, turned by an angle."""

    def __init__(self, origin: FloatArray, turn_deg: float) -> None:
        self.origin, self.turn_deg = origin, turn_deg
        turn = np.radians(turn_deg)
        self.old_to_new = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])

    def points(self, points: ArrayLike) -> FloatArray:
        """Points of the old frame in the new one."""
        return np.asarray((np.asarray(points, float) - self.origin) @ self.old_to_new.T)

    def cracks(self, cracks: tuple[Crack, ...]) -> tuple[Crack, ...]:
        """Cracks of the old frame in the new one."""
        return tuple(replace(c, centreline=frozen_array(self.points(c.centreline))) for c in cracks)

    def mapping(self, mapping: Mapping) -> Mapping:
        """A mapping of the old frame for the new one."""
        return mapping.moved(self.turn_deg, self.origin)


def _half_turn(angle_deg: float) -> float:
    """The same undirected direction within (-90, 90]."""
    return 90.0 - (90.0 - angle_deg) % 180.0


def has_reference_on_slab(survey: Survey) -> bool:
    """True if a reference that was used lies on the slab, as the photo shows it."""
    return any(r.used and lies_within(survey.outline, r.corners_mm.mean(axis=0)) for r in survey.references)


def lies_within(outline: FloatArray, point: ArrayLike) -> bool:
    """True if a point lies inside a closed outline. `outline` has shape (N, 2), `point` (2,)."""
    x, y = (float(v) for v in np.asarray(point, float).ravel())
    return bool(cv2.pointPolygonTest(outline.astype(np.float32).reshape(-1, 1, 2), (x, y), False) >= 0)


def foot_corners(outline: FloatArray, mapping: Mapping) -> tuple[FloatArray, FloatArray]:
    """The corners of a slab that are nearest to the photographer, left and right. [mm]

    Parameters
    ----------
    outline : ndarray, shape (N, 2)
        Edge of the show face. [mm]
    mapping : Mapping
        Slab to photo: tells where the photographer stood.

    Notes
    -----
    The corner at each end is the outline's point farthest out along the
    diagonal of the slab's own length and width. A corner's diagonal is bent
    towards the length by the slab's proportions, so that on a curved live
    edge the end's sawn corner wins over a bulge.
    """
    centre, length_direction = _length_direction(outline)
    right, up = _photo_directions(mapping, centre)
    along = length_direction * (1 if length_direction @ right >= 0 else -1)
    if abs(length_direction @ right) < abs(length_direction @ up):  # a slab that stands upright in the photo
        along = np.array([length_direction[1], -length_direction[0]])
        along = along * (1 if along @ right >= 0 else -1)
    across = np.array([-along[1], along[0]])
    u, v = (outline - centre) @ along, (outline - centre) @ across
    u, v = u / max(np.ptp(u), 1e-9), v / max(np.ptp(v), 1e-9)
    return outline[int(np.argmin(2 * u + v))], outline[int(np.argmax(2 * u - v))]


def _length_direction(outline: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Middle and long direction of the smallest rectangle round an outline."""
    box = cv2.boxPoints(cv2.minAreaRect(outline.astype(np.float32))).astype(float)
    sides = box[1] - box[0], box[2] - box[1]
    longest = max(sides, key=lambda s: float(np.hypot(*s)))
    return box.mean(axis=0), np.asarray(longest / np.hypot(*longest))


def _photo_directions(mapping: Mapping, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slab directions that point right and up in the photo near a point."""
    pixel = mapping.to_pixels(at)[0]
    near = mapping.to_slab(pixel + np.array([[-5.0, 0], [5, 0], [0, 5], [0, -5]]))
    right, up = near[1] - near[0], near[3] - near[2]
    return right / np.hypot(*right), up / np.hypot(*up)
