"""Sharp pocket corners made cuttable: room on the edges, and where the arcs go."""

from __future__ import annotations

import math

import pytest
import shapely

from crackmap.errors import KeyShapeError
from crackmap.keys.corners import with_corners
from crackmap.keys.outline import to_polygon
from crackmap.records import frozen_array

SIDE = 10.0
SQUARE = frozen_array([(0, 0, 0), (SIDE, 0, 0), (SIDE, SIDE, 0), (0, SIDE, 0)], 3)


def test_a_square_with_fillets_by_formula() -> None:
    rounded = to_polygon(with_corners(SQUARE, "chisel", 3.0), 1e-4)
    # geometric: a fillet of radius r in a square corner leaves out (1 - pi / 4) r^2.
    assert SIDE**2 - rounded.area == pytest.approx(4 * (1 - math.pi / 4) * 9.0, abs=0.01)


@pytest.mark.parametrize("corners", ["corner-relief", "end-relief"])
def test_reliefs_leave_the_whole_square_open(corners: str) -> None:
    opened = to_polygon(with_corners(SQUARE, corners, 2.0), 1e-4)
    assert opened.buffer(1e-3).contains(shapely.box(0, 0, SIDE, SIDE))
    # A relief eats into the wall no farther than the bit's own breadth.
    assert shapely.box(-4, -4, SIDE + 4, SIDE + 4).contains(opened)


def test_two_corners_share_the_edge_between_them() -> None:
    with_corners(SQUARE, "chisel", 4.9)  # geometric: 4.9 from each end of 10
    with pytest.raises(KeyShapeError, match=r"an edge 10\.0 mm long has no room for corners of 5\.10 mm radius"):
        with_corners(SQUARE, "chisel", 5.1)  # each end alone has room; both together have not
