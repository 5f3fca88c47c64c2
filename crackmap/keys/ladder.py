"""A test cut: one key and a row of pockets, each a little looser than the last.

The key is the same for every pocket, so one key tried along the row finds the
fit. Each pocket's clearance is engraved beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

from crackmap.errors import KeyShapeError
from crackmap.keys.family import size_family
from crackmap.keys.fit import make_key
from crackmap.keys.outline import bounding_box, moved
from crackmap.keys.strokes import stroke_width, strokes
from crackmap.records import FloatArray, KeyShape, frozen_array
from crackmap.shop import Shop

# From a tap fit to one past any figure that makers quote, 0.05 to 0.4 mm a side: finer
# where fits are quoted (0.08 to 0.2 mm, common practice), coarser beyond. [mm]
CLEARANCES: tuple[float, ...] = (0.05, 0.075, 0.1, 0.125, 0.15, 0.2, 0.25, 0.3, 0.4)
LEAST_WALL = 6.0  # wood between two pockets; thinner crumbles [mm]
LONGEST_OFFCUT = 400.0  # a common length of scrap (our choice) [mm]
DEPTH = 8.0  # enough to feel the fit, quick to cut [mm]
_TEST_THICKNESS = 20.0  # of the slab whose family the test key is the smallest of [mm]


@dataclass(frozen=True, slots=True)
class Ladder:
    """What to draw for a test cut, with the offcut's lower left corner at the origin."""

    clearances: tuple[float, ...]  # a side, in the order of the pockets [mm]
    pockets: tuple[FloatArray, ...]  # each (N, 3)
    key: FloatArray  # (N, 3), beside the offcut: cut from the key's wood
    labels: tuple[tuple[FloatArray, ...], ...]  # strokes, each (N, 2), for each pocket
    offcut: FloatArray  # (4, 2), its grain along x [mm]
    depth: float  # of the pockets [mm]
    key_thickness: float  # [mm]
    shape: KeyShape  # the key and the first pocket

    @property
    def offcut_size(self) -> tuple[float, float]:
        """Length along the grain and width. [mm]"""
        return float(self.offcut[2, 0]), float(self.offcut[2, 1])


def make_ladder(shop: Shop, clearances: tuple[float, ...] = CLEARANCES, most_length: float = LONGEST_OFFCUT,
                label_height: float = 6.0) -> Ladder:
    """Lay out a test cut for the shop's bit and key shape.

    Parameters
    ----------
    shop : Shop
        Its fit's clearance is not used; the steps take its place.
    clearances : tuple of float
        Gap a side of each pocket, rising. [mm]
    most_length : float
        Of the offcut along its grain; the pockets go on in a further row past it. [mm]
    label_height : float
        Of the engraved figures. [mm]

    Raises
    ------
    KeyShapeError
        If there is no step, two are alike when engraved, or a pocket cannot be cut.
    """
    texts = tuple(f"{each:.3f}".rstrip("0") for each in clearances)
    if not clearances or len(set(texts)) < len(texts):
        raise KeyShapeError("a ladder needs one step or more, each at least 0.001 mm from the next.")
    size = size_family(shop, _TEST_THICKNESS)[-1]
    wall = max(LEAST_WALL, shop.bit.diameter)
    shapes = [make_key(size.shape, size.length, size.width, size.waist, DEPTH, shop.bit,
                       shop.fit.with_changes(clearance=each, pocket_share=1.0), shop.keys.corners)
              for each in clearances]
    boxes = [bounding_box(each.pocket) for each in shapes]
    wide, tall = max(b[3] - b[1] for b in boxes), max(b[2] - b[0] for b in boxes)
    pitch = max(wide, *(stroke_width(text, label_height) for text in texts)) + wall
    columns = max(1, min(len(shapes), int((most_length - wall) // pitch)))
    row_height = tall + label_height + 2.0 * wall
    rows = -(-len(shapes) // columns)
    length, width = wall + columns * pitch, rows * row_height + wall
    pockets, labels = [], []
    for number, (each, text) in enumerate(zip(shapes, texts, strict=True)):
        x = wall / 2.0 + (number % columns + 0.5) * pitch
        base = wall + (rows - 1 - number // columns) * row_height
        # Pockets lie across the grain, as they will across a crack.
        pockets.append(moved(each.pocket, 90.0, (x, base + label_height + wall / 2.0 + tall / 2.0)))
        at = (x - stroke_width(text, label_height) / 2.0, base)
        labels.append(tuple(frozen_array(line + at) for line in strokes(text, label_height)))
    key = moved(shapes[0].key, 0.0, (size.length / 2.0 + wall, -size.width / 2.0 - 2.0 * wall))
    offcut = frozen_array([(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)])
    return Ladder(tuple(clearances), tuple(pockets), key, tuple(labels), offcut, DEPTH,
                  DEPTH + shop.fit.proud, shapes[0])
