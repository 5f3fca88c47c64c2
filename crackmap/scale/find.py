"""What lies on the slab for scale, found in the photo as the settings say."""

from __future__ import annotations

import cv2
import numpy as np

from crackmap.errors import ScaleError
from crackmap.published import FLAT_SIZES
from crackmap.records import Photo
from crackmap.scale.camera import Lens
from crackmap.scale.fit import solve
from crackmap.scale.markers import find_markers
from crackmap.scale.problem import prior_misfits
from crackmap.scale.references import find_reference
from crackmap.scale.sources import priors_for
from crackmap.scale.target import SPOKEN, Target, rule_target
from crackmap.settings import ScaleSettings

# Rms misfit of a sheet's edges over its short side: the wrong kind of sheet,
# forced to fit by tilting the camera, misses by 1 % and more.
MOST_MISFIT_SHARE = 0.006
# Sum of squares of how far, in sigmas, camera and print are from what is usual:
# a doubled focal length alone makes 50, the wrong kind of sheet 300.
MOST_STRAIN = 80.0
USUAL_MISFIT_SHARE = 0.002


def find_targets(photo: Photo, settings: ScaleSettings, lens: Lens | None) -> tuple[Target, ...]:
    """The markers, or the one sheet or card, or the two points of a rule.

    Raises
    ------
    ScaleError
        If nothing is found, or the settings ask for something unknown.
    """
    if settings.reference == "marker":
        return _markers(photo, settings)
    if settings.reference in FLAT_SIZES:
        return (_sheet(photo, settings, lens),)
    if settings.reference == "rule":
        return (_rule(settings),)
    raise ScaleError(f"the reference {settings.reference!r} is not known; give marker, {', '.join(FLAT_SIZES)}.")


def _rule(settings: ScaleSettings) -> Target:
    if settings.rule is None:
        raise ScaleError("the reference is a rule, but no two points on it were given; give their pixels and distance.")
    (x1, y1, x2, y2), distance = settings.rule
    if not distance > 0 or np.hypot(x2 - x1, y2 - y1) < 10:
        raise ScaleError(f"the rule's points ({x1:g}, {y1:g}) and ({x2:g}, {y2:g}), {distance:g} mm apart, give no "
                         "scale; choose two points far apart in the photo and a distance above 0.")
    return rule_target(np.array([[x1, y1], [x2, y2]]), distance, settings.marker_height)


def _markers(photo: Photo, settings: ScaleSettings) -> tuple[Target, ...]:
    if not settings.marker_size > 0:
        raise ScaleError(f"the marker size is {settings.marker_size:g} mm but must be above 0; measure the side of "
                         "the black square.")
    grey = np.asarray(cv2.cvtColor(np.asarray(photo.pixels), cv2.COLOR_RGB2GRAY))
    found = find_markers(grey, settings.marker_size, settings.marker_height)
    if not found:
        raise ScaleError(
            f"no marker was found in {photo.facts.file}: looked for black squares of the 4x4_50 dictionary with a "
            "white rim; print some with `crackmap marker`, lay them flat and whole on the slab and photograph again, "
            "or name the sheet or card that lies there with --reference.")
    return tuple(found)


def _sheet(photo: Photo, settings: ScaleSettings, lens: Lens | None) -> Target:
    """The candidate that an ordinary camera above it would most likely see so."""
    name, size = SPOKEN[settings.reference], FLAT_SIZES[settings.reference]
    height, width = photo.pixels.shape[:2]
    fitting: list[tuple[float, Target]] = []
    for target in find_reference(np.asarray(photo.pixels), settings.reference, settings.marker_height):
        short_px = np.hypot(*(target.corners_px[2] - target.corners_px[1]))
        try:
            fit = solve((target,), priors_for(photo.facts, settings, target), width, height, lens, ())
        except ScaleError:
            continue
        strain = prior_misfits(fit.problem, fit.unknowns)
        if fit.rms_px < MOST_MISFIT_SHARE * short_px and strain @ strain < MOST_STRAIN:
            fitting.append((float(strain @ strain) + (fit.rms_px / short_px / USUAL_MISFIT_SHARE) ** 2, target))
    if not fitting:
        raise ScaleError(
            f"no {name} was found in {photo.facts.file}: looked for a flat rectangle of {size.long_side:g} x "
            f"{size.short_side:g} mm; lay it flat and whole on wood of another colour, touching nothing, and "
            "photograph again, or use printed markers (`crackmap marker`).")
    return min(fitting, key=lambda pair: pair[0])[1]
