"""A lens measured beforehand: the record, its file, and its use for a photo.

A lens file describes the picture as the camera stores it, before its EXIF
orientation turns it upright: a phone held flat over a slab turns its pictures
at random, but the lens stays where it is on the sensor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from crackmap.errors import ScaleError, quoted
from crackmap.records import FloatArray, PhotoFacts, frozen_array
from crackmap.scale.camera import Lens
from crackmap.settings import KnownLens

LENS_FORM = "crackmap/lens/1"
_GREATEST = 1e9  # of any number in a lens file
MOST_PX = 100_000  # a longer side or focal length in a lens file is a mistake
# EXIF rounds the equivalent focal length to whole millimetres; the next lens of
# a phone, or a step of zoom, differs by far more.
SAME_FOCAL_MM = 1.0
SAME_FOCAL_SHARE = 0.03

# EXIF orientation -> upright pixel (x, y) of the stored pixel (x, y): the signs
# and axes (rows: upright x, upright y), Exif 2.3 tag 274.
_UPRIGHT = {
    1: ((1, 0), (0, 1)), 2: ((-1, 0), (0, 1)), 3: ((-1, 0), (0, -1)), 4: ((1, 0), (0, -1)),
    5: ((0, 1), (1, 0)), 6: ((0, -1), (1, 0)), 7: ((0, -1), (-1, 0)), 8: ((0, 1), (-1, 0)),
}


@dataclass(frozen=True, slots=True)
class ViewFit:
    """How one photo of the lens sheet fits."""

    file: str
    corners: int
    rms_px: float
    used: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class LensFile:
    """A measured lens, in the frame of the picture as stored, and how sure it is."""

    width_px: int
    height_px: int
    lens: Lens
    rms_px: float = 0.0  # of the corners, each coordinate
    focal_sigma_percent: float = 0.0
    correction_sigma_px: float = 0.0  # of the distortion taken out, at the worst place of the picture
    coverage: float = 0.0  # share of the picture where the sheet was seen, 0 to 1
    print_stretch: float = 1.0  # height over width of a printed square
    focal_35mm: float | None = None  # from the photos' EXIF, to tell a phone's lenses apart [mm]
    views: tuple[ViewFit, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def known(self) -> KnownLens:
        """The form that the scale settings take."""
        matrix = tuple(tuple(float(v) for v in row) for row in self.lens.camera_matrix)
        distortion = tuple(float(v) for v in self.lens.distortion)
        return KnownLens((self.width_px, self.height_px), matrix, distortion, self.focal_35mm)


def lens_for_photo(known: KnownLens, facts: PhotoFacts) -> tuple[Lens, tuple[str, ...]]:
    """A lens file's lens in the pixels of an upright photo, and what was assumed.

    A photo of another size but the same shape is taken for a reduced copy and
    the lens is scaled. The photo's EXIF orientation is followed.

    Parameters
    ----------
    known : KnownLens
        Of the picture as stored.
    facts : PhotoFacts
        Of the photo, upright.

    Raises
    ------
    ScaleError
        If the photo has another shape, or its EXIF another focal length: it was
        taken with another camera, lens or zoom, or cropped.
    """
    (width, height), camera_matrix, distortion, focal_35mm = KnownLens(*known)
    lens = Lens(frozen_array(camera_matrix, 3), frozen_array(distortion))
    _check_focal(facts, focal_35mm)
    upright, size = _turned(lens, (width, height), facts.orientation)
    notes: list[str] = []
    if not _same_shape(size, facts):
        size = (size[1], size[0])
        if not _same_shape(size, facts):
            raise ScaleError(
                f"the lens file is for pictures of {width} x {height} pixels and {facts.file} has "
                f"{facts.width_px} x {facts.height_px}, another shape; give the lens file of this camera for "
                "pictures of this shape, uncropped, or leave it out.")
        upright = _centred(upright, size)
        notes.append("The photo lies across the lens file's pictures and does not say which way it was "
                     "turned; the middle of the lens was put in the middle of the photo.")
    factor = facts.width_px / size[0]
    if (facts.width_px, facts.height_px) != size:
        upright = _scaled(upright, factor)
        notes.append(f"The lens file is for pictures of {size[0]} x {size[1]} pixels; it was scaled by "
                     f"{factor:.4g} to the photo, taken for an uncropped copy of one.")
    return upright, tuple(notes)


def stored_pixels(pixels: FloatArray, facts: PhotoFacts) -> FloatArray:
    """Pixels of the picture as stored, of pixels of the upright photo, shape (N, 2). [px]"""
    signs = np.array(_UPRIGHT[facts.orientation], float)
    upright_middle = np.array([facts.width_px - 1, facts.height_px - 1]) / 2
    stored_middle = np.abs(signs).T @ upright_middle
    return np.asarray((pixels - upright_middle) @ signs + stored_middle)


def stored_size(facts: PhotoFacts) -> tuple[int, int]:
    """Width and height of the picture as stored. [px]"""
    if facts.orientation >= 5:
        return facts.height_px, facts.width_px
    return facts.width_px, facts.height_px


def _check_focal(facts: PhotoFacts, focal_35mm: float | None) -> None:
    if focal_35mm is None or facts.focal_35mm is None:
        return
    if abs(facts.focal_35mm - focal_35mm) > max(SAME_FOCAL_MM, SAME_FOCAL_SHARE * focal_35mm):
        raise ScaleError(
            f"the lens file was made at {focal_35mm:g} mm (35 mm equivalent) but {facts.file} was taken at "
            f"{facts.focal_35mm:g} mm; give the lens file of that lens and zoom, or leave it out.")


def _same_shape(size: tuple[int, int], facts: PhotoFacts) -> bool:
    """True if the photo is `size` scaled, to within the rounding of its sides to whole pixels."""
    return abs(size[1] * facts.width_px / size[0] - facts.height_px) <= 1.0


def _turned(lens: Lens, size: tuple[int, int], orientation: int) -> tuple[Lens, tuple[int, int]]:
    """The lens in the upright picture of a stored one with that EXIF orientation.

    In r^2 q + 2 (q . x) x, which is OpenCV's tangential term with q = (p2, p1),
    q turns like a point; the radial terms stay.
    """
    signs = np.array(_UPRIGHT[orientation], float)
    axes = np.abs(signs)
    focal = axes @ np.diag(lens.camera_matrix)[:2]
    middle = (np.array(size, float) - 1) / 2
    centre = signs @ (lens.camera_matrix[:2, 2] - middle) + axes @ middle
    k1, k2, p1, p2, k3 = lens.distortion
    q = signs @ [p2, p1]
    turned = Lens(_matrix(focal, centre), frozen_array([k1, k2, q[1], q[0], k3]))
    return turned, (size if orientation < 5 else (size[1], size[0]))


def _centred(lens: Lens, size: tuple[int, int]) -> Lens:
    """The lens for a picture turned by 90 degrees, nobody knows which way."""
    focal = np.diag(lens.camera_matrix)[1::-1]
    k1, k2, _, _, k3 = lens.distortion
    return Lens(_matrix(focal, (np.array(size, float) - 1) / 2), frozen_array([k1, k2, 0, 0, k3]))


def _scaled(lens: Lens, factor: float) -> Lens:
    """Pixel centres lie at whole numbers, so that the picture's corner is at -0.5."""
    centre = (lens.camera_matrix[:2, 2] + 0.5) * factor - 0.5
    return Lens(_matrix(np.diag(lens.camera_matrix)[:2] * factor, centre), lens.distortion)


def _matrix(focal: FloatArray, centre: FloatArray) -> FloatArray:
    return frozen_array([[focal[0], 0, centre[0]], [0, focal[1], centre[1]], [0, 0, 1]])


# --- the file ----------------------------------------------------------------------------------------


def lens_as_json(measured: LensFile) -> dict[str, Any]:
    """lens.json's object; no date in it, so that the same photos give the same file."""
    return {
        "schema": LENS_FORM,
        "units": "px",
        "image": {"width": measured.width_px, "height": measured.height_px},
        "camera_matrix": [[round(float(v), 4) for v in row] for row in measured.lens.camera_matrix],
        "distortion": [round(float(v), 8) for v in measured.lens.distortion],
        "focal_35mm": measured.focal_35mm,
        "rms": round(measured.rms_px, 4),
        "focal_sigma_percent": round(measured.focal_sigma_percent, 4),
        "correction_sigma": round(measured.correction_sigma_px, 4),
        "coverage": round(measured.coverage, 3),
        "print_stretch": round(measured.print_stretch, 6),
        "photos": [{"file": v.file, "corners": v.corners, "rms": round(v.rms_px, 4), "used": v.used}
                   for v in measured.views],
        "notes": list(measured.notes),
    }


def lens_from_json(read: Any, where: str = "lens.json") -> LensFile:
    """The LensFile that `lens_as_json` wrote, or one written by hand.

    Only schema, units, image, camera_matrix and distortion are needed.

    Raises
    ------
    ScaleError
        If a field is missing or wrong; names it.
    """
    if not isinstance(read, dict):
        raise ScaleError(f"{where} must hold one JSON object; make a lens file with: crackmap lens fit")
    for name, wanted in (("schema", LENS_FORM), ("units", "px")):
        if read.get(name) != wanted:
            raise _wrong(where, name, f"must be {quoted(wanted)}, not {quoted(read.get(name))}")
    image = read.get("image")
    if not isinstance(image, dict):
        raise _wrong(where, "image", "must be an object with width and height")
    width, height = (_whole(image.get(side), where, f"image.{side}") for side in ("width", "height"))
    matrix = _numbers(read.get("camera_matrix"), (3, 3), where, "camera_matrix")
    _check_matrix(matrix, width, height, where)
    distortion = _numbers(read.get("distortion"), (5,), where, "distortion")
    lens = Lens(matrix, distortion)
    _check_folding(lens, width, height, where)
    figures = {field: _figure(read, name, where) for field, name in
               (("rms_px", "rms"), ("focal_sigma_percent", "focal_sigma_percent"),
                ("correction_sigma_px", "correction_sigma"), ("coverage", "coverage"))}
    return LensFile(width, height, lens, **figures, print_stretch=_figure(read, "print_stretch", where, 1.0),
                    focal_35mm=_figure(read, "focal_35mm", where) or None, views=_views(read, where),
                    notes=_texts(read, where))


def _wrong(where: str, name: str, must: str) -> ScaleError:
    return ScaleError(f"{where}: {name} {must}; mend the file or make it again with: crackmap lens fit")


def _whole(value: Any, where: str, name: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= MOST_PX:
        raise _wrong(where, name, f"must be a whole number of pixels from 1 to {MOST_PX}, not {quoted(value)}")
    return value


def _is_number(value: Any) -> bool:
    # Compared, not asked whether finite: an integer may be too large for a float.
    return isinstance(value, (int, float)) and not isinstance(value, bool) and -_GREATEST < value < _GREATEST


def _numbers(value: Any, shape: tuple[int, ...], where: str, name: str) -> FloatArray:
    rows = value if isinstance(value, list) else []
    flat = [v for row in rows for v in (row if isinstance(row, list) else [row])]
    try:
        array = np.array(value, float)
    except (TypeError, ValueError, OverflowError):
        array = np.empty(0)
    if array.shape != shape or not all(_is_number(v) for v in flat):
        raise _wrong(where, name, f"must be {' x '.join(str(n) for n in shape)} numbers")
    return frozen_array(array)


def _check_matrix(matrix: FloatArray, width: int, height: int, where: str) -> None:
    (fx, skew, cx), (low, fy, cy), last = matrix
    if not (0 < fx <= MOST_PX and 0 < fy <= MOST_PX) or skew or low or list(last) != [0, 0, 1]:
        raise _wrong(where, "camera_matrix",
                     "must be [[fx, 0, cx], [0, fy, cy], [0, 0, 1]] with fx and fy above 0")
    if not (0 <= cx <= width and 0 <= cy <= height):
        raise _wrong(where, "camera_matrix", f"has its centre at {cx:g}, {cy:g}, outside the picture")


def _check_folding(lens: Lens, width: int, height: int, where: str) -> None:
    """A lens that folds the picture over before its corner cannot be taken out of it."""
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]], float)
    reach = np.hypot(*((corners - lens.camera_matrix[:2, 2]) / np.diag(lens.camera_matrix)[:2]).T).max()
    k1, k2, _, _, k3 = lens.distortion
    r = np.linspace(0, 3 * reach, 3000)  # on the far side of the lens
    bent = r * (1 + r**2 * (k1 + r**2 * (k2 + r**2 * k3)))
    falling = np.flatnonzero(np.diff(bent) <= 0)
    if bent[falling[0] if len(falling) else -1] < reach:
        raise _wrong(where, "distortion", "bends so much that it folds over before the picture's corner")


def _figure(read: dict[str, Any], name: str, where: str, default: float = 0.0) -> float:
    value = read.get(name)
    if value is None:
        return default
    if not _is_number(value) or value < 0:
        raise _wrong(where, name, f"must be a number that is not negative, not {quoted(value)}")
    return float(value)


def _views(read: dict[str, Any], where: str) -> tuple[ViewFit, ...]:
    photos = read.get("photos", [])
    if not isinstance(photos, list) or not all(isinstance(p, dict) for p in photos):
        raise _wrong(where, "photos", "must be a list of objects")
    return tuple(ViewFit(str(p.get("file", "")), int(_figure(p, "corners", f"{where}: photos[{i}]")),
                         _figure(p, "rms", f"{where}: photos[{i}]"), p.get("used", True) is True)
                 for i, p in enumerate(photos))


def _texts(read: dict[str, Any], where: str) -> tuple[str, ...]:
    notes = read.get("notes", [])
    if not isinstance(notes, list) or not all(isinstance(n, str) for n in notes):
        raise _wrong(where, "notes", "must be a list of texts")
    return tuple(notes)
