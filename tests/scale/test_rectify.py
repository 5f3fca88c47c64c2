"""The whole stage on drawn photographs whose camera is known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from crackmap.errors import ScaleError
from crackmap.photo.read import read_photo
from crackmap.records import Photo, RectifiedPhoto
from crackmap.scale.camera import Camera
from crackmap.scale.rectify import rectify
from crackmap.settings import KnownLens, MarkDistance, ScaleSettings
from tests.scale.drawn import board, camera_above, develop, lay, photo_of_markers, sheet
from tests.scale.simulated import scale_errors

SIZE = 60.0
PLACES = {3: (-280.0, 60.0, 0.3), 5: (270.0, -90.0, 2.0), 11: (20.0, 150.0, -1.0)}
SETTINGS = ScaleSettings(marker_size=SIZE)
VIEW = np.array([[-320.0, -200.0], [320.0, 200.0]])


@pytest.fixture(scope="module")
def camera() -> Camera:
    return camera_above(k1=-0.02)


@pytest.fixture(scope="module")
def photo(camera: Camera) -> Photo:
    return photo_of_markers(camera, PLACES, SIZE)


@pytest.fixture(scope="module")
def rectified(photo: Photo) -> RectifiedPhoto:
    return rectify(photo, SETTINGS)


def test_scale_is_right_and_within_the_claim(camera: Camera, rectified: RectifiedPhoto) -> None:
    error = 100 * float(np.median(scale_errors(camera, rectified.photo_mapping, VIEW)))
    assert error < 0.1  # [%], the aim for two markers and more
    assert error < 2 * rectified.scale.scale_sigma_percent
    assert rectified.scale.reprojection_px < 0.1


def test_frame_hangs_on_the_pair_farthest_apart(rectified: RectifiedPhoto) -> None:
    """Geometric: markers 3 and 5 are 570.09 mm apart, and A is the smaller id."""
    assert rectified.datum.kind == "markers"
    assert (rectified.datum.a_name, rectified.datum.b_name) == ("centre of marker 3", "centre of marker 5")
    assert rectified.datum.a == pytest.approx([0, 0])
    apart = np.hypot(270 + 280, -90 - 60)
    assert rectified.datum.b == pytest.approx([apart, 0], abs=0.5)  # [mm]; 0.1 % of it
    middles = {r.id: r.corners_mm.mean(axis=0) for r in rectified.references}
    assert middles[3] == pytest.approx([0, 0], abs=0.1) and middles[5] == pytest.approx([apart, 0], abs=0.5)
    assert middles[11][1] > 50  # marker 11 lies to the left of the line from A to B: y up


def test_raster_and_photo_show_the_same_points(photo: Photo, rectified: RectifiedPhoto) -> None:
    """A marker's black corner cell is black in the raster where the mapping says."""
    marker = next(r for r in rectified.references if r.id == 3)
    inside = marker.corners_mm.mean(axis=0) + 0.85 * (marker.corners_mm - marker.corners_mm.mean(axis=0))
    for mapping, pixels in ((rectified.mapping, rectified.pixels), (rectified.photo_mapping, photo.pixels)):
        for x, y in np.round(mapping.to_pixels(inside)).astype(int):
            assert pixels[y, x].max() < 90


def test_raster_covers_the_photo_at_its_own_fineness(photo: Photo, rectified: RectifiedPhoto) -> None:
    photo_px = photo.pixels.shape[0] * photo.pixels.shape[1]
    assert 0.85 * photo_px < rectified.seen.sum() < 1.2 * photo_px
    assert rectified.pixels.shape[:2] == rectified.seen.shape
    assert not rectified.pixels.flags.writeable and not rectified.seen.flags.writeable
    assert (rectified.pixels[~rectified.seen].mean()) < 5


def test_round_trip_of_both_mappings(rectified: RectifiedPhoto) -> None:
    points = np.random.default_rng(0).uniform(VIEW[0], VIEW[1], (100, 2))
    for mapping in (rectified.mapping, rectified.photo_mapping):
        assert np.allclose(mapping.to_slab(mapping.to_pixels(points)), points, atol=1e-4)  # [mm]


def test_one_marker_holds_the_frame_by_its_lower_edge(camera: Camera) -> None:
    one = rectify(photo_of_markers(camera, {5: (0.0, 0.0, 2.0)}, SIZE), SETTINGS)
    top_left, top_right, bottom_right, bottom_left = one.references[0].corners_mm
    assert bottom_left == pytest.approx([-30, -30], abs=0.1) and bottom_right == pytest.approx([30, -30], abs=0.1)
    assert top_left == pytest.approx([-30, 30], abs=0.1) and top_right == pytest.approx([30, 30], abs=0.1)
    assert one.datum.kind == "marker"
    assert any("One marker only" in note for note in one.scale.notes)


def test_lens_file_makes_one_marker_surer(camera: Camera) -> None:
    photo = photo_of_markers(camera, {5: (0.0, 0.0, 2.0)}, SIZE)
    lens = KnownLens((1600, 1200), tuple(map(tuple, camera.lens.camera_matrix.tolist())),
                     tuple(camera.lens.distortion.tolist()))
    exact = SETTINGS.with_changes(marker_size_sigma=0.01, marker_height_sigma=0.01)
    known, unknown = rectify(photo, exact.with_changes(lens=lens)), rectify(photo, exact)
    assert known.scale.scale_sigma_percent < 0.5 * unknown.scale.scale_sigma_percent
    assert 100 * np.median(scale_errors(camera, known.photo_mapping, VIEW)) < 0.1


def test_lens_of_another_shape_is_refused(photo: Photo, camera: Camera) -> None:
    lens = KnownLens((1600, 900), tuple(map(tuple, camera.lens.camera_matrix.tolist())), (0.0,) * 5)
    with pytest.raises(ScaleError, match="1600 x 900"):
        rectify(photo, SETTINGS.with_changes(lens=lens))


def test_marker_on_the_bench(camera: Camera) -> None:
    photo = photo_of_markers(camera, {5: (0.0, 0.0, 2.0)}, SIZE, marker_height=-45.0)
    told = rectify(photo, SETTINGS.with_changes(marker_height=-45.0))
    untold = rectify(photo, SETTINGS)
    told_error, untold_error = (np.median(scale_errors(camera, r.photo_mapping, VIEW)) for r in (told, untold))
    assert told_error < 0.006
    assert untold_error == pytest.approx(45 / 1000, abs=0.008)  # geometric: t/H


SHEETS = {"card": ((85.6, 53.98, 3.18), (0.05, 0.12, 0.4)), "a4": ((297.0, 210.0, 0.0), (0.7, 0.7, 0.7)),
          "letter": ((279.4, 215.9, 0.0), (0.7, 0.7, 0.68))}


@pytest.mark.parametrize("kind", SHEETS)
def test_sheets_and_cards(camera: Camera, kind: str) -> None:
    size, ink = SHEETS[kind]
    light = board(camera, 1600, 1200)
    lay(light, camera, (30.0, -20.0, 0.4), 200.0, sheet(*size, ink))
    seen = rectify(develop(light), ScaleSettings(reference=kind))
    error = 100 * float(np.median(scale_errors(camera, seen.photo_mapping, VIEW)))
    assert error < 2 * seen.scale.scale_sigma_percent
    assert error < {"card": 0.8, "a4": 0.2, "letter": 0.2}[kind]  # [%]
    assert seen.datum.kind == "sheet"
    assert seen.datum.b[0] == pytest.approx(size[0], rel=2e-3)  # its long edge


def test_the_wrong_sheet_is_not_taken(camera: Camera) -> None:
    light = board(camera, 1600, 1200)
    lay(light, camera, (0.0, 0.0, 0.4), 200.0, sheet(297, 210, 0, (0.7, 0.7, 0.7)))
    with pytest.raises(ScaleError, match="no card was found in drawn.jpg"):
        rectify(develop(light), ScaleSettings(reference="card"))


def test_two_points_of_a_rule(camera: Camera, photo: Photo) -> None:
    ends = camera.see(np.array([[-250.0, 40, 0], [250, -30, 0]])).ravel()
    distance = float(np.hypot(500, 70))
    seen = rectify(photo, ScaleSettings(reference="rule", rule=(tuple(ends), distance)))
    error = 100 * float(np.median(scale_errors(camera, seen.photo_mapping, VIEW)))
    assert error < 2 * seen.scale.scale_sigma_percent
    assert any("tilt and perspective cannot be taken out" in note for note in seen.scale.notes)


def test_check_distance_that_agrees_is_reported(photo: Photo) -> None:
    apart = float(np.hypot(550, 150))
    seen = rectify(photo, SETTINGS.with_changes(check_distances=(MarkDistance(3, 5, apart),)))
    assert any("Check from marker 3 to marker 5" in note and "within" in note for note in seen.scale.notes)


def test_check_distance_that_disagrees_stops(photo: Photo) -> None:
    with pytest.raises(ScaleError, match=r"600\.0 mm was taped"):
        rectify(photo, SETTINGS.with_changes(check_distances=(MarkDistance(3, 5, 600.0),)))


def test_fitted_distance_lowers_the_claim(photo: Photo, rectified: RectifiedPhoto) -> None:
    apart = float(np.hypot(550, 150))
    taped = rectify(photo, SETTINGS.with_changes(fit_distances=(MarkDistance(3, 5, apart, 0.3),)))
    assert taped.scale.scale_sigma_percent < 0.5 * rectified.scale.scale_sigma_percent


@pytest.mark.parametrize(("changes", "words"), [
    ({"marker_size": 0.0}, "must be above 0"),
    ({"marker_size": float("nan")}, "must be above 0"),
    ({"reference": "brick"}, "'brick' is not known"),
    ({"check_distances": (MarkDistance(3, 44, 500.0),)}, "marker 44, but the photo shows only"),
    ({"fit_distances": (MarkDistance(3, 5, -2.0),)}, "cannot be used"),
    ({"reference": "rule"}, "no two points"),
])
def test_bad_settings_end_in_one_sentence(photo: Photo, changes: dict[str, object], words: str) -> None:
    with pytest.raises(ScaleError, match=words) as caught:
        rectify(photo, SETTINGS.with_changes(**changes))
    assert "\n" not in str(caught.value)


def test_no_marker_says_what_was_looked_for(camera: Camera) -> None:
    with pytest.raises(ScaleError, match=r"no marker was found in drawn\.jpg.*4x4_50.*crackmap marker"):
        rectify(develop(board(camera, 1600, 1200)), SETTINGS)


def test_focal_length_from_exif_is_trusted_more(camera: Camera, photo: Photo) -> None:
    exif = replace(photo, facts=replace(photo.facts, focal_35mm=26.0))
    from crackmap.scale.find import find_targets
    from crackmap.scale.sources import priors_for

    target = find_targets(photo, SETTINGS, None)[0]
    assert priors_for(exif.facts, SETTINGS, target).focal_sigma < priors_for(photo.facts, SETTINGS, target).focal_sigma


def test_a_taped_distance_that_contradicts_the_marker_size_is_refused(test_images: Path) -> None:
    """Geometric: the true distance is known, and one a tenth shorter cannot be."""
    photo = read_photo(test_images / "006.jpg")
    settings = ScaleSettings(fit_distances=(MarkDistance(20, 23, 1700.0, 0.5),))
    with pytest.raises(ScaleError, match="contradict each other"):
        rectify(photo, settings)
