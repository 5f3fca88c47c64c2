"""A smaller copy of the picture, on which everything but the last pass along the edge looks."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

BoolMask = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

_PIXEL_MM = 1.0  # about what a pixel of the copy spans


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """RGB pixels (h, w, 3) `shrink` times smaller than the picture, and the ways to it and back."""

    pixels: NDArray[np.uint8]
    shrink: int
    mm_per_px: float

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows."""
        return self.pixels.shape[1], self.pixels.shape[0]

    def to_view(self, points: FloatArray) -> FloatArray:
        """Picture pixels to pixels of this copy."""
        return (points + 0.5) / self.shrink - 0.5

    def to_picture(self, points: FloatArray) -> FloatArray:
        """Pixels of this copy to picture pixels."""
        return (points + 0.5) * self.shrink - 0.5

    def shrunk(self, mask: BoolMask) -> BoolMask:
        """A mask of the picture on this copy's grid."""
        middle = self.shrink // 2
        whole = mask[: self.size[1] * self.shrink, : self.size[0] * self.shrink]
        return np.ascontiguousarray(whole[middle :: self.shrink, middle :: self.shrink])

    def enlarged(self, mask: BoolMask, shape: tuple[int, int]) -> BoolMask:
        """A mask over this copy's field, of any resolution, on the picture's own grid."""
        out = np.zeros(shape, np.uint8)
        if mask.any():
            whole = (self.size[0] * self.shrink, self.size[1] * self.shrink)
            out[: whole[1], : whole[0]] = cv2.resize(mask.view(np.uint8), whole, interpolation=cv2.INTER_NEAREST)
        return out.view(np.bool_)


def view_of(image: NDArray[np.uint8], mm_per_px: float) -> View:
    """The picture at about 1 mm a pixel, averaged. `image` has shape (H, W, 3)."""
    shrink = max(1, round(_PIXEL_MM / mm_per_px))
    size = (image.shape[1] // shrink, image.shape[0] // shrink)
    if shrink == 1:
        return View(image, 1, mm_per_px)
    crop = image[: size[1] * shrink, : size[0] * shrink]
    return View(np.asarray(cv2.resize(crop, size, interpolation=cv2.INTER_AREA), np.uint8), shrink, mm_per_px * shrink)
