"""crackmap measure: measure a job's photo again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from crackmap import job, jsonform
from crackmap.agreement import after_edits
from crackmap.cli.options import FOLDER, shop_option, why_option
from crackmap.cli.progress import Progress
from crackmap.cli.steps import (
    drawn_files,
    hold,
    measure_photo,
    measure_underside,
    noted_shop,
    path_from,
    plan_files,
    settings_of,
    survey_before,
    why_files,
    write_and_tell,
)


@click.command("measure")
@click.argument("folder", type=FOLDER)
@click.option("--sensitivity", type=click.FloatRange(0, 1), default=None,
              help="0 keeps only the surest cracks, 1 also the faintest. [default: as the job was made]")
@shop_option
@why_option
@click.option("--quiet", is_flag=True, help="No progress lines.")
def command(folder: Path, sensitivity: float | None, shop: Path | None, why: bool, quiet: bool) -> None:
    """Measure a job's photo again, then place and draw; your edits are kept."""
    job.demand_job(folder)
    hold(folder, "measure")
    note = job.read_note(folder)
    if sensitivity is not None:
        note = replace(note, survey=note.survey.with_changes(least_confidence=1 - sensitivity))
    if shop is not None:
        note = replace(note, shop=path_from(folder, shop))
    own_shop = noted_shop(note, folder)
    settings = settings_of(note)
    edits = job.read_edits(folder)
    progress = Progress(6 + why + (note.underside is not None), quiet)
    measured = measure_photo(folder / note.photo, note.title, settings, edits, progress)
    survey, under = after_edits(survey_before(folder), measured.survey, edits, folder), None
    if note.underside is not None:
        under, survey = measure_underside(folder / note.underside.photo, note.underside, survey, settings, progress)
    plan, files = plan_files(survey, own_shop, settings, edits, progress)
    files |= drawn_files(measured.rectified, survey, plan, own_shop, settings, progress, under)
    if why:
        files |= why_files(measured.rectified, settings, edits, progress)
    files |= {job.JOB: jsonform.dumps(jsonform.note_as_json(note)),
              job.SURVEY: jsonform.dumps(jsonform.survey_as_json(survey))}
    write_and_tell(folder, files, survey, plan, own_shop, note.units, progress)
