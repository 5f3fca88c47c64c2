"""The picture of the plans to choose from, and their words."""

from __future__ import annotations

import numpy as np

from crackmap.cli.offers import offer_lines
from crackmap.records import OfferedPlan, Placement
from crackmap.settings import SheetSettings
from crackmap.sheets.plans_picture import plans_picture
from tests.builders import a_plan, a_rectified_photo, a_survey

SURVEY = a_survey()


def offered(*counts: int) -> tuple[OfferedPlan, ...]:
    names = ("fewest", "balanced", "strongest")
    return tuple(OfferedPlan(name, f"{name}: one line.", Placement(a_plan(SURVEY, keys).keys, ()), 10.0 + keys, 80.0,
                             "the cracks bear 1.4 times the pull") for name, keys in zip(names, counts, strict=False))


def test_each_plan_has_its_panel_with_its_keys():
    photo, settings = a_rectified_photo(SURVEY, 1.2), SheetSettings(picture_side=900)
    one = plans_picture(photo, SURVEY, offered(2), "balanced", settings)
    two = plans_picture(photo, SURVEY, offered(2, 12), "balanced", settings)
    assert one.dtype == np.uint8 and one.shape[2] == 3 and one.shape[1] <= 900
    # Geometric: panels lie above each other, each as high as the other but for its words.
    assert abs(two.shape[0] - 2 * one.shape[0]) < 0.2 * one.shape[0]
    assert np.array_equal(two[:one.shape[0]], one)
    upper, lower = two[:one.shape[0]], two[-one.shape[0]:]
    assert purple(lower) > 3 * purple(upper)  # twelve keys against two


def purple(picture: np.ndarray) -> int:
    """Pixels in the keys' colour."""
    return int((np.abs(picture.astype(int) - (194, 77, 255)).max(axis=2) < 12).sum())


def test_the_words_say_how_to_choose_and_which_is_drawn():
    lines = " ".join(" ".join(offer_lines(offered(2, 12), "balanced", "mm")).split())
    assert "Choose it with: --plan fewest" in lines
    assert "This one is drawn." in lines and "--plan balanced" not in lines
    assert "2 keys; longest stretch without one 80 mm" in lines
