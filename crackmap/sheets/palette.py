"""Colours of the pictures and sheets.

Chosen so that any two of edge, crack, void and key differ by at least 20 in
CIEDE2000 for normal, red-blind and green-blind eyes, and from pale, middling
and dark wood as well; a test works that out. The one pair that does not, crack
on pale wood, is parted by the dark casing that every light line has; a dark
line has a light one. Things differ in form, too: the edge is a plain line, a
crack is its two lips, a void is hatched, a key is filled and numbered.
"""

from __future__ import annotations

Colour = tuple[int, int, int]  # sRGB, 0 to 255

EDGE: Colour = (127, 240, 255)
CRACK: Colour = (255, 210, 31)
VOID: Colour = (10, 30, 140)
KEY: Colour = (194, 77, 255)
INK: Colour = (20, 22, 26)  # texts, dark casings
PAPER: Colour = (250, 250, 248)  # grounds of texts, light casings
QUIET: Colour = (96, 100, 106)  # secondary texts


def casing_of(colour: Colour) -> Colour:
    """Dark round a light colour, light round a dark one, so that a line shows on any wood."""
    return INK if luminance(colour) > 0.18 else PAPER


def luminance(colour: Colour) -> float:
    """Relative luminance of an sRGB colour, 0 to 1 (IEC 61966-2-1). [-]"""
    shares = [value / 255.0 for value in colour]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
