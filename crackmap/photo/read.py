"""A photo file to a Photo: upright, sRGB, 8 bits a channel."""

from __future__ import annotations

import hashlib
import io
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from crackmap.errors import PhotoError
from crackmap.photo.colour import convert_in_place, profile_transform, rgb_pixels
from crackmap.photo.exif import exif_of, focal_35mm_of, orientation_of
from crackmap.photo.jpeg import is_whole_jpeg
from crackmap.records import Photo, PhotoFacts, freeze

# The largest phone sensors have 200 million pixels; more is a damaged or hostile
# file, and would need gigabytes.
MOST_PIXELS = 200_000_000
# At 200 px a metre of slab has 5 mm a pixel: no crack and no marker can be measured.
LEAST_SIDE_PX = 200
# A 200-megapixel picture, uncompressed at 16 bits with alpha, and room for its tags.
MOST_FILE_BYTES = 2_000_000_000

_FORMATS = ("JPEG", "MPO", "PNG", "TIFF", "WEBP", "HEIF", "AVIF", "BMP")
_WHAT_IS_READ = "JPEG, PNG, TIFF, WebP, HEIC, AVIF or BMP"
_RAW_ENDINGS = {".dng", ".cr2", ".cr3", ".nef", ".nrw", ".arw", ".raf", ".orf", ".rw2", ".pef", ".srw",
                ".raw"}
_DNG_VERSION_TAG = 50706
# Orientation -> what brings the stored picture upright (Exif 2.3, tag 274: which
# sides of the scene the first row and first column show).
_TURN: dict[int, Callable[[Any], Any]] = {
    2: lambda p: cv2.flip(p, 1),
    3: lambda p: cv2.flip(p, -1),
    4: lambda p: cv2.flip(p, 0),
    5: cv2.transpose,
    6: lambda p: cv2.rotate(p, cv2.ROTATE_90_CLOCKWISE),
    7: lambda p: cv2.flip(cv2.transpose(p), -1),
    8: lambda p: cv2.rotate(p, cv2.ROTATE_90_COUNTERCLOCKWISE),
}
_pillow_limit = threading.Lock()


def read_photo(path: Path) -> Photo:
    """Read a photograph.

    JPEG, PNG, TIFF, WebP, HEIC, AVIF and BMP; 8 or 16 bits; grey, colour,
    palette or CMYK. The picture comes out as a viewer shows it: turned by its
    EXIF orientation, its colour profile converted to sRGB, transparency over
    white. Of a file with several pictures the first is taken.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Photo
        `facts.file` is the bare file name, `facts.sha256` that of the file's
        bytes, `facts.focal_35mm` and `facts.orientation` from EXIF.

    Raises
    ------
    PhotoError
        If the file is missing, unreadable, not a photo, cut short, too small
        or too large; one sentence that names the file.
    """
    path = Path(path)
    content = _file_bytes(path)
    image = _open(path, content)
    _check_size(path, image)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow's remarks on odd tags
            exif = exif_of(image)
            focal = focal_35mm_of(exif, image.size)
            # HEIC comes out upright with the tag reset; the former value is kept beside it.
            orientation = image.info.get("original_orientation") or orientation_of(exif)
            notes = _notes_on_frames(image)
            pixels, colour_notes = _decode(path, content, image)
    except PhotoError:
        raise
    except MemoryError as problem:
        raise PhotoError(f"{path} has {image.width} x {image.height} pixels, too many for this computer's "
                         "memory; make a smaller copy.") from problem
    except Exception as problem:  # decoders raise nearly anything on damaged bytes
        raise PhotoError(f"{path} is damaged or cut short and cannot be read whole; "
                         "copy it again from the camera.") from problem
    height, width = pixels.shape[:2]
    facts = PhotoFacts(path.name, hashlib.sha256(content).hexdigest(), width, height, focal, orientation)
    return Photo(freeze(pixels), facts, (*notes, *colour_notes))


def sha256_of(path: Path) -> str:
    """SHA-256 of a photo file, as `read_photo` notes it; nothing is decoded.

    Raises
    ------
    PhotoError
        If the file is missing or unreadable.
    """
    return hashlib.sha256(_file_bytes(Path(path))).hexdigest()


def _file_bytes(path: Path) -> bytes:
    if path.is_dir():
        raise PhotoError(f"{path} is a folder; name the photo in it.")
    if not path.exists():
        raise PhotoError(f"{path} does not exist; check the name and the folder.")
    if not path.is_file():
        raise PhotoError(f"{path} is not an ordinary file; name a photo.")
    try:
        size = path.stat().st_size
        if size > MOST_FILE_BYTES:
            raise PhotoError(f"{path} has {size / 1e9:.1f} GB, more than the {MOST_FILE_BYTES / 1e9:.0f} GB "
                             "that a photo may have; save it as JPEG.")
        content = path.read_bytes()
    except OSError as problem:
        raise PhotoError(f"{path} cannot be read ({problem.strerror}); check its permissions.") from problem
    if not content:
        raise PhotoError(f"{path} is empty (0 bytes); copy it again from the camera.")
    return content


@contextmanager
def _pillow_pixels(most: int | None) -> Iterator[None]:
    """Put another limit in the place of Pillow's own, 89 megapixels; None for no limit."""
    with _pillow_limit, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow's remarks on odd tags
        former, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, most
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = former


def _open(path: Path, content: bytes) -> Image.Image:
    """The header only; no pixel is decoded."""
    if content[4:8] == b"ftyp":
        import pillow_heif  # slow to import, so only for files that need it

        pillow_heif.register_heif_opener()
    try:
        with _pillow_pixels(None):  # a header costs nothing, and the message needs the true size
            image = Image.open(io.BytesIO(content), formats=_known_formats())
    except UnidentifiedImageError as problem:
        if path.suffix.lower() in _RAW_ENDINGS:
            raise _raw_error(path) from problem
        raise PhotoError(f"{path} is not an image that can be read; "
                         f"give a {_WHAT_IS_READ} file.") from problem
    except Exception as problem:  # header decoders raise nearly anything on damaged bytes
        raise PhotoError(f"{path} is damaged and cannot be read; "
                         "copy it again from the camera.") from problem
    if path.suffix.lower() in _RAW_ENDINGS or _DNG_VERSION_TAG in getattr(image, "tag_v2", {}):
        raise _raw_error(path)  # what would open here is the small preview inside it
    return image


def _known_formats() -> list[str]:
    Image.init()
    return [name for name in _FORMATS if name in Image.OPEN]


def _raw_error(path: Path) -> PhotoError:
    return PhotoError(f"{path} is a camera's raw file; export it as JPEG or TIFF, with lens correction off "
                      "if a lens file will be used.")


def _check_size(path: Path, image: Image.Image) -> None:
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise PhotoError(f"{path} has {width} x {height} pixels, more than the {MOST_PIXELS / 1e6:.0f} "
                         "million allowed; make a smaller copy.")
    if min(width, height) < LEAST_SIDE_PX:
        raise PhotoError(f"{path} has {width} x {height} pixels, too small to measure on; "
                         f"each side must have at least {LEAST_SIDE_PX}.")


def _notes_on_frames(image: Image.Image) -> list[str]:
    # In a multi-picture JPEG (MPO) the photo comes first and the rest are its own
    # previews and depth maps: nothing worth a note.
    frames = getattr(image, "n_frames", 1)
    if frames < 2 or image.format == "MPO":
        return []
    return [f"The file holds {frames} pictures; the first was used."]


def _decode(path: Path, content: bytes, image: Image.Image) -> tuple[NDArray[np.uint8], list[str]]:
    """Pixels upright in sRGB, and what was done to them."""
    if image.format in ("JPEG", "MPO") and image.mode in ("RGB", "L") and is_whole_jpeg(content):
        quick = _quick_jpeg(path, image)
        if quick is not None:
            return quick
    # Pillow refuses twice its limit; the tiles of a TIFF may stand over its edges a little.
    with _pillow_pixels(MOST_PIXELS):
        image.load()
    # Asked only now: some decoders turn the picture themselves and take the tag out.
    orientation = orientation_of(exif_of(image))
    pixels, notes = rgb_pixels(image, str(path))
    image.close()
    return _upright(pixels, orientation), notes


def _quick_jpeg(path: Path, image: Image.Image) -> tuple[NDArray[np.uint8], list[str]] | None:
    """OpenCV's decoder, twice as fast as Pillow's; None if it cannot."""
    profile = image.info.get("icc_profile")
    if image.mode == "L" and profile or not _is_unicode(str(path)):
        return None
    to_srgb, note = profile_transform(profile, "RGB")
    as_stored = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    # Decoded straight into our array: imdecode, and imread without one, hold the picture twice.
    pixels = np.empty((image.height, image.width, 3), np.uint8)
    if cv2.imread(str(path), pixels, as_stored) is not pixels:
        return None
    if to_srgb is not None:
        convert_in_place(pixels, to_srgb)
    return _upright(pixels, orientation_of(exif_of(image))), [note] if note else []


def _is_unicode(name: str) -> bool:
    """False for a name whose bytes are no UTF-8, as old disks hold: OpenCV crashes on it."""
    try:
        name.encode()
    except UnicodeEncodeError:
        return False
    return True


def _upright(pixels: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    turn = _TURN.get(orientation)
    return pixels if turn is None else np.ascontiguousarray(turn(pixels))
