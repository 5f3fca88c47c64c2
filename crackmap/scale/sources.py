"""What is known besides the picture: the camera's figures, sizes, taped distances."""

from __future__ import annotations

import numpy as np

from crackmap.errors import ScaleError
from crackmap.records import PhotoFacts
from crackmap.scale.camera import Lens, focal_from_35mm
from crackmap.scale.lens_file import lens_for_photo
from crackmap.scale.problem import Priors, TapedDistance
from crackmap.scale.target import Target
from crackmap.settings import ScaleSettings

# Main cameras of phones sit near 26 mm equivalent, give or take a tenth (common practice, no source).
USUAL_FOCAL_35MM = 26.0
USUAL_FOCAL_SIGMA = 0.10
# EXIF rounds the equivalent to whole millimetres and makers crop a little: some 3 % (a choice).
EXIF_FOCAL_SIGMA = 0.03
# A card is cut to within 0.13 mm (ISO/IEC 7810, from memory), taken for two
# sigma. Paper may be 1.5 to 2 mm out (ISO 216, from memory) but seldom is by
# more than some tenths (a choice).
STANDARD_SIZE_SIGMA = {"card": 0.065, "a4": 0.4, "a3": 0.5, "letter": 0.4}
# Width against height errs less than the size does: both come from one print
# and are read with one rule (a choice).
STRETCH_SHARE = 0.25


def priors_for(facts: PhotoFacts, settings: ScaleSettings, target: Target) -> Priors:
    """What is known of the camera and of the size of `target` before the fit."""
    told = settings.focal_35mm if settings.focal_35mm is not None else facts.focal_35mm
    focal = focal_from_35mm(told or USUAL_FOCAL_35MM, facts.width_px, facts.height_px)
    sigma = {**STANDARD_SIZE_SIGMA, "marker": settings.marker_size_sigma, "rule": settings.rule_sigma}[target.kind]
    long_side = target.size_mm[0]
    return Priors(focal, EXIF_FOCAL_SIGMA if told else USUAL_FOCAL_SIGMA, settings.k1_sigma, sigma / long_side,
                  STRETCH_SHARE * sigma / long_side, settings.marker_height_sigma,
                  float(np.sin(np.radians(settings.tilt_sigma_deg))))


def known_lens(facts: PhotoFacts, settings: ScaleSettings) -> tuple[Lens | None, tuple[str, ...]]:
    """The lens that was measured beforehand, if one is given, and what was assumed in using it.

    Raises
    ------
    ScaleError
        If it was measured on pictures of another shape.
    """
    if settings.lens is None:
        return None, ()
    lens, notes = lens_for_photo(settings.lens, facts)
    if facts.focal_35mm is None:
        notes = (*notes, "The photo does not say its focal length: that the lens file belongs to its lens and zoom was "
                         "taken on trust.")
    return lens, notes


def taped_distances(settings: ScaleSettings, targets: tuple[Target, ...]) -> tuple[TapedDistance, ...]:
    """The taped distances that take part in the fit.

    Raises
    ------
    ScaleError
        If a distance, to fit or to check, names a marker that was not found, or is not above 0.
    """
    ids = [t.id for t in targets]
    for first, second, distance, sigma in (*settings.check_distances, *settings.fit_distances):
        if first == second or not distance > 0 or not sigma > 0:
            raise ScaleError(f"the distance of {distance:g} mm (give or take {sigma:g} mm) between markers {first} and "
                             f"{second} cannot be used; give two markers and lengths above 0.")
        for wanted in (first, second):
            if wanted not in ids:
                raise ScaleError(f"a distance is given to marker {wanted}, but the photo shows only "
                                 f"{', '.join(t.name for t in targets)}; correct the id or photograph again.")
    return tuple(TapedDistance(ids.index(first), ids.index(second), distance, sigma)
                 for first, second, distance, sigma in settings.fit_distances)
