"""Openings in drawn slabs (geometric: circles of known area)."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from shapely import Point, Polygon

from crackmap.settings import SurveySettings
from crackmap.survey.face import measure_face
from tests.survey.scenes import scene, wavy_outline

OUTLINE = wavy_outline(90, 660, 110, 340)
SOUND_KNOT, STAIN = (104, 62, 34), (142, 104, 72)


@pytest.mark.parametrize("radius", [7.0, 12.0, 22.0])
def test_hole_of_known_size(radius: float) -> None:
    drawn = scene(OUTLINE, holes=((220, 230, radius),))
    voids = measure_face(drawn.rectified((500, 220)), SurveySettings()).voids
    assert len(voids) == 1
    true = Point(drawn.mapping.to_slab([[220, 230]])[0]).buffer(radius)
    found = Polygon(voids[0])
    assert true.intersection(found).area / true.union(found).area > 0.8  # half a pixel of radius 7 is 0.86


def test_sound_knot_and_stain_are_no_holes() -> None:
    drawn = scene(OUTLINE, discs=((220, 200, 11, SOUND_KNOT), (300, 280, 20, STAIN)))
    assert measure_face(drawn.rectified((500, 220)), SurveySettings()).voids == ()


@pytest.mark.parametrize("colour", [(22, 44, 78), (24, 22, 20)])
def test_a_card_on_the_slab_is_no_hole(colour: tuple[int, int, int]) -> None:
    drawn = scene(OUTLINE, holes=((200, 200, 12),))
    corners = cv2.boxPoints(((380.0, 230.0), (86.0, 54.0), 17.0))
    cv2.fillPoly(drawn.pixels, [np.round(corners * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)
    voids = measure_face(drawn.rectified((560, 220)), SurveySettings()).voids
    assert len(voids) == 1 and Polygon(voids[0]).area == pytest.approx(np.pi * 144.0, rel=0.25)


def test_largest_first_and_wood_has_holes_in_it() -> None:
    drawn = scene(OUTLINE, holes=((200, 200, 8), (330, 260, 18)))
    face = measure_face(drawn.rectified((500, 220)), SurveySettings())
    areas = [Polygon(v).area for v in face.voids]
    assert len(areas) == 2 and areas == sorted(areas, reverse=True)
    assert not face.wood[260, 330] and not face.wood[220, 500]  # hole; marker
    assert face.wood[150, 260]


def test_plain_wood_has_none() -> None:
    assert measure_face(scene(OUTLINE).rectified((370, 220)), SurveySettings()).voids == ()


def test_bench_seen_through_a_hole() -> None:
    drawn = scene(OUTLINE, holes=((230, 220, 20),), discs=())
    pixels = drawn.pixels.copy()
    y, x = np.mgrid[: pixels.shape[0], : pixels.shape[1]]
    pixels[np.hypot(x - 230, y - 220) < 12] = (118, 118, 116)
    through = type(drawn)(pixels, drawn.outline)
    voids = measure_face(through.rectified((500, 220)), SurveySettings()).voids
    assert len(voids) == 1
    assert Polygon(voids[0]).area == pytest.approx(np.pi * 20**2, rel=0.2)  # [mm2], geometric
