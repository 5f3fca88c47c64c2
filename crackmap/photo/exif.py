"""What the camera wrote beside the picture: which way is up, and the focal length.

Tags and their meaning are those of Exif 2.3 (JEITA CP-3451C).
"""

from __future__ import annotations

import math
from typing import Any

from PIL import ExifTags, Image

_DIAGONAL_35MM = math.hypot(36.0, 24.0)  # of the 35 mm film frame [mm]
LEAST_FOCAL_35MM = 8.0  # wider is a fisheye, which the lens model does not fit [mm]
MOST_FOCAL_35MM = 400.0  # longer is no overhead photo of a slab: the tag is wrong [mm]
_ASPECT_TOLERANCE = 0.01  # rounding of small copies; a crop that matters changes more
# FocalPlaneResolutionUnit: 2 inch and 3 centimetre by the standard; 4 and 5 are
# written by some cameras for millimetre and micrometre.
_UNIT_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}


def exif_of(image: Image.Image) -> Image.Exif:
    """The picture's EXIF; empty if there is none or it is damaged."""
    try:
        exif = image.getexif()
        exif.get_ifd(ExifTags.IFD.Exif)
    except Exception:  # damaged tags raise nearly anything; a photo without them is still a photo
        return Image.Exif()
    return exif


def orientation_of(exif: Image.Exif) -> int:
    """The EXIF orientation, 1 (upright) to 8; 1 where absent or not allowed."""
    value = exif.get(ExifTags.Base.Orientation, 1)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def focal_35mm_of(exif: Image.Exif, size_px: tuple[int, int]) -> float | None:
    """Focal length as an equivalent on the 35 mm frame, by the diagonal. [mm]

    Taken from FocalLengthIn35mmFilm, else from FocalLength and the sensor's
    pitch. None if absent or absurd, or if the picture has been cropped since
    (its shape differs from the one that the camera wrote), because the
    equivalent then no longer holds.

    Parameters
    ----------
    exif : Image.Exif
    size_px : tuple of int
        Width and height of the picture as stored. [px]
    """
    tags = exif.get_ifd(ExifTags.IFD.Exif)
    taken = (_number(tags.get(ExifTags.Base.ExifImageWidth)),
             _number(tags.get(ExifTags.Base.ExifImageHeight)))
    if _is_cropped(taken, size_px):
        return None
    focal = _number(tags.get(ExifTags.Base.FocalLengthIn35mmFilm))
    if not focal:
        focal = _focal_from_sensor(tags, taken if all(taken) else size_px)
    return focal if LEAST_FOCAL_35MM <= focal <= MOST_FOCAL_35MM else None


def _focal_from_sensor(tags: dict[int, Any], taken: tuple[float, float]) -> float:
    focal = _number(tags.get(ExifTags.Base.FocalLength))
    across = _number(tags.get(ExifTags.Base.FocalPlaneXResolution))
    down = _number(tags.get(ExifTags.Base.FocalPlaneYResolution)) or across
    unit = _UNIT_MM.get(int(_number(tags.get(ExifTags.Base.FocalPlaneResolutionUnit, 2))))
    if not (focal and across and unit):
        return 0.0
    diagonal = math.hypot(taken[0] / across, taken[1] / down) * unit
    return focal * _DIAGONAL_35MM / diagonal if diagonal > 0 else 0.0


def _is_cropped(taken: tuple[float, float], size_px: tuple[int, int]) -> bool:
    """True if the shape differs from the one at capture; a quarter turn is no crop."""
    if not all(taken):
        return False
    shape_then = max(taken) / min(taken)
    shape_now = max(size_px) / min(size_px)
    return abs(shape_then / shape_now - 1.0) > _ASPECT_TOLERANCE


def _number(value: Any) -> float:
    """A tag's value as a finite, non-negative number; 0 where it is none."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return 0.0
    return number if math.isfinite(number) and number > 0 else 0.0
