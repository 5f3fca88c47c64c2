"""Any stored picture to sRGB, 8 bits a channel, strip by strip.

Strips keep the peak memory near the size of the picture itself: a
200-megapixel photo is 600 MB, and a whole-picture conversion would hold three
such copies.
"""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from crackmap.errors import PhotoError

Pixels = NDArray[np.uint8]
ToSrgb = Callable[[Image.Image], Image.Image]

_STRIP_PIXELS = 4_000_000
_FULL_16_BIT = 65535
# A profile that moves no colour of a coarse cube by more than this is sRGB under
# another name (there are dozens), and need not be applied. [8-bit levels]
_SAME_LEVELS = 2
_WITH_ALPHA = ("RGBA", "RGBa", "LA", "La", "PA")
_DEEP_GREY = ("I;16", "I;16B", "I;16L", "I;16N", "I")


def profile_transform(profile: bytes | None, mode: str) -> tuple[ToSrgb | None, str]:
    """What takes pictures of `mode` with an embedded ICC `profile` to sRGB.

    Returns
    -------
    transform : callable or None
        None if there is nothing to do.
    note : str
        Said to the user if not empty.
    """
    if not profile:
        return None, ""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        transform = ImageCms.buildTransform(
            source, ImageCms.createProfile("sRGB"), mode, "RGB",
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION)
        name = ImageCms.getProfileDescription(source).strip()
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return None, "The embedded colour profile could not be used; colours were taken as sRGB."

    def to_srgb(picture: Image.Image) -> Image.Image:
        converted = ImageCms.applyTransform(picture, transform)
        assert converted is not None
        return converted

    if mode == "RGB" and _is_srgb(to_srgb):
        return None, ""
    return to_srgb, f"Colours were converted to sRGB from the embedded profile ({name or 'without a name'})."


def _is_srgb(to_srgb: ToSrgb) -> bool:
    steps = np.linspace(0, 255, 9).round().astype(np.uint8)
    cube = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(27, 27, 3)
    moved = np.asarray(to_srgb(Image.fromarray(cube)), dtype=int) - cube
    return int(np.abs(moved).max()) <= _SAME_LEVELS


def convert_in_place(pixels: Pixels, to_srgb: ToSrgb) -> None:
    """Apply `to_srgb` to an RGB picture, shape (H, W, 3)."""
    for rows in _strips(*pixels.shape[:2]):
        pixels[rows] = np.asarray(to_srgb(Image.fromarray(pixels[rows])))


def rgb_pixels(image: Image.Image, name: str) -> tuple[Pixels, list[str]]:
    """The decoded `image` as sRGB and what was done to it.

    Parameters
    ----------
    image : PIL.Image.Image
        Any mode, already loaded.
    name : str
        The file, for messages.

    Returns
    -------
    pixels : ndarray of uint8, shape (H, W, 3)
    notes : list of str

    Raises
    ------
    PhotoError
        If the pixel values have no set range (floating point, 32 bit).
    """
    notes: list[str] = []
    has_alpha = image.mode in _WITH_ALPHA or "transparency" in image.info
    if has_alpha:
        notes.append("Transparent parts were laid over white.")
    plain = _plain_mode(image.mode, has_alpha)
    to_srgb, note = profile_transform(image.info.get("icc_profile"), plain)
    notes += [note] if note else []
    if plain == "LAB" and to_srgb is None:
        to_srgb = _lab_to_srgb()
    _check_range(image, name)
    pixels = np.empty((image.height, image.width, 3), np.uint8)
    for rows in _strips(image.height, image.width):
        strip = image.crop((0, rows.start, image.width, rows.stop))
        pixels[rows] = _strip_rgb(strip, plain, has_alpha, to_srgb)
    return pixels, notes


def _plain_mode(mode: str, has_alpha: bool) -> str:
    """The colour mode in which a strip meets its profile."""
    if mode in ("CMYK", "LAB"):
        return mode
    if not has_alpha and (mode in ("1", "L") or mode in _DEEP_GREY):
        return "L"
    return "RGB"


def _strip_rgb(strip: Image.Image, plain: str, has_alpha: bool, to_srgb: ToSrgb | None) -> Pixels:
    alpha = None
    if has_alpha:
        with_alpha = strip.convert("RGBA")
        alpha = np.asarray(with_alpha.getchannel("A"), dtype=np.uint16)[..., None]
        strip = with_alpha.convert("RGB")
    elif strip.mode in _DEEP_GREY:
        deep = np.asarray(strip).astype(np.uint32)
        strip = Image.fromarray(((deep * 255 + _FULL_16_BIT // 2) // _FULL_16_BIT).astype(np.uint8))
    elif strip.mode != plain:
        strip = strip.convert(plain)
    colour = np.asarray(to_srgb(strip) if to_srgb else strip.convert("RGB"))
    if alpha is None:
        return colour
    return ((colour * alpha + 255 * (255 - alpha) + 127) // 255).astype(np.uint8)


def _lab_to_srgb() -> ToSrgb:
    lab, srgb = ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB")
    transform = ImageCms.buildTransform(lab, srgb, "LAB", "RGB")

    def to_srgb(picture: Image.Image) -> Image.Image:
        converted = ImageCms.applyTransform(picture, transform)
        assert converted is not None
        return converted

    return to_srgb


def _check_range(image: Image.Image, name: str) -> None:
    if image.mode == "F":
        raise PhotoError(f"{name} holds floating-point values, which have no set white; "
                         "save it as 8 or 16 bit.")
    if image.mode == "I":
        least, most = image.getextrema()
        if float(least) < 0 or float(most) > _FULL_16_BIT:  # type: ignore[arg-type]
            raise PhotoError(f"{name} holds values from {least} to {most}, beyond 16 bits; "
                             "save it as 8 or 16 bit.")


def _strips(height: int, width: int) -> list[slice]:
    rows = max(1, _STRIP_PIXELS // width)
    return [slice(top, min(top + rows, height)) for top in range(0, height, rows)]
