"""The test cut as a drawing for the machine: pockets in an offcut, their figures, and the one key."""

from __future__ import annotations

from crackmap.keys.ladder import Ladder
from crackmap.settings import SheetSettings
from crackmap.sheets.drawing import BOARD, KEY, POCKET, Drawing, Shape, closed, open_path
from crackmap.sheets.slab_drawing import NOTE_HEIGHT, both_units, check_bar, notes, unit_sentence

FIGURES = "FIGURES"  # to engrave: each pocket's clearance in single strokes


def testcut_drawing(ladder: Ladder, settings: SheetSettings) -> Drawing:
    """The offcut with its lower left corner at the origin, the key and a check bar below it."""
    shapes: list[Shape] = []
    for pocket in ladder.pockets:
        shapes += closed(POCKET, pocket)
    shapes += closed(KEY, ladder.key)
    for label in ladder.labels:
        for stroke in label:
            shapes += open_path(FIGURES, stroke)
    shapes += closed(BOARD, ladder.offcut)
    foot = float(ladder.key[:, 1].min())
    shapes += check_bar((0.0, foot - 3.0 * NOTE_HEIGHT), settings)
    shapes += notes(_words(ladder, settings), (0.0, foot - 4.5 * NOTE_HEIGHT))
    return Drawing("Test cut", tuple(shapes))


def _words(ladder: Ladder, settings: SheetSettings) -> list[str]:
    return [unit_sentence(settings),
            f"POCKETS {both_units(ladder.depth)} DEEP, IN AN OFFCUT OF THE SLAB'S WOOD, GRAIN ALONG IT",
            f"KEY {both_units(ladder.key_thickness)} THICK, FROM THE KEYS' WOOD, GRAIN ALONG THE KEY",
            "FIGURES: CLEARANCE A SIDE IN MM; ENGRAVE WITH A FINE BIT OR PENCIL THEM ON"]
