"""The survey stage: from a picture to scale to what lies on the show face, in mm.

Pixels end here: everything is measured on the rectified picture and crosses to
millimetres through its mapping on the way out.
"""

from __future__ import annotations

import numpy as np
from shapely import LineString, Point

from crackmap.records import Crack, Edits, FloatArray, RectifiedPhoto, Survey, Void, frozen_array
from crackmap.scale.mapping import Mapping
from crackmap.settings import SurveySettings
from crackmap.survey.ends import name_ends
from crackmap.survey.face import measure_face
from crackmap.survey.find import find_cracks
from crackmap.survey.found import FoundCrack
from crackmap.survey.grain import overall_grain_deg
from crackmap.survey.trace import trace

_ACROSS_DEG = 50.0  # checks follow the fibres; spiral grain and knots seldom turn them by more
_ACROSS_LEAST_MM = 30.0


def survey(rectified: RectifiedPhoto, settings: SurveySettings, edits: Edits | None = None) -> Survey:
    """Outline, voids, cracks and grain of the show face.

    Parameters
    ----------
    rectified : RectifiedPhoto
    settings : SurveySettings
    edits : Edits, optional
        The user's outline wins over the found one; refused cracks are dropped
        and drawn ones traced and added.

    Raises
    ------
    SurveyError
        If the picture is black, no slab stands out, or wood fills the view.
    """
    edits = edits or Edits()
    image, mapping = rectified.pixels, rectified.mapping
    face = measure_face(rectified, settings, edits.outline)
    found = find_cracks(image, face.mm_per_px, face.wood, settings.least_confidence)
    cracks = _without_refused([_crack_mm(f, mapping) for f in found], edits.refused_cracks, settings.edit_reach)
    for points in edits.drawn_cracks:
        drawn = trace(image, face.mm_per_px, mapping.to_pixels(points), face.wood)
        cracks.append(_crack_mm(drawn, mapping, drawn=True))
    named = name_ends(cracks, face.outline, face.voids, face.border, settings.end_reach)
    grain = overall_grain_deg(image, face.mm_per_px, face.wood)
    voids = tuple(Void(f"V{k}", ring) for k, ring in enumerate(face.voids, start=1))
    return Survey(
        rectified.photo,
        rectified.photo_mapping,
        rectified.scale,
        rectified.datum,
        rectified.references,
        face.outline,
        voids,
        named,
        grain,
        face.warnings + _crack_warnings(named, grain),
    )


def _crack_mm(found: FoundCrack, mapping: Mapping, *, drawn: bool = False) -> Crack:
    """A found crack in mm; its id and ends are given later."""
    centreline = mapping.to_slab(found.centreline)
    local = mapping.mm_per_px_at(centreline)
    return Crack(
        "",
        frozen_array(centreline, 2),
        frozen_array(found.width * local),
        ("tip", "tip"),
        float(found.confidence),
        frozen_array(found.width_sigma * local),
        drawn,
    )


def _without_refused(cracks: list[Crack], refused: FloatArray, reach: float) -> list[Crack]:
    """Cracks but for the one nearest to each refused point, if it lies within `reach`. [mm]"""
    kept = list(cracks)
    for point in refused:
        distances = [LineString(c.centreline).distance(Point(point)) for c in kept]
        if distances and min(distances) <= reach:
            kept.pop(int(np.argmin(distances)))
    return kept


def _crack_warnings(cracks: tuple[Crack, ...], grain_deg: float) -> tuple[str, ...]:
    """What a maker must know before keying: cracks that run across the grain are breaks."""
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
