"""The lip of drawn openings (geometric: ellipses of known area in plain wood, in stained wood, with odd floors)."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely import Point, Polygon, affinity

from crackmap.survey.light import linear_light
from crackmap.survey.void_lip import exact_lip

MM_PER_PX = 0.5
WOOD = 0.35  # linear light
SIZE = (240, 200)  # columns, rows
MIDDLE = (121.3, 99.6)


def _coded(light: NDArray[np.float64]) -> NDArray[np.uint8]:
    """sRGB code values (IEC 61966-2-1) of linear light, brown wood's three channels."""
    rgb = np.clip(light[..., None] * np.array([1.2, 1.0, 0.75]), 0, 1)
    code = np.where(rgb <= 0.0031308, 12.92 * rgb, 1.055 * np.maximum(rgb, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(code * 255), np.uint8)


def _away(a: float, b: float) -> NDArray[np.float64]:
    """Roughly the distance of each pixel outward from the ellipse's rim. [px]"""
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    scaled = np.hypot((x - MIDDLE[0]) / a, (y - MIDDLE[1]) / b)
    return np.asarray((scaled - 1) * min(a, b))


def _drawn(a: float, b: float, floor: float, collar: float, blur: float) -> NDArray[np.uint8]:
    """An opening with a floor of so much of the wood's light, in wood that darkens to `collar` at its lip."""
    away = _away(a, b)
    dark = collar + (1 - collar) * np.clip(away * MM_PER_PX / 4.0, 0, 1)
    rng = np.random.default_rng(5)
    grain = 1 + 0.04 * rng.normal(0, 1, (SIZE[1], 1)) + 0.02 * rng.normal(0, 1, away.shape)
    rough = floor * (1 + 0.5 * cv2.GaussianBlur(rng.normal(0, 1, away.shape), (0, 0), 1.0))
    light = np.where(away < 0, np.maximum(rough, 0.003), dark * grain) * WOOD
    return _coded(cv2.GaussianBlur(light, (0, 0), blur))


def _overlap(outline: NDArray[np.float64], a: float, b: float) -> float:
    true = affinity.scale(Point(MIDDLE).buffer(1.0, 128), a, b)
    found = Polygon(outline).buffer(0)
    return float(true.intersection(found).area / true.union(found).area)


def _ring(a: float, b: float) -> NDArray[np.float64]:
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    return np.stack([MIDDLE[0] + a * np.cos(turn), MIDDLE[1] + b * np.sin(turn)], axis=1)


@settings(deadline=None, max_examples=15)
@given(
    a=st.floats(24, 45),
    b=st.floats(18, 40),
    floor=st.floats(0.02, 0.2),
    off=st.floats(-3, 4),
    blur=st.floats(0.5, 1.2),
)
def test_plain_wood_round_the_hole(a: float, b: float, floor: float, off: float, blur: float) -> None:
    picture = _drawn(a, b, floor, 1.0, blur)
    lip = exact_lip(_ring(a + off, b + off), picture, MM_PER_PX, np.ones(picture.shape[:2], bool))
    assert _overlap(lip.outline, a, b) > 0.9  # a pixel and less of a radius of 18 to 45
    assert lip.sharpness > 0.5


@pytest.mark.parametrize("collar", [0.4, 0.6])
def test_stained_wood_is_left_outside(collar: float) -> None:
    a, b = 40.0, 26.0
    picture = _drawn(a, b, 0.06, collar, 0.8)
    rough = _ring(a + 4, b + 4)  # 2 mm outside, in the stain, where a graph cut ends
    lip = exact_lip(rough, picture, MM_PER_PX, np.ones(picture.shape[:2], bool))
    assert _overlap(lip.outline, a, b) > 0.88 > 0.8 > _overlap(rough, a, b)


def test_a_filling_as_light_as_wood_keeps_its_outline() -> None:
    picture = _drawn(40, 26, 0.9, 1.0, 0.8)
    ring = _ring(40, 26)
    lip = exact_lip(ring, picture, MM_PER_PX, np.ones(picture.shape[:2], bool))
    assert (lip.outline == ring).all() and lip.sharpness == 0.0


def test_outline_runs_on_beside_what_hides_the_wood() -> None:
    a, b = 40.0, 30.0
    picture = _drawn(a, b, 0.05, 1.0, 0.8)
    wood = np.ones(picture.shape[:2], bool)
    picture[:, 150:] = 235
    wood[:, 150:] = False  # a sheet of paper over the opening's right end
    lip = exact_lip(_ring(a, b), picture, MM_PER_PX, wood)
    assert _overlap(lip.outline, a, b) > 0.85
    assert np.isfinite(lip.outline).all()


def test_light_of_the_drawing_is_as_meant() -> None:
    picture = _coded(np.full((4, 4), WOOD))
    assert linear_light(picture)[0, 0, 1] == pytest.approx(WOOD, abs=0.005)  # published: IEC 61966-2-1
