"""Pictures as file bytes."""

from __future__ import annotations

import cv2

from crackmap.errors import SheetError
from crackmap.records import ImageArray

_PNG_EFFORT = 3  # a photo hardly shrinks at higher levels, and they take seconds
_JPEG_QUALITY = 92


def as_png(picture: ImageArray) -> bytes:
    """An RGB picture (H, W, 3) as PNG."""
    return _encoded(picture, ".png", [cv2.IMWRITE_PNG_COMPRESSION, _PNG_EFFORT])


def as_jpeg(picture: ImageArray) -> bytes:
    """An RGB picture (H, W, 3) as JPEG."""
    return _encoded(picture, ".jpg", [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])


def _encoded(picture: ImageArray, suffix: str, options: list[int]) -> bytes:
    done, buffer = cv2.imencode(suffix, cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), options)
    if not done:
        raise SheetError(
            f"a picture of {picture.shape[1]} x {picture.shape[0]} px could not be written as {suffix}."
        )
    return buffer.tobytes()
