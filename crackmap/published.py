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
# ISO 3:1973, basic series R 10 (from memory).
RENARD_R10 = (20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0)

# Wood: factors that join the tables in wood/. Each table row carries its own source.
DENSITY_PER_SPECIFIC_GRAVITY = Published(
    1120.0, "kg/m3", "density at 12 % moisture over specific gravity at 12 %: 1000 kg/m3 times 1.12, by "
                     "definition")
LONG_TO_BENDING_STIFFNESS = Published(
    1.10, "-", "E_L over modulus of elasticity in bending, Wood Handbook, FPL-GTR-190 (2010), ch. 5 (from "
               "memory)")
TENSION_DRY_OVER_GREEN_HARDWOOD = Published(
    1.32, "-", "tension along the grain at 12 % over green, Wood Handbook, FPL-GTR-190 (2010), ch. 5 (from "
               "memory)")
TENSION_DRY_OVER_GREEN_SOFTWOOD = Published(
    1.13, "-", "tension along the grain at 12 % over green, Wood Handbook, FPL-GTR-190 (2010), ch. 5 (from "
               "memory)")
TEN_YEAR_LOAD = Published(
    0.60, "-", "strength under a load of ten years over the short test's, Wood Handbook, FPL-GTR-190 (2010), "
               "ch. 5 "
    "(from memory)")
ROLLING_SHEAR_SHARE = Published(
    0.18, "-", "shear across the fibres over shear along them, lower end of 0.18 to 0.28, Wood Handbook, "
               "FPL-GTR-190 "
    "(2010), ch. 5 (from memory)")
SPLITTING_TOUGHNESS = Published(
    1.8, "MPa sqrt(m)", "splitting along the grain at the cell wall's density, Gibson and Ashby, Cellular "
                        "Solids, 2nd ed. "
    "(from memory)")
CELL_WALL_DENSITY = Published(1500.0, "kg/m3", "Gibson and Ashby, Cellular Solids, 2nd ed. (from memory)")
# Coefficients of variation. [-]
_TABLE_5_6 = "Wood Handbook, FPL-GTR-190 (2010), Table 5-6 (from memory)"
VARIATION_BENDING = Published(0.16, "-", _TABLE_5_6)
VARIATION_SHEAR = Published(0.14, "-", _TABLE_5_6)
WANTED_BEARING_FACTOR = Published(
    1.67, "-", "mean compression across the grain over its allowable value, ASTM D245 (from memory)")
# The crack's own mechanics: an edge crack in a half plane.
EDGE_CRACK_FACTOR = Published(
    1.1215, "-", "K = f s sqrt(pi a); Tada, Paris, Irwin, The Stress Analysis of Cracks Handbook; worked out "
                 "again here")
EDGE_CRACK_MOUTH = Published(
    1.454, "-", "mouth opening = 4 f s a / E'; Tada, Paris, Irwin, The Stress Analysis of Cracks Handbook; "
                "worked out "
    "again here")

# Lifting, for the note beside a slab's mass.
LIFTING_LOAD_CONSTANT = Published(
    23.0, "kg", "NIOSH revised lifting equation (1994), load constant: one person in the ideal posture (seen "
                "in secondary "
    "copies)")
