"""The lens file: its form, its checks, and the lens in the pixels of a photo."""

from __future__ import annotations

import copy
import json

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crackmap.errors import ScaleError
from crackmap.records import FloatArray, PhotoFacts, frozen_array
from crackmap.scale.camera import Lens
from crackmap.scale.lens_file import (
    LensFile,
    ViewFit,
    lens_as_json,
    lens_for_photo,
    lens_from_json,
    stored_pixels,
    stored_size,
)

WIDTH, HEIGHT = 400, 300
LENS = Lens(frozen_array([[330, 0, 203.5], [0, 331, 147.25], [0, 0, 1]]),
            frozen_array([-0.05, 0.02, 0.002, -0.003, -0.004]))
MEASURED = LensFile(WIDTH, HEIGHT, LENS, 0.05, 0.02, 0.1, 0.9, 1.001, 26.0, (ViewFit("a.jpg", 40, 0.05),),
                    ("a note",))

# What brings the stored picture upright, as array operations (Exif 2.3, tag 274).
UPRIGHT = {
    1: lambda p: p, 2: np.fliplr, 3: lambda p: np.rot90(p, 2), 4: np.flipud, 5: lambda p: p.swapaxes(0, 1),
    6: lambda p: np.rot90(p, -1), 7: lambda p: np.rot90(p.swapaxes(0, 1), 2), 8: np.rot90,
}


def facts(width: int, height: int, orientation: int = 1, focal: float | None = None) -> PhotoFacts:
    return PhotoFacts("p.jpg", "0" * 64, width, height, focal, orientation)


def angles(lens: Lens, pixels: FloatArray) -> FloatArray:
    """Angles between the rays of all pairs of pixels: the same in every turn of the picture."""
    rays = cv2.undistortPoints(pixels[:, None].astype(float), lens.camera_matrix, lens.distortion,
                               criteria=(cv2.TERM_CRITERIA_MAX_ITER, 60, 0)).reshape(-1, 2)
    rays = np.c_[rays, np.ones(len(rays))]
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    return np.asarray(np.arccos(np.clip(rays @ rays.T, -1, 1)))


@pytest.mark.parametrize("orientation", UPRIGHT)
def test_the_lens_turns_with_the_picture(orientation: int) -> None:
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    stored_at = UPRIGHT[orientation](np.stack([x, y], axis=-1))  # upright pixel -> stored (x, y)
    height, width = stored_at.shape[:2]
    upright = np.random.default_rng(1).integers(0, [width, height], (20, 2))
    stored = stored_at[upright[:, 1], upright[:, 0]]
    photo = facts(width, height, orientation)

    lens, notes = lens_for_photo(MEASURED.known, photo)

    np.testing.assert_allclose(angles(lens, upright), angles(LENS, stored), atol=1e-7)
    np.testing.assert_allclose(stored_pixels(upright.astype(float), photo), stored, atol=1e-9)
    assert stored_size(photo) == (WIDTH, HEIGHT)
    assert notes == ()


@given(factor=st.sampled_from([0.25, 0.5, 0.75, 2.0]), orientation=st.sampled_from([1, 3, 6, 8]))
def test_a_reduced_copy_scales_the_lens_and_says_so(factor: float, orientation: int) -> None:
    size = (WIDTH * factor, HEIGHT * factor) if orientation < 5 else (HEIGHT * factor, WIDTH * factor)
    lens, notes = lens_for_photo(MEASURED.known, facts(int(size[0]), int(size[1]), orientation))
    whole_size = (WIDTH, HEIGHT) if orientation < 5 else (HEIGHT, WIDTH)
    whole, _ = lens_for_photo(MEASURED.known, facts(*whole_size, orientation))
    pixels = np.random.default_rng(2).uniform(0, HEIGHT, (15, 2))
    # geometric: pixel centres at whole numbers, so the picture's corner is at (-0.5, -0.5)
    np.testing.assert_allclose(angles(lens, (pixels + 0.5) * factor - 0.5), angles(whole, pixels), atol=1e-7)
    assert len(notes) == 1 and "scaled" in notes[0]


def test_sides_rounded_to_whole_pixels_are_still_a_copy() -> None:
    lens_for_photo(LensFile(4000, 3000, LENS).known, facts(1333, 1000))


def test_a_picture_on_its_side_without_orientation_takes_the_middle() -> None:
    lens, notes = lens_for_photo(MEASURED.known, facts(HEIGHT, WIDTH))
    assert tuple(lens.camera_matrix[:2, 2]) == ((HEIGHT - 1) / 2, (WIDTH - 1) / 2)
    assert "which way" in notes[0]


@pytest.mark.parametrize("size", [(400, 225), (300, 300), (4000, 2000)])
def test_another_shape_is_refused(size: tuple[int, int]) -> None:
    with pytest.raises(ScaleError) as caught:
        lens_for_photo(MEASURED.known, facts(*size))
    message = str(caught.value)
    assert "400 x 300" in message and f"{size[0]} x {size[1]}" in message and "p.jpg" in message


def test_another_lens_of_the_same_phone_is_refused() -> None:
    with pytest.raises(ScaleError, match="13 mm"):
        lens_for_photo(MEASURED.known, facts(WIDTH, HEIGHT, focal=13.0))
    lens_for_photo(MEASURED.known, facts(WIDTH, HEIGHT, focal=26.0))
    lens_for_photo(MEASURED.known, facts(WIDTH, HEIGHT))


def test_the_file_comes_back_as_written() -> None:
    form = json.loads(json.dumps(lens_as_json(MEASURED)))
    back = lens_from_json(form)
    np.testing.assert_allclose(back.lens.camera_matrix, LENS.camera_matrix, atol=1e-4)
    np.testing.assert_allclose(back.lens.distortion, LENS.distortion, atol=1e-8)
    assert (back.width_px, back.height_px, back.focal_35mm, back.views, back.notes) == (
        WIDTH, HEIGHT, 26.0, MEASURED.views, ("a note",))
    assert lens_as_json(back) == form


def test_a_file_by_hand_needs_only_the_lens() -> None:
    form = {k: v for k, v in lens_as_json(MEASURED).items()
            if k in ("schema", "units", "image", "camera_matrix", "distortion")}
    assert lens_from_json(form).focal_35mm is None


WRONG = [
    (("schema",), "crackmap/survey/1"), (("units",), "mm"), (("image",), None), (("image", "width"), 0),
    (("image", "width"), 400.5), (("image", "height"), "300"), (("image", "height"), True),
    (("camera_matrix",), None), (("camera_matrix",), [[1, 2], [3, 4]]), (("camera_matrix", 0, 0), -330),
    (("camera_matrix", 0, 1), 5), (("camera_matrix", 2, 2), 2), (("camera_matrix", 0, 2), 900),
    (("camera_matrix", 0, 0), float("nan")), (("camera_matrix", 1, 1), "331"), (("distortion",), [0.1, 0.2]),
    (("distortion", 0), None), (("distortion", 0), -2.0), (("rms",), -1), (("rms",), "small"),
    (("photos",), 3),
    (("photos", 0, "corners"), "many"), (("notes",), "one"), (("coverage",), []), (("focal_35mm",), "26"),
]


@pytest.mark.parametrize(("path", "value"), WRONG, ids=[".".join(map(str, p)) + f"={v!r}" for p, v in WRONG])
def test_a_wrong_field_is_named(path: tuple[str | int, ...], value: object) -> None:
    form = copy.deepcopy(lens_as_json(MEASURED))
    inner: object = form
    for step in path[:-1]:
        inner = inner[step]  # type: ignore[index]
    inner[path[-1]] = value  # type: ignore[index]
    with pytest.raises(ScaleError) as caught:
        lens_from_json(form, "my-lens.json")
    message = str(caught.value)
    assert message.startswith("my-lens.json") and str(path[0]) in message and "\n" not in message


@pytest.mark.parametrize(("name", "value"), [
    ("rms", 10**400), ("focal_35mm", -(10**400)), ("distortion", [10**400, 0, 0, 0, 0]),
    ("distortion", [1e300, 0, 0, 0, 0]), ("camera_matrix", [[10**400, 0, 1], [0, 1, 1], [0, 0, 1]]),
    ("units", "w" * 100_000)])
def test_a_number_that_has_no_float_is_one_short_sentence(name: str, value: object) -> None:
    with pytest.raises(ScaleError, match=name) as caught:
        lens_from_json(lens_as_json(MEASURED) | {name: value})
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize("read", [None, [], "lens", 3])
def test_not_an_object(read: object) -> None:
    with pytest.raises(ScaleError, match="one JSON object"):
        lens_from_json(read)
