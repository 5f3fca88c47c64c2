"""crackmap draw: draw a job's files again, in another unit or on other paper if asked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from crackmap import job, jsonform, pipeline
from crackmap.agreement import demand_plan_is_current
from crackmap.cli.drawing_options import drawing_options, with_choices
from crackmap.cli.options import FOLDER, paper_option, shop_option, units_option
from crackmap.cli.progress import Progress
from crackmap.cli.steps import (
    drawn_files,
    hold,
    noted_shop,
    path_from,
    redraw_ground,
    redraw_underside,
    settings_of,
    write_and_tell,
)
from crackmap.errors import JobError


@click.command("draw")
@click.argument("folder", type=FOLDER)
@units_option
@paper_option
@shop_option
@drawing_options
@click.option("--quiet", is_flag=True, help="No progress lines.")
def command(folder: Path, units: str | None, paper: str | None, shop: Path | None, quiet: bool,
            **choices: Any) -> None:
    """Draw a job's pictures, DXF and sheets again; nothing is measured and no key is placed anew.

    Boards, set-ups and machine time are reckoned again, so that a changed shop file counts. What you
    don't name stays as the job was drawn before.
    """
    job.demand_job(folder)
    hold(folder, "draw")
    read = job.read_job(folder)
    if read.plan is None:
        raise JobError(f"{folder / job.PLAN} is missing; place the keys first with: crackmap place {folder}")
    note = replace(read.note, units=units or read.note.units, paper=paper or read.note.paper)
    note = with_choices(note, choices)
    if shop is not None:
        note = replace(note, shop=path_from(folder, shop))
    own_shop = noted_shop(note, folder)
    demand_plan_is_current(read, own_shop)
    progress = Progress(3, quiet)
    rectified = redraw_ground(read, progress)
    settings = settings_of(note)
    plan = pipeline.plan_cutting(read.survey, read.plan, own_shop, settings)
    files = drawn_files(rectified, read.survey, plan, own_shop, settings, progress, redraw_underside(read))
    files |= {job.JOB: jsonform.dumps(jsonform.note_as_json(note)),
              job.PLAN: jsonform.dumps(jsonform.plan_as_json(plan))}
    write_and_tell(folder, files, read.survey, plan, own_shop, note.units, progress)
