"""The line map and the tone, on pictures whose answers are known."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from crackmap.survey.ridge import STRENGTH_UNIT, line_map
from crackmap.survey.tone import tone_at, wood_value


def even_wood(height: int = 200, width: int = 300, level: int = 170) -> np.ndarray:
    noise = np.random.default_rng(0).normal(0, 2, (height, width, 3))
    return np.clip(level + noise, 0, 255).astype(np.uint8)


def strength(image: np.ndarray, wood: np.ndarray | None = None) -> np.ndarray:
    return line_map(wood_value(image, wood)).strength / STRENGTH_UNIT


@pytest.mark.parametrize("width", [1, 3, 8, 20])
def test_a_dark_line_of_any_width_answers_most_on_its_middle(width: int):
    image = even_wood()
    image[100 - width // 2 : 100 - width // 2 + width] = 40
    image = cv2.GaussianBlur(image, (0, 0), 0.8)
    answer = strength(image)
    centre = 100 - width // 2 + (width - 1) / 2
    assert abs(float(answer[:, 150].argmax()) - centre) <= 1 + width / 8
    assert answer[round(centre), 150] > 1.5


def test_a_bright_line_answers_little():
    image = even_wood(level=120)
    image[60:63] = 220
    assert strength(image)[61, 150] < 0.75


def test_rough_width_grows_with_width():
    picked = []
    for width in (2, 8, 24):
        image = even_wood()
        image[100 - width // 2 : 100 + width // 2] = 40
        lines = line_map(wood_value(image, None))
        picked.append(int(lines.width[100, 150]))
    assert picked == sorted(picked) and picked[0] < picked[-1]


def test_the_dark_world_outside_the_mask_makes_no_line():
    image = even_wood()
    image[:, :50] = 15
    wood = np.ones(image.shape[:2], bool)
    wood[:, :51] = False
    answer = strength(image, wood)
    assert answer[:, :51].max() == 0
    assert answer[20:-20, 51:70].max() < 1.25


def test_tone_is_that_of_the_wood_in_light_and_in_shadow():
    image = even_wood()
    image[:, 150:] //= 2
    image[95:105] = 20
    tone = wood_value(image, None).tone
    at = tone_at(tone, np.array([60.0, 240.0]), np.array([100.0, 100.0]))
    assert at == pytest.approx([170, 85], abs=6)  # geometric: the levels drawn, the brightest channel a little up
