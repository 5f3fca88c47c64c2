"""What lies on the slab for scale, found in the photo as the settings say."""

from __future__ import annotations

import cv2
import numpy as np

from crackmap.errors import ScaleError
from crackmap.published import FLAT_SIZES
from crackmap.records import Photo
from crackmap.scale.markers import find_markers
from crackmap.scale.references import find_reference
from crackmap.scale.target import SPOKEN, Target
from crackmap.settings import ScaleSettings


def find_targets(photo: Photo, settings: ScaleSettings) -> tuple[Target, ...]:
    """The markers, or the one sheet or card.

    Raises
    ------
    ScaleError
        If nothing is found, or the settings ask for something unknown.
    """
    if settings.reference == "marker":
        return _markers(photo, settings)
    if settings.reference in FLAT_SIZES:
        return (_sheet(photo, settings),)
    raise ScaleError(f"the reference {settings.reference!r} is not known; give marker, {', '.join(FLAT_SIZES)}.")


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


def _sheet(photo: Photo, settings: ScaleSettings) -> Target:
    name, size = SPOKEN[settings.reference], FLAT_SIZES[settings.reference]
    found = find_reference(np.asarray(photo.pixels), settings.reference, settings.marker_height)
    if not found:
        raise ScaleError(
            f"no {name} was found in {photo.facts.file}: looked for a flat rectangle of {size.long_side:g} x "
            f"{size.short_side:g} mm; lay it flat and whole on wood of another colour, touching nothing, and "
            "photograph again, or use printed markers (`crackmap marker`).")
    return found[0]
