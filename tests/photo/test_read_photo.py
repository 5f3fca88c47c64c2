"""Reading a photo: orientation, colour, depth, limits and every wrong file."""

from __future__ import annotations

import io
import os
import struct
import subprocess
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from crackmap.errors import PhotoError
from crackmap.photo import read as read_module
from crackmap.photo.jpeg import is_whole_jpeg
from crackmap.photo.read import LEAST_SIDE_PX, read_photo

WIDTH, HEIGHT = 320, 240
# 8-bit levels that JPEG at quality 95 may move a smooth picture by.
JPEG_LEVELS = 6
ORIENTATION_TAG = 0x0112
EXIF_IFD = 0x8769

# Exif 2.3 (JEITA CP-3451C) tag 274, seen in secondary copies: for each value,
# the visual sides that the 0th row and the 0th column of the stored picture show.
ORIENTATIONS = {
    1: ("top", "left"), 2: ("top", "right"), 3: ("bottom", "right"), 4: ("bottom", "left"),
    5: ("left", "top"), 6: ("right", "top"), 7: ("right", "bottom"), 8: ("left", "bottom"),
}


def upright_picture(width: int = WIDTH, height: int = HEIGHT) -> np.ndarray:
    """A smooth picture whose red grows to the right, green downwards, blue to one corner."""
    y, x = np.mgrid[0:height, 0:width]
    red, green = x * 200 // width + 20, y * 200 // height + 20
    return np.stack([red, green, (red + green) // 2], axis=-1).astype(np.uint8)


def stored_for(upright: np.ndarray, row_side: str, column_side: str) -> np.ndarray:
    """The picture as stored, built pixel by pixel from the standard's definition."""

    def from_side(side: str, steps: np.ndarray, length: int) -> np.ndarray:
        return steps if side in ("top", "left") else length - 1 - steps

    height, width = upright.shape[:2]
    if row_side in ("top", "bottom"):
        rows = from_side(row_side, np.arange(height), height)
        columns = from_side(column_side, np.arange(width), width)
        return upright[rows][:, columns]
    columns = from_side(row_side, np.arange(width), width)  # a stored row is a visual column
    rows = from_side(column_side, np.arange(height), height)
    return np.stack([upright[rows, c] for c in columns])


def save(path: Path, picture: np.ndarray | Image.Image, **options: object) -> Path:
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
    image.save(path, **options)
    return path


def with_tags(tags: dict[int, object], exif_tags: dict[int, object] | None = None) -> Image.Exif:
    exif = Image.Exif()
    for tag, value in tags.items():
        exif[tag] = value
    for tag, value in (exif_tags or {}).items():
        exif.get_ifd(EXIF_IFD)[tag] = value
    return exif


# --- orientation -------------------------------------------------------------------------------------


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("ending", ["jpg", "png", "webp", "tif"])
def test_orientation_is_applied_once(tmp_path: Path, orientation: int, ending: str) -> None:
    upright = upright_picture()
    stored = stored_for(upright, *ORIENTATIONS[orientation])
    options = {"jpg": {"quality": 95, "subsampling": 0}, "webp": {"lossless": True}}.get(ending, {})
    path = save(tmp_path / f"p.{ending}", stored, exif=with_tags({ORIENTATION_TAG: orientation}), **options)

    photo = read_photo(path)

    assert (photo.facts.width_px, photo.facts.height_px) == (WIDTH, HEIGHT)
    assert photo.facts.orientation == orientation
    assert photo.pixels.shape == upright.shape
    difference = np.abs(photo.pixels.astype(int) - upright)
    assert difference.max() <= (JPEG_LEVELS if ending == "jpg" else 0)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_heic_is_turned_once(tmp_path: Path, orientation: int) -> None:
    pillow_heif = pytest.importorskip("pillow_heif")
    upright = upright_picture()
    stored = stored_for(upright, *ORIENTATIONS[orientation])
    path = tmp_path / "p.heic"
    heif = pillow_heif.from_pillow(Image.fromarray(stored))
    heif.info["exif"] = with_tags({ORIENTATION_TAG: orientation}).tobytes()
    heif.save(path, quality=95)

    photo = read_photo(path)

    assert photo.pixels.shape == upright.shape
    assert photo.facts.orientation == orientation
    assert np.abs(photo.pixels.astype(int) - upright).mean() < JPEG_LEVELS


@pytest.mark.parametrize("wrong", [0, 9, 65535])
def test_orientation_outside_the_standard_is_upright(tmp_path: Path, wrong: int) -> None:
    path = save(tmp_path / "p.png", upright_picture(), exif=with_tags({ORIENTATION_TAG: wrong}))
    np.testing.assert_array_equal(read_photo(path).pixels, upright_picture())


def test_pixels_are_read_only_and_the_hash_is_that_of_the_file(tmp_path: Path) -> None:
    path = save(tmp_path / "p.png", upright_picture())
    photo = read_photo(path)
    assert not photo.pixels.flags.writeable
    assert photo.facts.file == "p.png"
    # independent: coreutils' sha256sum
    assert photo.facts.sha256 == subprocess.check_output(["sha256sum", path], text=True).split()[0]


def test_quick_and_strict_jpeg_decoders_agree(tmp_path: Path) -> None:
    path = save(tmp_path / "p.jpg", upright_picture(), quality=90)
    independent = np.asarray(Image.open(path).convert("RGB"), dtype=int)  # independent: Pillow alone
    assert np.abs(read_photo(path).pixels - independent).max() <= 1


# --- colour ------------------------------------------------------------------------------------------


def test_grey_palette_bilevel_and_bmp_become_three_channels(tmp_path: Path) -> None:
    grey = upright_picture()[..., 0]
    three = np.repeat(grey[..., None], 3, axis=2)
    np.testing.assert_array_equal(read_photo(save(tmp_path / "g.png", grey)).pixels, three)
    np.testing.assert_array_equal(read_photo(save(tmp_path / "g.bmp", grey)).pixels, three)
    palette = Image.fromarray(grey).convert("P")
    np.testing.assert_array_equal(read_photo(save(tmp_path / "p.png", palette)).pixels, three)
    black_white = Image.fromarray(grey > 120)
    assert set(np.unique(read_photo(save(tmp_path / "b.png", black_white)).pixels)) == {0, 255}


@pytest.mark.parametrize("ending", ["png", "tif"])
def test_sixteen_bit_grey_keeps_its_levels(tmp_path: Path, ending: str) -> None:
    levels = np.linspace(0, 65535, WIDTH * HEIGHT).reshape(HEIGHT, WIDTH).astype(np.uint16)
    path = save(tmp_path / f"deep.{ending}", levels)
    expected = np.round(levels / 257.0)  # geometric: 65535 / 255 = 257
    assert np.abs(read_photo(path).pixels[..., 1] - expected).max() == 0


def test_sixteen_bit_colour(tmp_path: Path) -> None:
    import cv2

    deep = upright_picture().astype(np.uint16) * 257
    path = tmp_path / "deep.png"
    assert cv2.imwrite(str(path), deep[..., ::-1])  # independent writer: OpenCV
    assert np.abs(read_photo(path).pixels.astype(int) - upright_picture()).max() <= 1


def test_transparency_lies_over_white(tmp_path: Path) -> None:
    rgba = np.dstack([np.zeros((HEIGHT, WIDTH, 3), np.uint8), np.full((HEIGHT, WIDTH), 128, np.uint8)])
    rgba[:10, :, 3] = 0
    photo = read_photo(save(tmp_path / "a.png", rgba))
    assert (photo.pixels[:10] == 255).all()
    assert (photo.pixels[20:] == 127).all()  # geometric: 255 * (1 - 128/255)
    assert any("transparent" in note.lower() for note in photo.notes)


def test_cmyk_jpeg_and_tiff(tmp_path: Path) -> None:
    cmyk = Image.merge("CMYK", [Image.new("L", (WIDTH, HEIGHT), v) for v in (0, 255, 255, 0)])
    for ending in ("jpg", "tif"):
        middle = read_photo(save(tmp_path / f"c.{ending}", cmyk)).pixels[HEIGHT // 2, WIDTH // 2].astype(int)
        assert middle[0] > 200 and middle[1] < 60 and middle[2] < 60  # magenta + yellow ink is red


def test_lab_tiff(tmp_path: Path) -> None:
    lab = Image.merge("LAB", [Image.new("L", (WIDTH, HEIGHT), v) for v in (137, 128, 128)])
    middle = read_photo(save(tmp_path / "lab.tif", lab)).pixels[5, 5].astype(int)
    # CIE 1976: L* = 53.7 of neutral colour is linear 0.218, sRGB 128 (IEC 61966-2-1), by hand
    assert np.abs(middle - 128).max() <= 2


def swapped_profile() -> bytes:
    """An RGB profile made for this test: sRGB with its red and green primaries exchanged."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    red, green = profile.index(b"rXYZ"), profile.index(b"gXYZ")
    profile[red : red + 4], profile[green : green + 4] = b"gXYZ", b"rXYZ"
    return bytes(profile)


@pytest.mark.parametrize("ending", ["jpg", "png", "tif", "webp"])
def test_embedded_profile_is_converted(tmp_path: Path, ending: str) -> None:
    picture = upright_picture()
    path = save(tmp_path / f"p.{ending}", picture, icc_profile=swapped_profile(),
                **({"lossless": True} if ending == "webp" else {"quality": 98}))
    photo = read_photo(path)
    assert np.abs(photo.pixels.astype(int) - picture[..., [1, 0, 2]]).mean() < 3
    assert any("profile" in note for note in photo.notes)


def test_srgb_profile_needs_no_conversion(tmp_path: Path) -> None:
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    photo = read_photo(save(tmp_path / "p.png", upright_picture(), icc_profile=srgb))
    np.testing.assert_array_equal(photo.pixels, upright_picture())
    assert photo.notes == ()


def test_broken_profile_is_said_and_passed_over(tmp_path: Path) -> None:
    photo = read_photo(save(tmp_path / "p.png", upright_picture(), icc_profile=b"not a profile"))
    np.testing.assert_array_equal(photo.pixels, upright_picture())
    assert "could not be used" in photo.notes[0]


def test_first_of_several_pictures(tmp_path: Path) -> None:
    first, second = Image.fromarray(upright_picture()), Image.new("RGB", (WIDTH, HEIGHT))
    first.save(tmp_path / "two.tif", save_all=True, append_images=[second])
    photo = read_photo(tmp_path / "two.tif")
    np.testing.assert_array_equal(photo.pixels, upright_picture())
    assert "2 pictures" in photo.notes[0]


# --- focal length ------------------------------------------------------------------------------------

FOCAL_35MM, FOCAL, PLANE_X, PLANE_Y, PLANE_UNIT, TAKEN_X, TAKEN_Y = (
    0xA405, 0x920A, 0xA20E, 0xA20F, 0xA210, 0xA002, 0xA003)


def focal_of(tmp_path: Path, exif_tags: dict[int, object]) -> float | None:
    path = save(tmp_path / "f.jpg", upright_picture(), exif=with_tags({}, exif_tags))
    return read_photo(path).facts.focal_35mm


def test_focal_length_as_written(tmp_path: Path) -> None:
    assert focal_of(tmp_path, {FOCAL_35MM: 26}) == 26


def test_focal_length_from_the_sensor(tmp_path: Path) -> None:
    # geometric: 320 px at 320/36 px a mm is a sensor 36 mm wide and 27 mm high, diagonal 45 mm;
    # 25 mm on it is 25 * hypot(36, 24) / 45 = 24.04 mm on the 35 mm frame
    expected = 25 * np.hypot(36, 24) / 45
    per_cm = {FOCAL: 25.0, PLANE_X: 320 / 3.6, PLANE_Y: 320 / 3.6, PLANE_UNIT: 3}
    assert focal_of(tmp_path, per_cm) == pytest.approx(expected, rel=1e-4)
    per_inch = {FOCAL: 25.0, PLANE_X: 320 / 36 * 25.4, PLANE_UNIT: 2}
    assert focal_of(tmp_path, per_inch) == pytest.approx(expected, rel=1e-4)


def test_focal_length_from_the_sensor_of_a_reduced_copy(tmp_path: Path) -> None:
    # geometric: taken at ten times the size, the sensor stays the same
    tags = {FOCAL: 25.0, PLANE_X: 3200 / 3.6, PLANE_UNIT: 3, TAKEN_X: 3200, TAKEN_Y: 2400}
    assert focal_of(tmp_path, tags) == pytest.approx(25 * np.hypot(36, 24) / 45, rel=1e-4)


@pytest.mark.parametrize("tags", [
    {}, {FOCAL_35MM: 0}, {FOCAL_35MM: 3}, {FOCAL_35MM: 2000}, {FOCAL: 25.0},
    {FOCAL: 25.0, PLANE_X: 0.0, PLANE_UNIT: 2}, {FOCAL: 25.0, PLANE_X: 88.9, PLANE_UNIT: 1},
])
def test_focal_length_absent_or_absurd(tmp_path: Path, tags: dict[int, object]) -> None:
    assert focal_of(tmp_path, tags) is None


def test_focal_length_of_a_cropped_picture_is_unknown(tmp_path: Path) -> None:
    assert focal_of(tmp_path, {FOCAL_35MM: 26, TAKEN_X: 640, TAKEN_Y: 360}) is None
    assert focal_of(tmp_path, {FOCAL_35MM: 26, TAKEN_X: 480, TAKEN_Y: 640}) == 26  # a quarter turn is no crop


def test_damaged_exif_is_passed_over(tmp_path: Path) -> None:
    path = save(tmp_path / "p.jpg", upright_picture(), exif=b"Exif\0\0MM\0*\xff\xff\xff\xff" + bytes(40))
    photo = read_photo(path)
    assert photo.facts.focal_35mm is None and photo.pixels.shape == (HEIGHT, WIDTH, 3)


# --- wrong files: one sentence that names the file ------------------------------------------------------


def refused(path: Path, *words: str) -> None:
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    message = str(caught.value)
    assert str(path) in message and "\n" not in message and message.endswith(".")
    for word in words:
        assert word in message


def test_missing_folder_empty_and_not_a_picture(tmp_path: Path) -> None:
    refused(tmp_path / "none.jpg", "does not exist")
    refused(tmp_path, "folder")
    (tmp_path / "empty.jpg").touch()
    refused(tmp_path / "empty.jpg", "0 bytes")
    (tmp_path / "text.jpg").write_text("not a picture at all")
    refused(tmp_path / "text.jpg", "not an image")
    os.mkfifo(tmp_path / "pipe.jpg")
    refused(tmp_path / "pipe.jpg", "ordinary file")


def test_too_small(tmp_path: Path) -> None:
    refused(save(tmp_path / "one.png", np.zeros((1, 1, 3), np.uint8)), "too small", str(LEAST_SIDE_PX))
    refused(save(tmp_path / "thin.png", np.zeros((LEAST_SIDE_PX - 1, 900, 3), np.uint8)), "too small")
    read_photo(save(tmp_path / "just.png", np.zeros((LEAST_SIDE_PX, LEAST_SIDE_PX, 3), np.uint8)))


def test_too_many_pixels_is_refused_before_decoding(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # A PNG header that claims 60,000 x 60,000 pixels with no picture behind it: only a
    # reader that looks at the size first can say so.
    buffer = io.BytesIO()
    Image.new("L", (300, 300)).save(buffer, "PNG")
    content = bytearray(buffer.getvalue())
    content[16:24] = (60000).to_bytes(4, "big") * 2
    content[29:33] = zlib.crc32(content[12:29]).to_bytes(4, "big")
    (tmp_path / "bomb.png").write_bytes(content)
    refused(tmp_path / "bomb.png", "60000 x 60000", "200 million")


def test_pillows_own_limit_is_put_back(tmp_path: Path) -> None:
    before = Image.MAX_IMAGE_PIXELS
    read_photo(save(tmp_path / "p.png", upright_picture()))
    assert before == Image.MAX_IMAGE_PIXELS


@pytest.mark.parametrize("ending", ["jpg", "png", "tif", "webp", "bmp", "heic"])
@pytest.mark.parametrize("kept", [0.2, 0.6, 0.95])
def test_cut_short(tmp_path: Path, ending: str, kept: float) -> None:
    rng = np.random.default_rng(1)
    noisy = rng.integers(0, 255, (HEIGHT, WIDTH, 3)).astype(np.uint8)
    whole = tmp_path / f"whole.{ending}"
    if ending == "heic":
        pytest.importorskip("pillow_heif").from_pillow(Image.fromarray(noisy)).save(whole)
    else:
        save(whole, noisy)
    path = tmp_path / f"cut.{ending}"
    content = whole.read_bytes()
    path.write_bytes(content[: int(len(content) * kept)])
    refused(path)


@pytest.mark.parametrize("progressive", [False, True])
def test_jpeg_cut_anywhere_is_refused_or_whole(tmp_path: Path, progressive: bool) -> None:
    thumbnail = io.BytesIO()
    Image.fromarray(upright_picture(32, 24)).save(thumbnail, "JPEG")
    buffer = io.BytesIO()
    # an EXIF block that holds a whole JPEG: its end marker must not be taken for the picture's
    Image.fromarray(upright_picture()).save(buffer, "JPEG", progressive=progressive,
                                            exif=b"Exif\0\0" + thumbnail.getvalue())
    content = buffer.getvalue()
    assert is_whole_jpeg(content)
    assert is_whole_jpeg(content + b"appended by the camera")
    for kept in range(2, len(content) - 2, 97):
        assert not is_whole_jpeg(content[:kept])


def test_jpeg_with_stray_bytes_between_segments_is_read(tmp_path: Path) -> None:
    whole = save(tmp_path / "p.jpg", upright_picture())
    content = whole.read_bytes()
    at = content.index(b"\xff\xdb")  # the first quantisation table
    stray = content[:at] + b"stray" + content[at:]
    assert not is_whole_jpeg(stray)
    (tmp_path / "q.jpg").write_bytes(stray)
    difference = read_photo(tmp_path / "q.jpg").pixels.astype(int) - read_photo(whole).pixels
    assert np.abs(difference).max() <= 1


def test_raw_file_says_what_to_do(tmp_path: Path) -> None:
    refused(save(tmp_path / "p.dng", upright_picture(), format="TIFF"), "raw file")
    (tmp_path / "p.cr3").write_bytes(b"\0\0\0\x18ftypcrx " + bytes(500))
    refused(tmp_path / "p.cr3", "raw file")


def test_values_without_a_set_white(tmp_path: Path) -> None:
    bright = np.linspace(0, 3, WIDTH * HEIGHT, dtype=np.float32).reshape(HEIGHT, WIDTH)
    refused(save(tmp_path / "f.tif", bright), "floating-point")


def test_random_bytes_behind_a_real_header_never_escape(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    for ending in ("jpg", "png", "tif", "webp", "bmp"):
        content = save(tmp_path / f"p.{ending}", upright_picture()).read_bytes()
        for trial in range(12):
            damaged = bytearray(content)
            for at in rng.integers(0, len(damaged), 20):
                damaged[at] = rng.integers(0, 256)
            path = tmp_path / f"d{trial}.{ending}"
            path.write_bytes(damaged)
            try:
                photo = read_photo(path)
            except PhotoError as problem:
                assert str(path) in str(problem)
            else:
                assert photo.pixels.dtype == np.uint8 and photo.pixels.ndim == 3


def test_memory_that_does_not_suffice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_memory(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr(read_module, "rgb_pixels", no_memory)
    refused(save(tmp_path / "p.png", upright_picture()), "memory")


def test_a_second_picture_that_is_damaged(tmp_path: Path) -> None:
    """Its directory once ended in a traceback while the pictures were counted."""
    first = Image.fromarray(upright_picture())
    stream = io.BytesIO()
    first.save(stream, "TIFF", save_all=True, append_images=[first])
    content = bytearray(stream.getvalue())
    directory = struct.unpack_from("<I", content, 4)[0]
    entries = struct.unpack_from("<H", content, directory)[0]
    second = struct.unpack_from("<I", content, directory + 2 + 12 * entries)[0]
    for entry in range(struct.unpack_from("<H", content, second)[0]):
        at = second + 2 + 12 * entry
        if struct.unpack_from("<H", content, at)[0] == 256:  # ImageWidth (TIFF 6.0, section 8)
            struct.pack_into("<H", content, at, 999)
    (tmp_path / "two.tif").write_bytes(content)
    refused(tmp_path / "two.tif", "damaged")
