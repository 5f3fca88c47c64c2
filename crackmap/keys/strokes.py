"""Single-stroke figures for engraved labels: polylines, no font needed in any program."""

from __future__ import annotations

from crackmap.errors import KeyShapeError
from crackmap.records import FloatArray, frozen_array

# Our own figures on a grid 4 wide and 6 high; each stroke is a chain of points.
_GLYPHS: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "0": (((1, 0), (3, 0), (4, 1), (4, 5), (3, 6), (1, 6), (0, 5), (0, 1), (1, 0)),),
    "1": (((1, 5), (2, 6), (2, 0)),),
    "2": (((0, 5), (1, 6), (3, 6), (4, 5), (4, 4), (0, 0), (4, 0)),),
    "3": (((0, 5), (1, 6), (3, 6), (4, 5), (4, 4), (3, 3), (1.5, 3)),
          ((3, 3), (4, 2), (4, 1), (3, 0), (1, 0), (0, 1))),
    "4": (((3, 0), (3, 6), (0, 2), (4, 2)),),
    "5": (((4, 6), (0, 6), (0, 3.5), (3, 3.5), (4, 2.5), (4, 1), (3, 0), (1, 0), (0, 1)),),
    "6": (((4, 5), (3, 6), (1, 6), (0, 5), (0, 1), (1, 0), (3, 0), (4, 1), (4, 2.5), (3, 3.5), (1, 3.5),
           (0, 2.5)),),
    "7": (((0, 6), (4, 6), (1.5, 0)),),
    "8": (((1, 3), (0, 4), (0, 5), (1, 6), (3, 6), (4, 5), (4, 4), (3, 3), (1, 3), (0, 2), (0, 1), (1, 0),
           (3, 0), (4, 1), (4, 2), (3, 3)),),
    "9": (((0, 1), (1, 0), (3, 0), (4, 1), (4, 5), (3, 6), (1, 6), (0, 5), (0, 3.5), (1, 2.5), (3, 2.5),
           (4, 3.5)),),
    ".": (((0.5, 0), (1, 0.5), (1.5, 0), (1, -0.5), (0.5, 0)),),
}
_ADVANCE = {".": 3.0}  # a figure takes 6 grid steps, the point less
_HEIGHT = 6.0


def strokes(text: str, height: float) -> tuple[FloatArray, ...]:
    """Polylines, each (N, 2), that write `text`, its bottom left at the origin. [mm]

    Raises
    ------
    KeyShapeError
        If a character is neither a figure nor a point.
    """
    lines, x = [], 0.0
    for character in text:
        if character not in _GLYPHS:
            raise KeyShapeError(f"no engraved form for {character!r}; labels are made of figures and a "
                                "point.")
        lines += [frozen_array([((x + px) * height / _HEIGHT, py * height / _HEIGHT) for px, py in stroke])
                  for stroke in _GLYPHS[character]]
        x += _ADVANCE.get(character, 6.0)
    return tuple(lines)


def stroke_width(text: str, height: float) -> float:
    """Width of the written text. [mm]"""
    steps = sum(_ADVANCE.get(character, 6.0) for character in text)
    return max(0.0, steps - 2.0) * height / _HEIGHT
