"""The annotated picture and the finished look."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from crackmap.errors import SheetError
from crackmap.keys.outline import to_points
from crackmap.records import Check, Plan, RectifiedPhoto, Survey, frozen_array
from crackmap.settings import SheetSettings
from crackmap.sheets.annotated import annotated_picture
from crackmap.sheets.finished import RESIN_LOOKS, finished_picture
from crackmap.sheets.palette import CRACK, EDGE, VOID
from crackmap.sheets.picture_file import as_jpeg, as_png
from crackmap.sheets.picture_view import coverage, crop_to_slab, dashes, lips
from crackmap.shop import KeyChoice, Shop
from tests.builders import a_plan, a_rectified_photo, a_survey

Records = tuple[RectifiedPhoto, Survey, Plan]


@pytest.fixture(scope="module")
def records() -> Records:
    survey = a_survey(900.0, 400.0, 4)
    return a_rectified_photo(survey, 0.8), survey, a_plan(survey, 5)


def test_the_crop_keeps_millimetres_on_their_pixels(records: Records) -> None:
    """Geometric: a slab point shows the same wood in the crop as in the rectified photo."""
    rectified, survey, _ = records
    view = crop_to_slab(rectified, survey, 1500)
    assert max(view.size) <= 1800
    for reference in survey.references:  # black squares: their corners are easily found
        window = view.mapping.to_pixels(reference.corners_mm)
        inside = coverage(view.pixels.shape, window) == 255
        assert view.pixels[inside].mean() < 60
        grown = (
            coverage(
                view.pixels.shape,
                view.mapping.to_pixels(
                    reference.corners_mm.mean(0)
                    + 1.08 * (reference.corners_mm - reference.corners_mm.mean(0))
                ),
            )
            > 0
        )
        ring = grown & ~cv2.dilate(inside.astype(np.uint8), np.ones((5, 5))).astype(bool)
        assert view.pixels[ring].mean() > 90


def test_the_annotated_picture_fits_and_repeats(records: Records) -> None:
    for side in (900, 1600, 3000):
        options = SheetSettings(picture_side=side)
        picture = annotated_picture(*records, options)
        assert picture.dtype == np.uint8 and picture.shape[2] == 3 and max(picture.shape) <= side
        assert np.array_equal(picture, annotated_picture(*records, options))


def test_the_signs_stand_where_things_were_measured(records: Records) -> None:
    """The edge's, crack's and void's own colours lie along their lines, whatever the labels cover."""
    rectified, survey, plan = records
    picture = annotated_picture(rectified, survey, Plan((), (), plan.resin, 45.0), SheetSettings())
    view = crop_to_slab(rectified, survey, 3000)
    top = picture.shape[0] - view.size[1]

    def share(points: np.ndarray, colour: tuple[int, int, int]) -> float:
        """Share of the points with that colour within 2 px, over the heights at which the view may lie."""
        found = (np.abs(picture.astype(int) - colour).max(axis=2) < 40).astype(np.uint8)
        found = cv2.dilate(found, np.ones((5, 5)))
        best = 0.0
        for shift in range(0, top, 2):
            at = np.round(view.mapping.to_pixels(points)).astype(int) + [0, shift]
            inside = (at[:, 0] < picture.shape[1]) & (at[:, 1] < picture.shape[0])
            best = max(best, float(found[at[inside, 1], at[inside, 0]].mean()))
        return best

    assert share(survey.outline, EDGE) > 0.9
    assert share(survey.voids[0].polygon, VOID) > 0.8
    wide = survey.cracks[int(np.argmax([c.widest for c in survey.cracks[:-1]]))]
    assert share(np.concatenate(lips(wide.centreline, wide.width)), CRACK) > 0.7


def test_a_failing_check_shows(records: Records) -> None:
    rectified, survey, plan = records
    failing = replace(plan.keys[0], checks=(Check("floor", False, 3.0, 8.0),))
    marked = annotated_picture(
        rectified, survey, replace(plan, keys=(failing, *plan.keys[1:])), SheetSettings()
    )
    assert not np.array_equal(marked, annotated_picture(rectified, survey, plan, SheetSettings()))


def test_a_bare_slab_and_a_slab_seen_in_part_are_drawn(records: Records) -> None:
    rectified, survey, plan = records
    bare = replace(survey, cracks=(), voids=(), references=())
    assert annotated_picture(rectified, bare, Plan((), (), plan.resin, 45.0), SheetSettings()).size
    far = replace(survey, outline=frozen_array(survey.outline * [1.6, 1.6]))  # past the photo's border
    assert annotated_picture(rectified, far, plan, SheetSettings(units="in")).size


@pytest.mark.parametrize("look", RESIN_LOOKS)
def test_the_finished_picture_shows_before_and_after(records: Records, look: str) -> None:
    rectified, survey, plan = records
    options = SheetSettings(resin_look=look, picture_side=1600)
    shop = Shop(keys=KeyChoice(key_wood="walnut"))
    picture = finished_picture(rectified, survey, plan, shop, options)
    assert max(picture.shape) <= 1600
    assert np.array_equal(picture, finished_picture(rectified, survey, plan, shop, options))
    half = picture.shape[0] // 2
    view = crop_to_slab(rectified, survey, picture.shape[1], with_marks=False)
    marker = coverage(view.pixels.shape, view.mapping.to_pixels(survey.references[0].corners_mm)) == 255
    strip = half - 3 - view.size[1]
    before, after = (picture[start : start + view.size[1]][marker] for start in (strip, half + 3 + strip))
    assert before.mean() < 60 < 100 < after.mean()  # the marker's black square is gone
    key = coverage(view.pixels.shape, view.mapping.to_pixels(to_points(plan.keys[0].key, 0.1))) == 255
    assert (
        picture[half + 3 + strip :][: view.size[1]][key].mean()
        < picture[strip:][: view.size[1]][key].mean() - 20
    )


def test_an_unknown_resin_is_refused(records: Records) -> None:
    with pytest.raises(SheetError, match="black"):
        finished_picture(*records, Shop(), SheetSettings(resin_look="blackk"))


def test_pictures_read_back(records: Records) -> None:
    """Independent: cv2 reads PNG exactly and JPEG nearly."""
    picture = records[0].pixels
    read = [
        cv2.imdecode(np.frombuffer(b, np.uint8), cv2.IMREAD_COLOR_RGB)
        for b in (as_png(picture), as_jpeg(picture))
    ]
    assert np.array_equal(read[0], picture)
    assert np.abs(read[1].astype(int) - picture).mean() < 8  # the quality is for photos, not for noise


def test_dashes_and_gaps_are_equal() -> None:
    pieces = dashes(np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 70.0]]), 10.0)
    lengths = [float(np.hypot(*np.diff(p, axis=0).T).sum()) for p in pieces]
    assert lengths == pytest.approx([10.0] * 5)  # geometric: 100 px in dashes of 10 and gaps of 10


def test_lips_are_a_width_apart() -> None:
    line = np.column_stack([np.linspace(0, 50, 20), np.zeros(20)])
    left, right = lips(line, np.linspace(1, 6, 20))
    assert np.hypot(*(left - right).T) == pytest.approx(np.linspace(1, 6, 20))  # geometric
    assert (left[:, 1] > 0).all()
