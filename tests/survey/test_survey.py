"""The survey stage: names, ids, edits, grain (geometric: lines drawn where they are expected)."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from crackmap.records import Crack, Edits, frozen_array
from crackmap.settings import SurveySettings
from crackmap.survey.ends import name_ends
from crackmap.survey.grain import overall_grain_deg
from crackmap.survey.survey import survey
from tests.survey.scenes import Scene, scene, striped_wood, wavy_outline

OUTLINE = wavy_outline(90, 660, 110, 340)


def cracked() -> Scene:
    """A slab with one open check, 4 mm wide, from the left end 150 mm in."""
    drawn = scene(OUTLINE)
    pixels = drawn.pixels.astype(np.float32)
    line = np.zeros(pixels.shape[:2], np.float32)
    cv2.fillPoly(line, [np.array([[88, 222], [88, 226], [240, 225], [240, 224]], np.int32)], 1.0)
    soft = cv2.GaussianBlur(line, (0, 0), 0.7)[..., None]
    return Scene((pixels * (1 - soft) + 14 * soft).astype(np.uint8), drawn.outline)


def crack(points: list[tuple[float, float]], width: float = 2.0) -> Crack:
    array = frozen_array(points, 2)
    return Crack("", array, frozen_array([width] * len(array)), ("tip", "tip"), 0.9)


def test_ends_are_named_by_what_they_meet() -> None:
    outline = np.array([[0.0, 0], [400, 0], [400, 200], [0, 200]])
    hole = np.array([[190.0, 90], [210, 90], [210, 110], [190, 110]])
    border = np.array([[400.0, y] for y in range(0, 201, 2)])
    cracks = [
        crack([(2, 50), (60, 50)]),  # from the edge to a tip
        crack([(212, 100), (300, 100)]),  # from the void to a junction
        crack([(300, 100), (360, 130)]),
        crack([(300, 150), (399, 150)]),  # to the picture's border
    ]
    named = name_ends(cracks, outline, [hole], border, reach=4.0)
    assert [c.id for c in named] == ["C1", "C2", "C3", "C4"]
    assert [c.length for c in named] == sorted((c.length for c in named), reverse=True)
    ends = {tuple(np.round(c.centreline[0])): c.ends for c in named}
    assert ends[(2, 50)] == ("edge", "tip")
    assert ends[(212, 100)] == ("void", "junction")
    assert ends[(300, 100)] == ("junction", "tip")
    assert ends[(300, 150)] == ("tip", "border")


@pytest.mark.parametrize("turn", [0.0, 20.0, -35.0, 80.0])
def test_grain_direction(turn: float) -> None:
    wood = striped_wood((400, 400)).clip(0, 255).astype(np.uint8)
    matrix = cv2.getRotationMatrix2D((199.5, 199.5), turn, 1.0)  # anticlockwise as seen
    image = cv2.warpAffine(wood, matrix, (400, 400), flags=cv2.INTER_CUBIC)
    y, x = np.mgrid[:400, :400]
    inside = np.hypot(x - 199.5, y - 199.5) < 180
    found = overall_grain_deg(image, 1.0, inside)
    assert abs((found - turn + 90) % 180 - 90) < 1.5  # [deg]


def test_whole_stage_on_a_drawn_check() -> None:
    found = survey(cracked().rectified((400, 220)), SurveySettings())
    assert found.cracks, "the 4 mm check must be found"
    longest = found.cracks[0]
    assert longest.id == "C1" and "edge" in longest.ends
    assert longest.length == pytest.approx(150, abs=15)  # [mm], drawn; its last 20 mm are under 1 px wide
    assert abs(found.grain_deg) < 2.0
    assert not found.outline.flags.writeable


def test_refused_and_drawn_cracks_survive() -> None:
    drawn = cracked()
    photo = drawn.rectified((400, 220))
    at = drawn.mapping.to_slab([[150, 224]])
    refused = survey(photo, SurveySettings(), Edits(refused_cracks=frozen_array(at, 2)))
    plain = survey(photo, SurveySettings())
    assert len(refused.cracks) == len(plain.cracks) - 1
    line = frozen_array(drawn.mapping.to_slab([[110, 224], [200, 224]]), 2)
    both = survey(photo, SurveySettings(), Edits(refused_cracks=frozen_array(at, 2), drawn_cracks=(line,)))
    assert [c.drawn_by_user for c in both.cracks].count(True) == 1


def test_break_across_the_grain_is_said() -> None:
    photo = scene(OUTLINE).rectified((500, 220))
    line = frozen_array(photo.mapping.to_slab([[250, 180], [252, 280]]), 2)
    found = survey(photo, SurveySettings(), Edits(drawn_cracks=(line,)))
    assert any("across the grain" in w for w in found.warnings)
