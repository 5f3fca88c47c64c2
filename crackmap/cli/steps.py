"""What run, measure, place and draw have in common: read, call the stages, write, report."""

from __future__ import annotations

import hashlib
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import click

from crackmap import job, jsonform, pipeline
from crackmap.cli.offers import offer_lines
from crackmap.cli.progress import Progress
from crackmap.cli.summary import summary_lines
from crackmap.errors import JobError
from crackmap.jsonform import JobNote, UndersideNote
from crackmap.keys.shop_names import demand_known_names
from crackmap.pipeline import StageSettings
from crackmap.records import Edits, Photo, Plan, RectifiedPhoto, Survey
from crackmap.settings import UndersideSettings
from crackmap.shop import Shop, shop_from_toml

SHOP_FILE = "shop.toml"


@dataclass(frozen=True, slots=True)
class Measured:
    """A photo brought to scale and measured."""

    photo: Photo
    rectified: RectifiedPhoto
    survey: Survey


def hold(folder: Path, doing: str) -> None:
    """Keep other crackmaps from writing to `folder` until the command ends; says what it found left over.

    Raises
    ------
    JobError
        If another one is at work there, or the folder cannot be written.
    """
    for note in click.get_current_context().with_resource(job.held(folder, doing)):
        click.echo(note, err=True)


def find_shop(named: Path | None, folder: Path) -> Path | None:
    """The shop file named, or shop.toml in the job folder or beside it, or None."""
    beside = (p for p in (folder / SHOP_FILE, folder.absolute().parent / SHOP_FILE) if p.is_file())
    return named if named is not None else next(beside, None)


def load_shop(named: Path | None, folder: Path) -> Shop:
    """The shop file named, or shop.toml in the job folder or beside it, or the defaults.

    Raises
    ------
    JobError
        If a named shop file cannot be read.
    SettingsError
        If it holds an unknown or wrong field, or names an unknown shape or wood.
    """
    named = find_shop(named, folder)
    if named is None:
        return Shop()
    try:
        text = named.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        reason = getattr(problem, "strerror", None) or "not a text file"
        raise JobError(f"the shop file {named} cannot be read ({reason}); check --shop.") from problem
    shop = shop_from_toml(text, str(named))
    demand_known_names(shop)
    return shop


def noted_shop(note: JobNote, folder: Path) -> Shop:
    """The shop that job.json names, or the one beside the job, or the defaults."""
    return load_shop(folder / note.shop if note.shop else None, folder)


def shop_at_hand(note: JobNote, folder: Path) -> Shop | None:
    """The job's shop, or None where its file is not here, as on the machine's own computer."""
    if note.shop and not (folder / note.shop).exists():
        return None
    shop = noted_shop(note, folder)
    return shop if shop.source else None


def survey_before(folder: Path) -> Survey | None:
    """The survey that a new one takes the place of; None where there is none, or none that can be read."""
    try:
        return job.read_survey(folder) if (folder / job.SURVEY).exists() else None
    except JobError:
        return None  # measuring anew is how it is mended


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
    sheets = note.drawing.with_changes(units=note.units, paper=note.paper)
    under = UndersideSettings() if note.underside is None else note.underside.settings
    return StageSettings(note.thickness_mm, note.scale, note.survey, sheets=sheets, cutting=note.cutting,
                         underside=under)


def read_photo_as(path: Path, shown_as: str) -> Photo:
    """The photo, under the name that the user knows it by."""
    from crackmap.photo.read import read_photo

    photo = read_photo(path)
    return replace(photo, facts=replace(photo.facts, file=shown_as))


def photo_bytes(path: Path, sha256: str) -> bytes:
    """The photo's file as it was when it was measured, for the job folder.

    Raises
    ------
    JobError
        If it cannot be read any more, or has been changed meanwhile.
    """
    try:
        content = path.read_bytes()
    except OSError as problem:
        raise JobError(f"{path} could be read at first and cannot be now ({problem.strerror or problem}), so nothing "
                       "was written; run the command again.") from problem
    if hashlib.sha256(content).hexdigest() != sha256:
        raise JobError(f"{path} was changed while it was measured, so nothing was written; run the command again.")
    return content


def measure_photo(path: Path, shown_as: str, settings: StageSettings, edits: Edits, progress: Progress) -> Measured:
    """Read, rectify and survey, with progress."""
    with progress.stage("Reading the photo"):
        photo = read_photo_as(path, shown_as)
    with progress.stage("Finding the scale and squaring the picture"):
        rectified = pipeline.rectify_photo(photo, settings)
    with progress.stage("Measuring the slab: edge, voids, cracks"):
        rectified, survey = pipeline.measure(rectified, settings, edits)
    return Measured(photo, rectified, survey)


def measure_underside(path: Path, note: UndersideNote, survey: Survey, settings: StageSettings,
                      progress: Progress) -> tuple[RectifiedPhoto, Survey]:
    """The other face's photo to scale, and the survey with it brought together."""
    own = replace(settings, scale=note.scale)
    with progress.stage("Measuring the underside"):
        photo = read_photo_as(path, note.title)
        rectified, under = pipeline.measure(pipeline.rectify_photo(photo, own), own, Edits())
        return rectified, pipeline.add_underside(survey, under, settings)


def plan_files(survey: Survey, shop: Shop, settings: StageSettings, edits: Edits, progress: Progress,
               last: Plan | None = None, choice: str | None = None) -> tuple[Plan, dict[str, bytes]]:
    """Place the keys and reckon the resin; returns the plan and plan.json."""
    with progress.stage("Placing the keys, reckoning the resin"):
        plan = pipeline.make_plan(survey, shop, settings, edits, last, choice, weigh_counts=True)
        plan = pipeline.plan_cutting(survey, plan, shop, settings)
    return plan, {job.PLAN: jsonform.dumps(jsonform.plan_as_json(plan))}


def drawn_files(rectified: RectifiedPhoto, survey: Survey, plan: Plan, shop: Shop, settings: StageSettings,
                progress: Progress, under: RectifiedPhoto | None = None) -> dict[str, bytes]:
    """All drawings, pictures and sheets, by name.

    The pictures are made beside the drawings: their work is the image
    libraries', which leaves the interpreter free meanwhile.
    """
    sheets = settings.sheets
    with progress.stage("Drawing for the machine, the bench and the eye"), ThreadPoolExecutor(1) as beside:
        pictures = beside.submit(pipeline.draw_pictures, rectified, survey, plan, shop, sheets)
        files = pipeline.draw_for_machine(survey, plan, shop, sheets)
        files |= pipeline.draw_for_bench(survey, plan, shop, sheets, rectified)
        files |= pipeline.draw_dams(under, survey, plan, sheets)
        return files | pictures.result()


def offered_files(rectified: RectifiedPhoto, survey: Survey, plan: Plan, shop: Shop, settings: StageSettings,
                  edits: Edits, progress: Progress) -> dict[str, bytes]:
    """The picture of the plans to choose from; says in words what they are."""
    with progress.stage("Working out the plans to choose from"):
        offered = pipeline.offer_plans(survey, shop, settings, edits)
        files = pipeline.draw_plans(rectified, survey, offered, plan.choice, settings.sheets)
    for line in offer_lines(offered, plan.choice, settings.sheets.units):
        click.echo(line)
    return files


def why_files(rectified: RectifiedPhoto, settings: StageSettings, edits: Edits,
              progress: Progress) -> dict[str, bytes]:
    """The pictures of why lines were kept as cracks or refused."""
    with progress.stage("Drawing why lines were kept or refused"):
        return pipeline.explain_cracks(rectified, settings, edits)


def write_and_tell(folder: Path, files: dict[str, bytes], survey: Survey, plan: Plan, shop: Shop, units: str,
                   progress: Progress) -> None:
    """Write the job's files together, then print the summary."""
    with progress.stage(f"Writing {len(files)} files"):
        removed = job.write_drawn(folder, files)
    if removed:
        click.echo(f"Removed, as they showed an earlier plan: {', '.join(removed)}.")
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


def redraw_underside(read: job.Job) -> RectifiedPhoto | None:
    """The other face's photo to scale, resampled by its survey's mapping; None where there is none.

    Raises
    ------
    JobError
        If the photo in the folder is not the one that was surveyed.
    """
    if read.note.underside is None or read.survey.other_face is None:
        return None
    path = read.folder / read.note.underside.photo
    photo = read_photo_as(path, read.note.underside.title)
    if photo.facts.sha256 != read.survey.other_face.survey.photo.sha256:
        raise JobError(f"{path} is not the photo of the underside that was measured; make the job again with: "
                       f"crackmap run ... --underside PHOTO --out {read.folder}")
    return pipeline.redraw_ground(photo, read.survey.other_face.survey)
