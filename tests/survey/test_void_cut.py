"""Blobs cut out of drawn wood: cracks beside and through them, fillings, things that are no openings."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import Point, Polygon

from crackmap.settings import SurveySettings
from crackmap.survey.edge_colour import colour_of
from crackmap.survey.face import measure_face
from crackmap.survey.light import linear_light, shade_and_tints
from crackmap.survey.void_cells import odd_cells
from crackmap.survey.void_judge import is_crack, is_rectangle, is_thin_or_pale
from crackmap.survey.void_shapes import disc, holes_filled, made_solid, widest, wood_round
from tests.survey.scenes import HOLE, Scene, scene, striped_wood, wavy_outline

OUTLINE = wavy_outline(90, 660, 110, 340)


def _with_crack(drawn: Scene, y: float, width: int) -> Scene:
    pixels = drawn.pixels.copy()
    cv2.line(pixels, (95, int(y)), (470, int(y) + 6), HOLE, width, cv2.LINE_AA)
    return Scene(pixels, drawn.outline)


@pytest.mark.parametrize("below", [0.0, 17.0])
def test_a_crack_through_or_beside_a_hole_is_no_part_of_it(below: float) -> None:
    drawn = _with_crack(scene(OUTLINE, holes=((260, 220, 13),)), 220 + below, 3)
    voids = measure_face(drawn.rectified((560, 220)), SurveySettings()).voids
    assert len(voids) == 1
    true = Point(drawn.mapping.to_slab([[260, 220]])[0]).buffer(13)  # geometric
    found = Polygon(voids[0])
    assert true.intersection(found).area / true.union(found).area > 0.75
    assert found.bounds[2] - found.bounds[0] < 36


def test_a_wide_crack_alone_is_no_opening() -> None:
    drawn = _with_crack(scene(OUTLINE), 230, 9)
    assert measure_face(drawn.rectified((560, 180)), SurveySettings()).voids == ()


def test_noise_makes_no_openings() -> None:
    drawn = scene(OUTLINE, discs=((220, 200, 11, (104, 62, 34)), (300, 280, 20, (142, 104, 72))))
    noise = np.random.default_rng(2).normal(0, 8, drawn.pixels.shape)
    noisy = Scene(np.clip(drawn.pixels + noise, 0, 255).astype(np.uint8), drawn.outline)
    assert measure_face(noisy.rectified((500, 220)), SurveySettings()).voids == ()


def test_colour_by_table_is_the_colour_of_linear_light() -> None:
    image = np.random.default_rng(1).integers(0, 256, (40, 50, 3), np.uint8)
    # independent: by linear light and logarithms, pixel by pixel
    assert colour_of(image) == pytest.approx(shade_and_tints(linear_light(image)), abs=2e-5)


def test_odd_cells_are_the_dark_disc() -> None:
    pixels = np.clip(striped_wood((160, 220)), 0, 255).astype(np.uint8)
    cv2.circle(pixels, (100, 80), 9, HOLE, -1)
    odd = odd_cells(pixels, np.ones(pixels.shape[:2], bool), 1.2)
    y, x = np.mgrid[:160, :220]
    away = np.hypot(x - 100, y - 80)
    assert odd[away < 8].all()  # geometric
    assert odd[away > 14].mean() < 0.01


def _blob(draw: NDArray[np.int32]) -> NDArray[np.uint8]:
    mask = np.zeros((120, 160), np.uint8)
    cv2.fillPoly(mask, [draw], 1)
    return mask


def test_card_and_line_are_told_from_an_ellipse() -> None:
    card = _blob(np.array([[30, 30], [110, 40], [104, 90], [24, 80]], np.int32))
    ellipse = np.zeros_like(card)
    cv2.ellipse(ellipse, (80, 60), (40, 22), 10, 0, 360, 1, -1)
    line = _blob(np.array([[10, 58], [150, 60], [150, 66], [10, 64]], np.int32))
    everywhere = np.ones_like(card)
    assert is_rectangle(card, 1.0) and not is_rectangle(ellipse, 1.0)
    assert is_crack(line, line, everywhere, 1.0) and not is_crack(ellipse, ellipse, everywhere, 1.0)


def test_an_outline_round_plain_wood_is_pale_and_a_slit_thin() -> None:
    wood = np.clip(striped_wood((120, 160)), 0, 255).astype(np.uint8)
    ring = np.array([[60.0, 40], [100, 40], [100, 80], [60, 80]])
    slit = np.array([[40.0, 60], [120, 60], [120, 61], [40, 61]])
    assert is_thin_or_pale(wood, ring, 1.0)
    cv2.fillPoly(wood, [ring.astype(np.int32), slit.astype(np.int32)], HOLE)
    assert not is_thin_or_pale(wood, ring, 1.0)
    assert is_thin_or_pale(wood, slit, 1.0)


def test_shapes() -> None:
    ring = np.zeros((60, 60), np.uint8)
    cv2.circle(ring, (30, 30), 20, 1, 3)
    filled = holes_filled(ring, 2000)
    assert (filled == cv2.circle(ring.copy(), (30, 30), 20, 1, -1)).all()  # geometric: the ring and its disc
    assert holes_filled(ring, 100).sum() == ring.sum()
    assert widest(filled) == pytest.approx(43, abs=2)
    with_tail = filled.copy()
    with_tail[29:31, 45:] = 1
    assert made_solid(with_tail, 1.0)[30, 58] == 0
    around = wood_round(filled, np.ones_like(filled), 1.0)
    assert around.any() and not (around & (filled > 0)).any()
    assert disc(0.2).shape == (3, 3)
