"""crackmap draw: draw a job's files again, in another unit or on other paper if asked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from crackmap import job, jsonform
from crackmap.cli.options import FOLDER, paper_option, shop_option, units_option
from crackmap.cli.progress import Progress
from crackmap.cli.steps import drawn_files, noted_shop, path_from, redraw_ground, settings_of, write_and_tell
from crackmap.errors import JobError


@click.command("draw")
@click.argument("folder", type=FOLDER)
@units_option
@paper_option
@shop_option
@click.option("--quiet", is_flag=True, help="No progress lines.")
def command(folder: Path, units: str | None, paper: str | None, shop: Path | None, quiet: bool) -> None:
    """Draw a job's pictures, DXF and sheets again from its plan; nothing is measured or placed anew."""
    read = job.read_job(folder)
    if read.plan is None:
        raise JobError(f"{folder / job.PLAN} is missing; place the keys first with: crackmap place {folder}")
    note = replace(read.note, units=units or read.note.units, paper=paper or read.note.paper)
    if shop is not None:
        note = replace(note, shop=path_from(folder, shop))
    own_shop = noted_shop(note, folder)
    job.check_writable(folder)
    progress = Progress(3, quiet)
    rectified = redraw_ground(read, progress)
    files = drawn_files(rectified, read.survey, read.plan, own_shop, settings_of(note), progress)
    files[job.JOB] = jsonform.dumps(jsonform.note_as_json(note))
    write_and_tell(folder, files, read.survey, read.plan, own_shop, note.units, progress)
