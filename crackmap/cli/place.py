"""crackmap place: place the keys of a job again, from its survey, shop file and edits."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from crackmap import job, jsonform
from crackmap.cli.options import FOLDER, Length, shop_option
from crackmap.cli.progress import Progress
from crackmap.cli.steps import (
    drawn_files,
    noted_shop,
    path_from,
    plan_files,
    redraw_ground,
    settings_of,
    write_and_tell,
)


@click.command("place")
@click.argument("folder", type=FOLDER)
@click.option("--thickness", type=Length(), default=None,
              help="The slab's thickness, if it has changed. [default: as the job was made]")
@shop_option
@click.option("--quiet", is_flag=True, help="No progress lines.")
def command(folder: Path, thickness: float | None, shop: Path | None, quiet: bool) -> None:
    """Place the keys of a job again, then draw; the survey and your edits are kept."""
    read = job.read_job(folder)
    note = read.note if thickness is None else replace(read.note, thickness_mm=thickness)
    if shop is not None:
        note = replace(note, shop=path_from(folder, shop))
    own_shop = noted_shop(note, folder)
    settings = settings_of(note)
    job.check_writable(folder)
    progress = Progress(4, quiet)
    rectified = redraw_ground(read, progress)
    plan, files = plan_files(read.survey, own_shop, settings, read.edits, progress)
    files |= drawn_files(rectified, read.survey, plan, own_shop, settings, progress)
    files[job.JOB] = jsonform.dumps(jsonform.note_as_json(note))
    write_and_tell(folder, files, read.survey, plan, own_shop, note.units, progress)
