"""A smaller copy of the picture in linear light, on which the passes along the edge look."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.light import FloatImage, linear_light

BoolMask = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

_PIXEL_MM = 1.0  # about what a pixel of the copy spans


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """Linear light (h, w, 3) `shrink` times smaller than the picture, and the ways to it and back."""

    light: FloatImage
    shrink: int
    mm_per_px: float

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows."""
        return self.light.shape[1], self.light.shape[0]

    def to_view(self, points: FloatArray) -> FloatArray:
        """Picture pixels to pixels of this copy."""
        return (points + 0.5) / self.shrink - 0.5

    def to_picture(self, points: FloatArray) -> FloatArray:
        """Pixels of this copy to picture pixels."""
        return (points + 0.5) * self.shrink - 0.5

    def shrunk(self, mask: BoolMask) -> NDArray[np.uint8]:
        """A mask of the picture as 0 to 255, the share of each pixel that it covers."""
        whole = mask[: self.size[1] * self.shrink, : self.size[0] * self.shrink].astype(np.uint8) * 255
        return np.asarray(cv2.resize(whole, self.size, interpolation=cv2.INTER_AREA), np.uint8)

    def enlarged(self, mask: BoolMask, shape: tuple[int, int]) -> BoolMask:
        """A mask over this copy's field, of any resolution, on the picture's own grid."""
        out = np.zeros(shape, bool)
        if mask.any():
            whole = (self.size[0] * self.shrink, self.size[1] * self.shrink)
            grown = cv2.resize(mask.astype(np.uint8), whole, interpolation=cv2.INTER_NEAREST)
            out[: whole[1], : whole[0]] = grown > 0
        return out


def view_of(image: NDArray[np.uint8], mm_per_px: float) -> View:
    """The picture at about 1 mm a pixel, averaged, as light."""
    shrink = max(1, round(_PIXEL_MM / mm_per_px))
    size = (image.shape[1] // shrink, image.shape[0] // shrink)
    crop = image[: size[1] * shrink, : size[0] * shrink]
    if shrink > 1:
        crop = cv2.resize(crop, size, interpolation=cv2.INTER_AREA)
    return View(linear_light(crop), shrink, mm_per_px * shrink)
