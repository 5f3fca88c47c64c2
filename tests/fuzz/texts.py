"""Texts of the command line and changes to them."""

from __future__ import annotations

from random import Random

SAMPLES = (
    "45mm", "4.5cm", "1.75in", "1-3/4in", '1 3/4"', "-45mm", ".5in", "1,5mm", "0.045m", "3/4inch", "−2 inches",
    "12.50,40.25", "12.5mm;3,4mm", "1-3/4in,2in", "3-17=1203mm", "3-17=1203mm~0.5mm", "210,1480-2650,1502=1000mm",
    "412,1630=388,920", "185c68", "#185C68", "0.15")
_PIECES = (
    *"0123456789.,-/+=~;#' \"", "mm", "cm", "m", "in", "inch", "inches", "″", "”", "−", "½", "٣", "²", "５", "e9",
    "E-5", "inf", "nan", "0x10", "1_000", "--", "//", "1/0", "/0", "\n", "\t", "\r\n", "\x00", "\u00a0", "\u2009",
    "\ud800", "(", "9" * 20, "9" * 400, "9" * 5000, "0" * 5000, "1" * 4300 + "." + "1" * 4300, "1/" + "3" * 5000,
    " " * 5000, "x, y ", "1, " * 3000, "ml", " to ", " mm", "é")


def mutated_text(text: str, random: Random) -> str:
    """The text with one to four pieces put in, taken out, doubled or in the place of others."""
    for _ in range(random.choice((1, 1, 2, 4))):
        at = random.randint(0, len(text))
        end = min(len(text), at + random.choice((0, 1, 1, 2, 5)))
        piece = random.choice(_PIECES) if random.random() < 0.8 else text[at:end] * 2
        text = text[:at] + piece + text[end if random.random() < 0.6 else at:]
    return text
