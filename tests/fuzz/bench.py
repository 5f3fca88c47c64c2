"""What the readers read from: valid job folders, made once a run, and put right again after each input."""

from __future__ import annotations

import contextlib
import io
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from PIL import Image

from crackmap import job, pipeline
from crackmap.cli.main import cli
from crackmap.cli.steps import noted_shop, settings_of
from crackmap.photo.read import read_photo
from crackmap.review.session import Session
from crackmap.review.state import Frame
from crackmap.review.tiles import TILE, levels_of
from tests.review.jobs import a_job_folder

ROOT = Path(__file__).resolve().parents[2]
SHOP = """# every table and kind of value
units = "mm"
[bit]
diameter = "1/4in"
cutting_length = 25.4
measured = 6.3
[fit]
clearance = 0.12
pocket_share = 0.25
proud = 1.0
[bed]
x = 600.0
y = 400
open_sides = ["left", "right"]
table_beyond = 50
clamps = [[0, 0, 40, 40], ["1in", 300, 40, 40]]
[[stock]]
length = 600
width = 120.0
thickness = 25
wood = "white oak"
offcut = true
keep_free = [[0, 0, 30, 120]]
[[stock]]
length = "2ft"
[resin]
ratio = "2:1"
ratio_by = "weight"
density_resin = 1.1
largest_batch = 500
deepest_layer = 10
allowance_percent = 15
seal_coat = 150
price_per_litre = 30
currency = "EUR"
[wood]
species = "red oak"
moisture_percent = 12
room_humidity_percent = 45
room_temperature_c = 20
[keys]
shape = "two-lobe"
key_wood = "white oak"
depth_fraction = 0.45
sizes = 3
length_per_thickness = 2.3
lengths = [60, 80, 100]
width_ratio = 0.4
least_floor = 8
[machine]
feed = 1500
plunge = 300
pass_depth = 2
stepover = 0.4
retract_each_pass = true
[[tested]]
bit_diameter = 6.35
clearance = 0.15
wood = "white oak"
""".replace('"2ft"', '"24in"')


@dataclass
class Bench:
    """A scratch folder with what the readers need."""

    scratch: Path

    def copy_of(self, folder: Path, name: str) -> Path:
        """A reader's own copy of a job folder."""
        own = self.scratch / name
        shutil.copytree(folder, own)
        return own

    @cached_property
    def drawn_job(self) -> Path:
        """A small slab drawn in code, with keys, boards and set-ups in its plan."""
        folder = self.scratch / "drawn"
        a_job_folder(folder, cracks=2, mm_per_px=1.5, length=700.0, width=360.0)
        (folder / "shop.toml").write_text(SHOP, encoding="utf-8")
        run_command("place", str(folder), "--afresh", "--quiet")
        return folder

    @cached_property
    def small_photo(self) -> bytes:
        """A photo of a slab with markers, as small as it can still be measured on."""
        with Image.open(ROOT / "test_images" / "901.jpg") as photo:
            small = photo.resize((750, 562))
        stream = io.BytesIO()
        small.save(stream, "JPEG", quality=85)
        return stream.getvalue()

    @cached_property
    def measured_job(self) -> Path:
        """A job made from that photo."""
        folder, photo = self.scratch / "measured", self.scratch / "small.jpg"
        photo.write_bytes(self.small_photo)
        run_command("run", str(photo), "--thickness", "37.5mm", "--out", str(folder), "--quiet")
        return folder


def run_command(*arguments: str) -> str:
    """What a command prints; its errors are raised as they are."""
    with contextlib.redirect_stdout(io.StringIO()) as printed:
        cli.main(args=list(arguments), prog_name="crackmap", standalone_mode=False)
    return printed.getvalue()


@contextlib.contextmanager
def put_right(folder: Path, *names: str) -> Iterator[None]:
    """Leave the block with the folder's files as they were; those of other names are left alone."""
    names = names or (job.JOB, job.SURVEY, job.PLAN, job.EDITS)
    before = {name: (folder / name).read_bytes() if (folder / name).exists() else None for name in names}
    try:
        yield
    finally:
        for name, content in before.items():
            if content is None:
                (folder / name).unlink(missing_ok=True)
            else:
                (folder / name).write_bytes(content)


def open_session(folder: Path) -> Session:
    """The review of a job folder without a server; export draws nothing."""
    read = job.read_job(folder)
    ground = pipeline.ground_size(read.survey)
    frame = Frame(folder.name, read.note.units, read.note.thickness_mm, noted_shop(read.note, folder), ground.width,
                  ground.height, TILE, levels_of(ground.width, ground.height), ground.mapping)
    return Session(read, frame, settings_of(read.note),
                   lambda: pipeline.redraw_ground(read_photo(read.photo_path), read.survey),
                   lambda rectified, survey, plan: (plan, {}))
