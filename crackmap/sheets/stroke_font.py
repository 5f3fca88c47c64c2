"""Single-stroke letters: texts as lines, for programs without fonts and for engraving with a fine bit."""

from __future__ import annotations

import unicodedata

from crackmap.records import FloatArray, frozen_array

# Our own letters on a grid 4 wide and 6 high: each stroke a chain of points "xy xy ...", strokes parted by "/".
_DRAWN = {
    "A": "00 26 40/12 32", "B": "00 06 36 45 44 33 42 41 30 00/03 33", "C": "45 36 16 05 01 10 30 41",
    "D": "00 06 26 44 42 20 00", "E": "46 06 00 40/03 33", "F": "46 06 00/03 33", "G": "45 36 16 05 01 10 30 41 43 23",
    "H": "00 06/40 46/03 43", "I": "10 30/20 26/16 36", "J": "46 41 30 10 01", "K": "00 06/46 03 40", "L": "06 00 40",
    "M": "00 06 23 46 40", "N": "00 06 40 46", "O": "10 30 41 45 36 16 05 01 10", "P": "00 06 36 45 44 33 03",
    "Q": "10 30 41 45 36 16 05 01 10/22 40", "R": "00 06 36 45 44 33 03/23 40",
    "S": "45 36 16 05 04 13 33 42 41 30 10 01", "T": "06 46/26 20", "U": "06 01 10 30 41 46", "V": "06 20 46",
    "W": "06 10 23 30 46", "X": "00 46/06 40", "Y": "06 23 46/23 20", "Z": "06 46 00 40",
    "0": "10 30 41 45 36 16 05 01 10/11 35", "1": "05 26 20/10 30", "2": "05 16 36 45 44 00 40",
    "3": "05 16 36 45 44 33 42 41 30 10 01/33 13", "4": "30 36 02 42", "5": "46 06 03 33 42 41 30 10 01",
    "6": "45 36 16 05 01 10 30 41 42 33 03", "7": "06 46 10", "8": "13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33",
    "9": "01 10 30 41 45 36 16 05 04 13 43", " ": "", ".": "10 11", ",": "11 10 00", ":": "11 12/14 15",
    ";": "14 15/11 10 00", "-": "13 33", "+": "13 33/22 24", "=": "12 32/14 34", "/": "00 46", "(": "36 25 21 30",
    ")": "16 25 21 10", "'": "26 25", '"': "16 15/36 35", "#": "10 16/30 36/02 42/04 44", "%": "00 46/05 06/40 41",
    "!": "20 21/22 26", "?": "05 16 36 45 44 22 21/20 20", "<": "45 03 41", ">": "05 43 01", "_": "00 40",
    "*": "12 34/14 32", "°": "15 26 35 24 15", "×": "12 34/14 32", "&": "40 04 05 16 25 24 02 01 10 20 42",
}
_NARROW = {".": 3.0, ",": 3.0, ":": 3.0, ";": 3.0, "'": 4.0, " ": 4.0}
_ADVANCE, _HEIGHT = 5.5, 6.0  # of the other letters, and of a capital [grid steps]
_GLYPHS = {letter: tuple(tuple((float(p[0]), float(p[1])) for p in stroke.split()) for stroke in drawn.split("/"))
           for letter, drawn in _DRAWN.items() if drawn}


def text_strokes(text: str, height: float) -> list[FloatArray]:
    """Chains of points, each (N, 2), that write `text` from the origin to the right. [mm]

    Small letters are written as capitals, accents are left out, and what the
    font has no form for is written as a question mark.
    """
    lines, x, scale = [], 0.0, height / _HEIGHT
    for letter in _plain(text):
        lines += [frozen_array([((x + px) * scale, py * scale) for px, py in stroke])
                  for stroke in _GLYPHS.get(letter, ())]
        x += _NARROW.get(letter, _ADVANCE)
    return lines


def text_width(text: str, height: float) -> float:
    """Width of the written text. [mm]"""
    steps = sum(_NARROW.get(letter, _ADVANCE) for letter in _plain(text))
    return max(0.0, steps - (_ADVANCE - 4.0)) * height / _HEIGHT


def _plain(text: str) -> str:
    bare = "".join(c for c in unicodedata.normalize("NFD", text.upper()) if not unicodedata.combining(c))
    return "".join(c if c in _DRAWN else "?" for c in bare)
