"""The signs of the annotated picture, drawn alike in the picture and in its legend."""

from __future__ import annotations

import cv2
import numpy as np

from crackmap.records import Crack, FloatArray, ImageArray
from crackmap.sheets.palette import CRACK, INK, PAPER, VOID
from crackmap.sheets.picture_view import SUBPIXEL_BITS, View, fill, fixed_point, lips, stroke, strokes

DOUBTFUL_BELOW = 0.7  # confidence under which a crack is drawn dashed: look at the slab


def text_size(view: View) -> int:
    """Size of the texts in a picture: read easily where the picture fills a laptop's screen. [px]"""
    return int(np.clip(round(max(view.size) / 92), 16, 34))


def line_width(size: int) -> int:
    """Width of the lines that go with a text size. [px]"""
    return max(2, round(size / 11))


def draw_crack(view: View, crack: Crack, size: int) -> None:
    """Both lips, so that the gap between the lines is the width measured; dashed where doubtful."""
    width = max(2, line_width(size) - 1)
    lines = [view.mapping.to_pixels(lip) for lip in lips(crack.centreline, crack.width)]
    if crack.widest * view.px_per_mm() < 2.0 * width:  # the lips would run into one line
        lines = [view.mapping.to_pixels(crack.centreline)]
    draw_lips(view.pixels, lines, width, size, crack.confidence < DOUBTFUL_BELOW)


def draw_lips(image: ImageArray, lines: list[FloatArray], width: int, size: int, doubtful: bool) -> None:
    """A crack's lines. Each line has shape (N, 2), the image (H, W, 3). [px]"""
    strokes(image, lines, CRACK, width, dash=size * 0.6 if doubtful else None)


def hatch(image: ImageArray, polygon_px: FloatArray, size: int) -> None:
    """A void: outline and slanting lines inside it. The polygon has shape (N, 2), the image (H, W, 3). [px]"""
    fill(image, polygon_px, VOID, 0.25)
    low = np.maximum(np.floor(polygon_px.min(axis=0)).astype(int), 0)
    high = np.ceil(polygon_px.max(axis=0)).astype(int)
    part = image[low[1] : high[1] + 1, low[0] : high[0] + 1]
    if part.size:
        inside = np.zeros(part.shape[:2], np.uint8)
        cv2.fillPoly(inside, [fixed_point(polygon_px - low)], 1, cv2.LINE_8, SUBPIXEL_BITS)
        lined = part.copy()
        height, width = part.shape[:2]
        for start in range(-height, width, max(6, round(size * 0.5))):
            for colour, thick in ((PAPER, 3), (VOID, 1)):
                cv2.line(lined, (start, height), (start + height, 0), colour, thick, cv2.LINE_AA)
        np.copyto(part, lined, where=inside[..., None] > 0)
    stroke(image, polygon_px, VOID, line_width(size), closed=True)


def draw_target(image: ImageArray, at: FloatArray, size: int) -> None:
    """A datum mark: a ring with a cross, its middle left open so that the prick shows.

    `at` has shape (2,), the image (H, W, 3). [px]
    """
    x, y = fixed_point(np.asarray(at, float)).tolist()
    unit = size * (1 << SUBPIXEL_BITS)
    radius, gap, reach = round(0.55 * unit), round(0.16 * unit), round(0.95 * unit)
    width = line_width(size)
    for colour, thick in ((PAPER, width + 4), (INK, width)):
        cv2.circle(image, (x, y), radius, colour, thick, cv2.LINE_AA, SUBPIXEL_BITS)
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            cv2.line(
                image,
                (x + dx * gap, y + dy * gap),
                (x + dx * reach, y + dy * reach),
                colour,
                thick,
                cv2.LINE_AA,
                SUBPIXEL_BITS,
            )
