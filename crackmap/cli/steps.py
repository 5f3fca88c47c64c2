"""What run, measure, place and draw have in common: read, call the stages, write, report."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import click

from crackmap import job, jsonform, pipeline
from crackmap.cli.progress import Progress
from crackmap.cli.summary import summary_lines
from crackmap.errors import JobError
from crackmap.jsonform import JobNote
from crackmap.pipeline import StageSettings
from crackmap.records import Edits, Photo, Plan, RectifiedPhoto, Survey
from crackmap.settings import SheetSettings
from crackmap.shop import Shop, shop_from_toml

SHOP_FILE = "shop.toml"


@dataclass(frozen=True, slots=True)
class Measured:
    """A photo brought to scale and measured."""

    photo: Photo
    rectified: RectifiedPhoto
    survey: Survey


def load_shop(named: Path | None, folder: Path) -> Shop:
    """The shop file named, or shop.toml in the job folder or beside it, or the defaults.

    Raises
    ------
    JobError
        If a named shop file cannot be read.
    SettingsError
        If it holds an unknown or wrong field.
    """
    if named is None:
        beside = [p for p in (folder / SHOP_FILE, folder.absolute().parent / SHOP_FILE) if p.is_file()]
        if not beside:
            return Shop()
        named = beside[0]
    try:
        text = named.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        reason = getattr(problem, "strerror", None) or "not a text file"
        raise JobError(f"the shop file {named} cannot be read ({reason}); check --shop.") from problem
    return shop_from_toml(text, str(named))


def noted_shop(note: JobNote, folder: Path) -> Shop:
    """The shop that job.json names, or the one beside the job, or the defaults."""
    return load_shop(folder / note.shop if note.shop else None, folder)


def path_from(folder: Path, named: Path | None) -> str:
    """A path as job.json keeps it: from the job folder, so that both may move together; empty for None."""
    if named is None:
        return ""
    try:
        return os.path.relpath(named, folder)
    except ValueError:  # on another drive
        return str(named.absolute())


def settings_of(note: JobNote) -> StageSettings:
    """The stages' settings that job.json asks for."""
    sheets = SheetSettings().with_changes(units=note.units, paper=note.paper)
    return StageSettings(note.thickness_mm, note.scale, note.survey, sheets=sheets)


def measure_photo(path: Path, shown_as: str, settings: StageSettings, edits: Edits, progress: Progress) -> Measured:
    """Read, rectify and survey, with progress."""
    from crackmap.photo.read import read_photo

    with progress.stage("Reading the photo"):
        photo = read_photo(path)
        photo = replace(photo, facts=replace(photo.facts, file=shown_as))
    with progress.stage("Finding the scale and squaring the picture"):
        rectified = pipeline.rectify_photo(photo, settings)
    with progress.stage("Measuring the slab: edge, voids, cracks"):
        rectified, survey = pipeline.measure(rectified, settings, edits)
    return Measured(photo, rectified, survey)


def plan_files(survey: Survey, shop: Shop, settings: StageSettings, edits: Edits,
               progress: Progress) -> tuple[Plan, dict[str, bytes]]:
    """Place the keys and reckon the resin; returns the plan and plan.json."""
    with progress.stage("Placing the keys, reckoning the resin"):
        plan = pipeline.make_plan(survey, shop, settings, edits)
    return plan, {job.PLAN: jsonform.dumps(jsonform.plan_as_json(plan))}


def drawn_files(rectified: RectifiedPhoto, survey: Survey, plan: Plan, shop: Shop, settings: StageSettings,
                progress: Progress) -> dict[str, bytes]:
    """All drawings, pictures and sheets, by name.

    The pictures are made beside the drawings: their work is the image
    libraries', which leaves the interpreter free meanwhile.
    """
    sheets = settings.sheets
    with progress.stage("Drawing for the machine, the bench and the eye"), ThreadPoolExecutor(1) as beside:
        pictures = beside.submit(pipeline.draw_pictures, rectified, survey, plan, shop, sheets)
        files = pipeline.draw_for_machine(survey, plan, shop, sheets)
        files |= pipeline.draw_for_bench(survey, plan, shop, sheets)
        return files | pictures.result()


def write_and_tell(folder: Path, files: dict[str, bytes], survey: Survey, plan: Plan, shop: Shop, units: str,
                   progress: Progress) -> None:
    """Write the job's files together, then print the summary."""
    with progress.stage(f"Writing {len(files)} files"):
        job.write_all(folder, files)
    for line in summary_lines(survey, plan, shop, units, folder):
        click.echo(line)


def redraw_ground(read: job.Job, progress: Progress) -> RectifiedPhoto:
    """The rectified photo of a job, resampled by the survey's own mapping.

    Raises
    ------
    JobError
        If the photo in the folder is not the one that was surveyed.
    """
    from crackmap.photo.read import read_photo
    from crackmap.scale.resample import resample_by_survey

    with progress.stage("Reading the photo"):
        photo = read_photo(read.photo_path)
        if photo.facts.sha256 != read.survey.photo.sha256:
            raise JobError(f"{read.photo_path} is not the photo that {job.SURVEY} was measured on; "
                           f"measure it with: crackmap measure {read.folder}")
        return resample_by_survey(photo, read.survey)
