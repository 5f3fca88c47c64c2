"""Facts with a document: value, unit, source. Choices live in settings.py."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Published:
    """A figure taken from a document.

    `source` names document, edition, table and page; "from memory" or "seen in
    secondary copies" is said where the document itself was not read.
    """

    value: float
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class FlatSize:
    """A flat thing of standard size. [mm]"""

    name: str
    long_side: float
    short_side: float
    corner_radius: float
    source: str


# Trimmed paper and card used as scale references.
A4 = FlatSize("A4 sheet", 297.0, 210.0, 0.0, "ISO 216, size A4 (seen in secondary copies)")
A3 = FlatSize("A3 sheet", 420.0, 297.0, 0.0, "ISO 216, size A3 (seen in secondary copies)")
LETTER = FlatSize("Letter sheet", 279.4, 215.9, 0.0, "ANSI/ASME Y14.1, size A (seen in secondary copies)")
CARD = FlatSize("ID-1 card", 85.60, 53.98, 3.18,
                "ISO/IEC 7810 ID-1; corner radius 2.88 to 3.48 mm (seen in secondary copies)")
FLAT_SIZES = {"a4": A4, "a3": A3, "letter": LETTER, "card": CARD}

# Preferred numbers for graded sizes: each about a quarter above the last. [mm]
RENARD_R10 = (20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0)
RENARD_R10_SOURCE = "ISO 3:1973, basic series R 10 (from memory)"
