"""The survey stage: from a picture to scale to what lies on the show face, in mm.

Pixels end here: everything is measured on the rectified picture and crosses to
millimetres through its mapping on the way out.
"""

from __future__ import annotations

from crackmap.records import Edits, RectifiedPhoto, Survey, Void, frozen_array
from crackmap.settings import SurveySettings
from crackmap.survey.across_grain import across_grain_warnings
from crackmap.survey.crack_chance import network_warnings
from crackmap.survey.ends import name_ends
from crackmap.survey.face import measure_face
from crackmap.survey.find import find_cracks
from crackmap.survey.grain import overall_grain_deg
from crackmap.survey.user_edits import crack_mm, trace_crack, with_user_edits


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
    cracks = [crack_mm(f, mapping) for f in found]
    named = name_ends(cracks, face.outline, face.voids, face.border, settings.end_reach)
    grain = overall_grain_deg(image, face.mm_per_px, face.wood)
    voids = tuple(Void(f"V{k}", ring) for k, ring in enumerate(face.voids, start=1))
    measured = Survey(
        rectified.photo,
        rectified.photo_mapping,
        rectified.scale,
        rectified.datum,
        rectified.references,
        face.outline,
        voids,
        named,
        grain,
        face.warnings + network_warnings() + across_grain_warnings(named, grain),
        found_outline=None if edits.outline is None else frozen_array([], 2),
    )
    return with_user_edits(measured, edits, lambda points: trace_crack(rectified, measured, points), settings)
