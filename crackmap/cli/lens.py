"""crackmap lens: the lens sheet, and the lens from photos of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from crackmap import job, jsonform
from crackmap.cli.marker import refuse_overwriting
from crackmap.cli.options import FILE, Length
from crackmap.cli.progress import Progress
from crackmap.errors import ScaleError
from crackmap.settings import LENS_BOARDS, LENS_SQUARE, KnownLens, LensBoardSettings

if TYPE_CHECKING:
    from crackmap.scale.lens_file import LensFile

_FIT_HELP = """Measure a camera's lens from PHOTOS of the printed lens sheet.

Take 8 to 12 photos with the zoom used for slabs, the sheet lying flat, sharp,
tilted another way in each, and reaching every corner of the picture. The file
then serves every later photo by this camera: crackmap run ... --lens lens.json
"""


@click.group("lens")
def command() -> None:
    """Print a lens sheet; measure a camera's lens from photos of it.

    A lens bends a photo of a long slab by millimetres near its ends. With a lens
    file this is taken out, and a single marker gives a far better scale.
    """


@command.command("board")
@click.option("--out", type=FILE, required=True, help="The PDF to write, as lens-sheet.pdf.")
@click.option("--paper", type=click.Choice(list(LENS_BOARDS)), default="a4", show_default=True,
              help="The paper in your printer.")
@click.option("--overwrite", is_flag=True, help="Replace the file if it is there.")
def board(out: Path, paper: str, overwrite: bool) -> None:
    """Print the lens sheet: a PDF at true size."""
    from crackmap.sheets.lens_board import lens_board_pdf

    content = lens_board_pdf(LensBoardSettings().with_changes(paper=paper))
    refuse_overwriting(out, overwrite)
    job.write_whole(out, content)
    click.echo(f"{out}: the lens sheet, squares of {LENS_SQUARE:g} mm. Print at 100 % and fix it on "
               "something flat.")


@command.command("fit", help=_FIT_HELP)
@click.argument("photos", type=FILE, nargs=-1, required=True)
@click.option("--square", type=Length(), default=None,
              help=f"Side of a printed square as measured. [default: {LENS_SQUARE:g}mm]")
@click.option("--out", type=FILE, required=True, help="The lens file to write, as lens.json.")
@click.option("--overwrite", is_flag=True, help="Replace the file if it is there.")
@click.option("--quiet", is_flag=True, help="No progress lines.")
def fit(photos: tuple[Path, ...], square: float | None, out: Path, overwrite: bool, quiet: bool) -> None:
    from crackmap.photo.read import read_photo
    from crackmap.scale.lens_file import lens_as_json
    from crackmap.scale.lens_fit import calibrate_lens
    from crackmap.scale.lens_views import find_board

    refuse_overwriting(out, overwrite)
    progress = Progress(len(photos) + 1, quiet)
    views, passed_over = [], []
    for path in photos:
        with progress.stage(f"Finding the sheet in {path.name}"):
            photo = read_photo(path)
            try:
                views.append(find_board(photo, square or LENS_SQUARE))
            except ScaleError as problem:  # a bad photo among good ones is said and passed over
                passed_over.append(str(problem))
    for sentence in passed_over:
        click.echo(f"Passed over: {sentence}")
    with progress.stage("Measuring the lens"):
        measured = calibrate_lens(views)
    job.write_whole(out, jsonform.dumps(lens_as_json(measured)))
    for line in lens_lines(measured):
        click.echo(line)
    click.echo(f"Written: {out}")


def load_lens(path: Path) -> KnownLens:
    """The lens in a lens file, for the scale settings.

    Raises
    ------
    ScaleError
        If the file is missing, unreadable or wrong; names the field.
    """
    from crackmap.scale.lens_file import lens_from_json

    try:
        read = json.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise ScaleError(f"the lens file {path} cannot be read ({problem.strerror}); check the name, or make "
                         "one with crackmap lens fit") from problem
    except (ValueError, RecursionError) as problem:
        raise ScaleError(f"the lens file {path} is not valid JSON; make it again with crackmap lens fit"
                         ) from problem
    return lens_from_json(read, str(path)).known


def lens_lines(measured: LensFile) -> list[str]:
    """The measured lens in words."""
    matrix, distortion = measured.lens.camera_matrix, measured.lens.distortion
    used = [v for v in measured.views if v.used]
    lines = [
        f"Lens for pictures of {measured.width_px} x {measured.height_px} pixels, from {len(used)} photos:",
        f"  focal length {matrix[0, 0]:.1f} px, sure to {measured.focal_sigma_percent:.2f} %",
        f"  centre {matrix[0, 2]:.1f}, {matrix[1, 2]:.1f} px",
        "  distortion " + ", ".join(f"{name} {value:+.5f}" for name, value in
                                    zip(("k1", "k2", "p1", "p2", "k3"), distortion, strict=True) if value),
        f"  corners fit to {measured.rms_px:.3f} px rms; the sheet was seen in "
        f"{100 * measured.coverage:.0f} % of the picture",
        f"  the correction is sure to {measured.correction_sigma_px:.2f} px at its worst place",
        "By photo:",
    ]
    lines += [f"  {v.file}: {v.corners} corners, {v.rms_px:.3f} px rms" + ("" if v.used else ", left out")
              for v in measured.views]
    return lines + [f"Note: {note}" for note in measured.notes]
