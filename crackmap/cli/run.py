"""crackmap run: from a photo to a job folder."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from crackmap import job, jsonform
from crackmap.agreement import after_edits
from crackmap.cli.drawing_options import drawing_options, parted, with_choices
from crackmap.cli.options import (
    FILE,
    FOLDER,
    Length,
    copy_name,
    paper_option,
    plans_option,
    printable_name,
    shop_option,
    units_option,
    why_option,
)
from crackmap.cli.progress import Progress
from crackmap.cli.scale_options import scale_options, scale_settings
from crackmap.cli.steps import (
    drawn_files,
    hold,
    load_shop,
    measure_photo,
    measure_underside,
    offered_files,
    path_from,
    photo_bytes,
    plan_files,
    settings_of,
    survey_before,
    why_files,
    write_and_tell,
)
from crackmap.cli.underside_options import NAMES, underside_note, underside_options
from crackmap.errors import JobError
from crackmap.jsonform import JobNote
from crackmap.records import Edits, Survey
from crackmap.settings import SurveySettings

_HELP = """From a photo to keys, drawings and the bench sheet.

PHOTO is an overhead picture of the slab with at least one printed marker lying
on it (see: crackmap marker). The job folder then holds pictures to review, DXF
and SVG for the CAM program, the setting-out sheet, and the measurements as JSON.
An edits.json that is already there is kept and obeyed.
"""


@click.command("run", help=_HELP)
@click.argument("photo", type=FILE)
@click.option("--thickness", type=Length(), required=True, help="The slab's thickness, as 45mm or 1-3/4in.")
@click.option("--out", type=FOLDER, required=True, help="The job folder; made if it isn't there.")
@units_option
@scale_options
@click.option("--sensitivity", type=click.FloatRange(0, 1), default=None,
              help="0 keeps only the surest cracks, 1 also the faintest. [default: 0.5]")
@shop_option
@paper_option
@drawing_options
@plans_option
@why_option
@underside_options
@click.option("--same-slab", is_flag=True,
              help="Keep the edits in --out although the photo is another one: it shows the same slab.")
@click.option("--quiet", is_flag=True, help="No progress lines.")
def command(photo: Path, thickness: float, out: Path, units: str | None, sensitivity: float | None,
            shop: Path | None, paper: str | None, plans: bool, why: bool, same_slab: bool, quiet: bool,
            **choices: Any) -> None:
    second_face = {name: choices.pop(name) for name in NAMES}
    drawing_choices, scale_choices = parted(choices)
    scale = scale_settings(**scale_choices)
    own_shop = load_shop(shop, out)
    cracks = SurveySettings() if sensitivity is None else SurveySettings(least_confidence=1 - sensitivity)
    note = JobNote(copy_name("photo", photo), printable_name(photo), thickness, units or own_shop.units,
                   scale, cracks, path_from(out, shop), paper or "a4")
    note = replace(with_choices(note, drawing_choices), underside=underside_note(**second_face, scale=scale))
    settings = settings_of(note)
    hold(out, "run")
    edits = job.read_edits(out)
    progress = Progress(6 + plans + why + (note.underside is not None), quiet)
    measured = measure_photo(photo, note.title, settings, edits, progress)
    survey, under, own_photo = _taken_up(out, measured.survey, edits, same_slab), None, second_face["underside"]
    if note.underside is not None:
        under, survey = measure_underside(own_photo, note.underside, survey, settings, progress)
    plan, files = plan_files(survey, own_shop, settings, edits, progress)
    files |= drawn_files(measured.rectified, survey, plan, own_shop, settings, progress, under)
    if plans:
        files |= offered_files(measured.rectified, survey, plan, own_shop, settings, edits, progress)
    if why:
        files |= why_files(measured.rectified, settings, edits, progress)
    files |= {
        note.photo: photo_bytes(photo, measured.photo.facts.sha256),
        job.JOB: jsonform.dumps(jsonform.note_as_json(note)),
        job.SURVEY: jsonform.dumps(jsonform.survey_as_json(survey)),
    }
    if note.underside is not None and survey.other_face is not None:
        files[note.underside.photo] = photo_bytes(own_photo, survey.other_face.survey.photo.sha256)
    write_and_tell(out, files, survey, plan, own_shop, note.units, progress)


def _taken_up(out: Path, survey: Survey, edits: Edits, same_slab: bool) -> Survey:
    """The survey that takes the place of the folder's, if the user's edits go with it."""
    before = survey_before(out)
    if before is not None and before.photo.sha256 != survey.photo.sha256:
        if (out / job.EDITS).exists() and not same_slab:
            raise JobError(f"{out} holds your edits for another photo; give another folder with --out, or --same-slab "
                           "if this photo shows the same slab with its markers unmoved.")
        click.echo(f"{out} held the job of another photo, {before.photo.file}: this one takes its place.")
    return after_edits(before, survey, edits, out)
