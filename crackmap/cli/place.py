"""crackmap place: place the keys of a job again, from its survey, shop file and edits."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from crackmap import job, jsonform
from crackmap.cli.options import FOLDER, Length, plans_option, shop_option
from crackmap.cli.progress import Progress
from crackmap.cli.steps import (
    drawn_files,
    hold,
    noted_shop,
    offered_files,
    path_from,
    plan_files,
    redraw_ground,
    redraw_underside,
    settings_of,
    write_and_tell,
)


@click.command("place")
@click.argument("folder", type=FOLDER)
@click.option("--thickness", type=Length(), default=None,
              help="The slab's thickness, if it has changed. [default: as the job was made]")
@shop_option
@click.option("--afresh", is_flag=True,
              help="Place every key anew. Without it the last plan's keys stay where your edits don't touch them.")
@click.option("--plan", "choice", type=click.Choice(jsonform.PLAN_CHOICES), default=None,
              help="Place the keys anew by one of the plans to choose from. [default: as last time]")
@plans_option
@click.option("--quiet", is_flag=True, help="No progress lines.")
def command(folder: Path, thickness: float | None, shop: Path | None, afresh: bool, choice: str | None, plans: bool,
            quiet: bool) -> None:
    """Place the keys of a job again, then draw; the survey and your edits are kept."""
    job.demand_job(folder)
    hold(folder, "place")
    read = job.read_job(folder)
    note = read.note if thickness is None else replace(read.note, thickness_mm=thickness)
    if shop is not None:
        note = replace(note, shop=path_from(folder, shop))
    own_shop = noted_shop(note, folder)
    settings = settings_of(note)
    progress = Progress(5 if plans else 4, quiet)
    rectified = redraw_ground(read, progress)
    last = None if afresh or choice is not None else read.plan
    if choice is None and read.plan is not None:
        choice = read.plan.choice
    plan, files = plan_files(read.survey, own_shop, settings, read.edits, progress, last, choice)
    files |= drawn_files(rectified, read.survey, plan, own_shop, settings, progress, redraw_underside(read))
    if plans:
        files |= offered_files(rectified, read.survey, plan, own_shop, settings, read.edits, progress)
    files[job.JOB] = jsonform.dumps(jsonform.note_as_json(note))
    write_and_tell(folder, files, read.survey, plan, own_shop, note.units, progress)
