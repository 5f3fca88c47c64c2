"""The underside stage: two surveys of one slab, each from its own side, brought together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from crackmap.errors import UndersideError
from crackmap.records import CommonPoint, OtherFace, Survey, frozen_array
from crackmap.settings import UndersideSettings
from crackmap.underside.below import openings_below
from crackmap.underside.register import Pose, register

_USUAL = UndersideSettings()


def join_faces(show: Survey, under: Survey, thickness_mm: float, settings: UndersideSettings = _USUAL) -> OtherFace:
    """The underside's survey laid under the show face's, and every opening matched from top to bottom.

    Parameters
    ----------
    show, under : Survey
        Each in its own frame, each seen from its own side.
    thickness_mm : float
        Of the slab. [mm]
    settings : UndersideSettings
        Common points, how the slab was turned over.

    Raises
    ------
    UndersideError
        If the faces do not match (with the residual), or a common point cannot be right.
    """
    pose = register(show, under, thickness_mm, _common_points(show, under, settings), settings)
    below, only_below = openings_below(show, under, pose, thickness_mm, settings)
    return OtherFace(under, frozen_array(pose.matrix), pose.method, pose.residual, pose.openings_off, below, only_below,
                     pose.notes)


def looked_at_again(show: Survey, thickness_mm: float, settings: UndersideSettings = _USUAL) -> Survey:
    """The survey with its openings matched anew, after cracks were drawn or refused; the pose stays."""
    other = show.other_face
    if other is None:
        return show
    pose = Pose(other.under_to_show, other.method, other.residual_mm, other.openings_off_mm)
    below, only_below = openings_below(show, other.survey, pose, thickness_mm, settings)
    return replace(show, other_face=replace(other, below=below, only_below=only_below))


def _common_points(show: Survey, under: Survey, settings: UndersideSettings) -> tuple[CommonPoint, ...]:
    points = []
    for number, (x, y, u, v) in enumerate(settings.common_px, 1):
        for face, (px, py) in ((show, (x, y)), (under, (u, v))):
            if not (0.0 <= px <= face.photo.width_px and 0.0 <= py <= face.photo.height_px):
                raise UndersideError(f"common point {number} lies at {px:.0f}, {py:.0f} px, outside the photo "
                                     f"{face.photo.file} of {face.photo.width_px} x {face.photo.height_px} px.")
        points.append(CommonPoint(f"point {number}", frozen_array(show.mapping.to_slab([(x, y)])[0]),
                                  frozen_array(under.mapping.to_slab([(u, v)])[0])))
    for marker in settings.drilled_markers:
        centres = []
        for face in (show, under):
            seen = [r for r in face.references if r.kind == "marker" and r.id == marker]
            if not seen:
                raise UndersideError(f"marker {marker} was said to lie over a drilled hole on both faces, but is not "
                                     f"in the photo {face.photo.file}.")
            centres.append(frozen_array(np.asarray(seen[0].corners_mm).mean(axis=0)))
        points.append(CommonPoint(f"marker {marker}", *centres))
    return tuple(points)
