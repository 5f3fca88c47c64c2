"""Any file at all in the place of a photo: an answer, or one sentence, status 2 and nothing written."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skimage
from PIL import Image

from crackmap.cli.main import main

# Those that come in scikit-image's package; the others of skimage.data need a download and are left out.
IN_PACKAGE = sorted(path for path in (Path(skimage.__file__).parent / "data").iterdir()
                    if path.suffix in (".png", ".jpg", ".tif", ".gif"))
MOST_SECONDS = 10.0  # of processor time
MOST_BYTES = 2_000_000_000


def said_of(photo: Path, out: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """What `crackmap run PHOTO` ends in; empty for an answer. Checks status, sentence, folder and time."""
    start = time.process_time()
    status: Any = 0
    try:
        main(["run", str(photo), "--thickness", "40mm", "--out", str(out), "--quiet"])
    except SystemExit as end:
        status = end.code
    assert time.process_time() - start < MOST_SECONDS
    said = [line for line in capsys.readouterr().err.splitlines() if line.startswith("crackmap: ")]
    assert status in (0, 2), said
    if status == 0:
        return ""
    assert len(said) == 1 and len(said[0]) < 1000, said
    assert not out.exists()
    return said[0]


@pytest.mark.parametrize("path", IN_PACKAGE, ids=lambda path: path.name)
def test_pictures_of_scikit_image(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert said_of(path, tmp_path / "out", capsys), "there is no marker in it"


def noise(width: int, height: int, *channels: int) -> np.ndarray:
    return np.random.default_rng(1).integers(0, 256, (height, width, *channels), np.uint8)


def made(kind: str, image: Image.Image, **options: Any) -> Callable[[], bytes]:
    def write() -> bytes:
        stream = io.BytesIO()
        image.save(stream, kind, **options)
        return stream.getvalue()

    return write


def tagged(*tags: tuple[int, Any], within: tuple[tuple[int, Any], ...] = ()) -> Image.Exif:
    exif = Image.Exif()
    for tag, value in tags:
        exif[tag] = value
    for tag, value in within:
        exif.get_ifd(0x8769)[tag] = value
    return exif


RGB, GREY = Image.fromarray(noise(400, 300, 3)), Image.fromarray(noise(400, 300))
RGBA = Image.fromarray(noise(400, 300, 4))
WILD: dict[str, Callable[[], bytes]] = {
    "blank.png": made("PNG", Image.new("RGB", (800, 600), (255, 255, 255))),
    "black.jpg": made("JPEG", Image.new("RGB", (800, 600))),
    "noise.png": made("PNG", Image.fromarray(noise(900, 700, 3))),
    "one-pixel.png": made("PNG", Image.new("RGB", (1, 1))),
    "very-wide.png": made("PNG", Image.new("RGB", (20_000, 40), (120, 90, 60))),
    "very-tall.png": made("PNG", Image.new("RGB", (40, 20_000), (120, 90, 60))),
    "wide-enough.png": made("PNG", Image.fromarray(noise(12_000, 200, 3))),
    "tall-enough.jpg": made("JPEG", Image.new("RGB", (200, 12_000), (120, 90, 60))),
    "transparent.png": made("PNG", Image.new("RGBA", (500, 400), (0, 0, 0, 0))),
    "half-transparent.webp": made("WEBP", RGBA),
    "animated.gif": made("GIF", RGB, save_all=True, append_images=[GREY.convert("RGB")] * 3),
    "animated.webp": made("WEBP", RGB, save_all=True, append_images=[GREY.convert("RGB")] * 3),
    "animated.png": made("PNG", RGB, save_all=True, append_images=[GREY.convert("RGB")] * 3),
    "one-bit.png": made("PNG", GREY.convert("1")),
    "one-bit.tif": made("TIFF", GREY.convert("1"), compression="group4"),
    "deep.png": made("PNG", Image.fromarray(noise(400, 300).astype(np.uint16) * 257)),
    "deep.tif": made("TIFF", Image.fromarray(noise(400, 300).astype(np.uint16) * 257)),
    "floating.tif": made("TIFF", GREY.convert("F")),
    "integer.tif": made("TIFF", GREY.convert("I")),
    "ink.jpg": made("JPEG", RGB.convert("CMYK")),
    "ink.tif": made("TIFF", RGB.convert("CMYK")),
    "palette.png": made("PNG", RGB.convert("P")),
    "palette-transparent.png": made("PNG", RGB.convert("P"), transparency=0),
    "grey-alpha.png": made("PNG", RGBA.convert("LA")),
    "really-a-png.jpg": made("PNG", RGB),
    "really-a-jpeg.png": made("JPEG", RGB),
    "really-a-tiff.dng": made("TIFF", RGB),
    "no-extension": made("JPEG", RGB),
    "orientation-nine.jpg": made("JPEG", RGB, exif=tagged((0x0112, 9))),
    "focal-negative.jpg": made("JPEG", RGB, exif=tagged(within=((0x920A, -4.2), (0xA405, 0)))),
    "focal-huge.jpg": made("JPEG", RGB, exif=tagged(within=((0x920A, 4e6), (0xA405, 65_535), (0xA20E, 1e-6)))),
    "size-nought.jpg": made("JPEG", RGB, exif=tagged(within=((0xA002, 0), (0xA003, 0), (0xA405, 26)))),
    "size-lies.jpg": made("JPEG", RGB, exif=tagged(within=((0xA002, 1), (0xA003, 2**31), (0xA405, 26)))),
    "tags-damaged.jpg": made("JPEG", RGB, exif=b"Exif\0\0II*\0\x08\0\0\0\xff\xff" + bytes(range(256))),
    "profile-damaged.jpg": made("JPEG", RGB, icc_profile=b"\0" * 128 + b"acsp"),
    "text.jpg": lambda: b"Beech top, two cracks, 40 mm.\n" * 50,
    "page.jpg": lambda: b"<!doctype html><title>404</title>",
    "picture.svg": lambda: b'<svg xmlns="http://www.w3.org/2000/svg" width="400" height="300"/>',
    "sheet.pdf": lambda: b"%PDF-1.4\n%\xe2\xe3\n1 0 obj <<>> endobj\ntrailer <<>>\n%%EOF",
    "empty.jpg": lambda: b"",
    "nulls.jpg": lambda: bytes(100_000),
    "start-only.jpg": lambda: b"\xff\xd8\xff",
    "start-only.png": lambda: b"\x89PNG\r\n\x1a\n",
    "start-only.heic": lambda: b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
}


@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize("name", WILD)
def test_odd_pictures(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / name).write_bytes(WILD[name]())
    assert name in said_of(tmp_path / name, tmp_path / "out", capsys)


@pytest.mark.parametrize("special", ["folder.jpg", "pipe.jpg", "/dev/zero", "/dev/null", "loop.jpg", "nowhere.jpg"])
@pytest.mark.skipif(os.name == "nt", reason="these are POSIX's")
def test_what_is_no_file(special: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "folder.jpg").mkdir()
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "loop.jpg").symlink_to("loop.jpg")
    assert Path(special).name in said_of(tmp_path / special, tmp_path / "out", capsys)


def test_the_photo_named_twice_over_as_its_own_job_folder(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = tmp_path / "p.jpg"
    photo.write_bytes(WILD["noise.png"]())
    with pytest.raises(SystemExit) as ended:
        main(["run", str(photo), "--thickness", "40mm", "--out", str(photo), "--quiet"])
    assert ended.value.code == 2 and "is a file" in capsys.readouterr().err
    assert photo.read_bytes() == WILD["noise.png"]()


# Runs its arguments and tells their largest memory [kB or byte] and processor time [s]. A small process in between,
# because a new process is counted with the memory of the one that it was forked from, which here is pytest's.
_WATCHED = """
import resource, subprocess, sys
ended = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(used.ru_maxrss, used.ru_utime + used.ru_stime)
sys.exit(ended.returncode)
"""


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="the child's memory is measured by POSIX's means")
@pytest.mark.parametrize(("width", "height", "noisy"),
                         [(8000, 6000, False), (8000, 6000, True), (14_000, 14_000, False)])
def test_large_pictures_in_time_and_memory(width: int, height: int, noisy: bool, tmp_path: Path) -> None:
    """In a process of its own, so that its memory is known."""
    photo, out = tmp_path / "large.jpg", tmp_path / "out"
    small = noise(width // 8, height // 8, 3) if noisy else np.full((2, 2, 3), 140, np.uint8)
    Image.fromarray(small).resize((width, height)).save(photo, "JPEG", quality=80)
    ended = subprocess.run(
        [sys.executable, "-c", _WATCHED, sys.executable, "-m", "crackmap", "run", str(photo), "--thickness", "40mm",
         "--out", str(out), "--quiet"],
        capture_output=True, text=True, env=os.environ | {"OMP_NUM_THREADS": "1"}, check=False)
    assert ended.returncode == 2 and ended.stderr.count("\n") == 1, ended.stderr
    assert not out.exists()
    most, seconds = (float(figure) for figure in ended.stdout.split())
    kilobyte = 1 if sys.platform == "darwin" else 1024
    assert most * kilobyte < MOST_BYTES
    assert seconds < MOST_SECONDS
