"""Texts in pictures, in a font that comes with a dependency, so that none is needed from the system."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import reportlab
from PIL import Image, ImageDraw, ImageFont

from crackmap.records import ImageArray
from crackmap.sheets.label_places import Box
from crackmap.sheets.palette import INK, PAPER, Colour

_FONTS = Path(reportlab.__file__).parent / "fonts"
PADDING = 0.28  # of a label's plate round its text, over the text's size [-]


@dataclass(frozen=True, slots=True)
class Plate:
    """How a label looks."""

    text: Colour
    ground: Colour
    border: Colour


DARK = Plate(PAPER, INK, INK)
LIGHT = Plate(INK, PAPER, INK)


@lru_cache(maxsize=32)
def font(size: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The font at a size. [px]"""
    return ImageFont.truetype(str(_FONTS / ("VeraBd.ttf" if bold else "Vera.ttf")), size)


def text_width(text: str, size: int, bold: bool = False) -> float:
    """Width of a line of text. [px]"""
    return float(font(size, bold).getlength(text))


def plate_size(text: str, size: int, bold: bool = False) -> tuple[float, float]:
    """Width and height of a label's plate. [px]"""
    return text_width(text, size, bold) + 2.0 * PADDING * size, size * (1.0 + 1.2 * PADDING)


def wrapped(text: str, width: float, size: int) -> list[str]:
    """A text in lines no wider than `width`, but for single words that are. [px]"""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


class Lettering:
    """A picture on which texts are written; `done` gives the pixels back."""

    def __init__(self, pixels: ImageArray) -> None:
        self._image = Image.fromarray(pixels)
        self._draw = ImageDraw.Draw(self._image)

    def plate(self, box: Box, text: str, size: int, plate: Plate, bold: bool = False) -> None:
        """A label: a rounded plate with a line of text in its middle."""
        self._draw.rounded_rectangle(
            box, radius=size * 0.3, fill=plate.ground, outline=plate.border, width=max(2, size // 9)
        )
        self._draw.text(
            ((box[0] + box[2]) / 2.0, (box[1] + box[3]) / 2.0), text, plate.text, font(size, bold), "mm"
        )

    def line(
        self, at: tuple[float, float], text: str, size: int, colour: Colour = INK, bold: bool = False
    ) -> None:
        """A line of text, its left end at `at`, middle of the capitals on its y."""
        self._draw.text(at, text, colour, font(size, bold), "lm")

    def done(self) -> ImageArray:
        """The pixels with the texts."""
        return np.array(self._image)
