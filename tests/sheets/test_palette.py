"""The picture's colours are told apart by every eye and on every wood."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from crackmap.sheets.palette import CRACK, EDGE, INK, KEY, PAPER, VOID, Colour, casing_of, luminance

# Machado, Oliveira, Fernandes, "A physiologically-based model for simulation of color vision
# deficiency," IEEE TVCG 15(6), 2009, Table 1, severity 1.0 (from memory; each row adds up to 1).
EYES = {
    "normal": np.eye(3),
    "red-blind": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "green-blind": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}
WOODS: dict[str, Colour] = {"maple": (226, 196, 154), "oak": (168, 120, 72), "walnut": (74, 48, 32)}
SIGNS: dict[str, Colour] = {"edge": EDGE, "crack": CRACK, "void": VOID, "key": KEY}
APART = 20.0  # CIEDE2000; 1 is just seen side by side (a choice)
CONTRAST = 3.0  # WCAG 2.1, 1.4.11 Non-text Contrast, 3:1 (from memory)


def _linear(colour: Colour) -> np.ndarray:
    c = np.array(colour) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def _seen(colour: Colour, eye: str) -> np.ndarray:
    light = np.clip(EYES[eye] @ _linear(colour), 0.0, 1.0)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return rgb2lab(coded.reshape(1, 1, 3)).reshape(3)


def _contrast(a: Colour, b: Colour) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize(("a", "b"), list(itertools.combinations(SIGNS, 2)))
def test_signs_differ(a: str, b: str, eye: str) -> None:
    assert deltaE_ciede2000(_seen(SIGNS[a], eye), _seen(SIGNS[b], eye)) >= APART


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("wood", WOODS)
@pytest.mark.parametrize("sign", SIGNS)
def test_a_sign_or_its_casing_shows_on_the_wood(sign: str, wood: str, eye: str) -> None:
    colour = SIGNS[sign]
    best = max(_contrast(colour, WOODS[wood]), _contrast(casing_of(colour), WOODS[wood]))
    assert best >= CONTRAST
    assert deltaE_ciede2000(_seen(colour, eye), _seen(WOODS[wood], eye)) >= APART or (
        deltaE_ciede2000(_seen(casing_of(colour), eye), _seen(WOODS[wood], eye)) >= APART
    )


@pytest.mark.parametrize("sign", SIGNS)
def test_a_line_stands_out_from_its_casing(sign: str) -> None:
    assert _contrast(SIGNS[sign], casing_of(SIGNS[sign])) >= CONTRAST


def test_texts_are_read_on_their_plates() -> None:
    # WCAG 2.1, 1.4.3, 4.5:1 (from memory)
    for text, ground in ((INK, PAPER), (CRACK, INK), (VOID, PAPER)):
        assert _contrast(text, ground) >= 4.5


def test_luminance_is_the_standards() -> None:
    # Geometric: white is 1, black 0, and the green primary's share is 0.7152 (IEC 61966-2-1, from memory).
    assert luminance((255, 255, 255)) == pytest.approx(1.0) and luminance((0, 0, 0)) == 0.0
    assert luminance((0, 255, 0)) == pytest.approx(0.7152)
