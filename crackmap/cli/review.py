"""crackmap review: a job on its photo, in the browser."""

from __future__ import annotations

import threading
import webbrowser
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from crackmap import job, pipeline
from crackmap.agreement import demand_plan_is_current
from crackmap.cli.options import FOLDER
from crackmap.cli.progress import Progress
from crackmap.cli.steps import drawn_files, noted_shop, redraw_underside, settings_of
from crackmap.errors import CrackmapError, JobError

if TYPE_CHECKING:
    from crackmap.records import ImageArray, Plan, RectifiedPhoto, Survey

_PATIENCE = 2.0  # for another command on this folder to end [s]
_HELP = """See the job in FOLDER on its photo and change what you don't like.

Opens your browser on a page that this computer alone can reach. Every change is
written to edits.json and plan.json at once; Export draws the files for the
machine and the bench again. End with Ctrl-C.
"""


@click.command("review", help=_HELP)
@click.argument("folder", type=FOLDER)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port to listen on. [default: a free one]")
@click.option("--no-browser", is_flag=True, help="Only print the link.")
def command(folder: Path, port: int, no_browser: bool) -> None:
    from crackmap.review.guard import Door
    from crackmap.review.listen import listening_socket, serve
    from crackmap.review.server import make_app
    from crackmap.review.session import Session
    from crackmap.review.state import Frame
    from crackmap.review.tiles import TILE, Tiles, levels_of

    job.demand_job(folder)
    with job.held(folder, "review", _PATIENCE) as notes:
        click.get_current_context().with_resource(job.reviewed(folder))
        read = _read(folder)
        settings, shop = settings_of(read.note), noted_shop(read.note, folder)
        ground = pipeline.ground_size(read.survey)
        frame = Frame(folder.absolute().name, read.note.units, read.note.thickness_mm, shop, ground.width,
                      ground.height, TILE, levels_of(ground.width, ground.height), ground.mapping)
        picture = _read_beside(read)

        def draw(rectified: RectifiedPhoto, survey: Survey, plan: Plan) -> tuple[Plan, dict[str, bytes]]:
            ready = pipeline.plan_cutting(survey, plan, shop, settings)
            under = redraw_underside(replace(read, survey=survey))
            return ready, drawn_files(rectified, survey, ready, shop, settings, Progress(1, quiet=True), under)

        session = Session(read, frame, settings, picture.result, draw)
    for note in notes:
        click.echo(note, err=True)
    listener = listening_socket(port)
    door = Door(listener.getsockname()[1])
    tiles = Tiles(lambda: _shown(picture.result()))

    def started() -> None:
        click.echo(f"Review of {folder}: {door.link}")
        click.echo("Every change is saved at once. End with Ctrl-C.")
        if not no_browser:
            threading.Thread(target=webbrowser.open, args=(door.link,), daemon=True).start()

    serve(make_app(session, tiles, door), listener, started)
    session.finish()
    if session.drawings_are_old:
        click.echo(f"Ended. The drawings in {folder} are older than the plan; draw them with: crackmap draw {folder}")
    else:
        click.echo("Ended; everything is saved.")


_BESIDE = (203, 198, 186)  # of the page's ground, where the photo does not reach


def _shown(rectified: RectifiedPhoto) -> ImageArray:
    """The photo to scale with a quiet tone round it instead of black."""
    pixels = rectified.pixels.copy()
    pixels[~rectified.seen] = _BESIDE
    return pixels


def _read(folder: Path) -> job.Job:
    """The job to be reviewed; it must have a plan, made from the photo that lies there."""
    read = job.read_job(folder)
    if read.plan is None:
        raise JobError(f"{folder / job.PLAN} is missing; place the keys first with: crackmap place {folder}")
    _demand_same_photo(read)
    demand_plan_is_current(read, noted_shop(read.note, folder), edits_too=False)
    return read


def _demand_same_photo(read: job.Job) -> None:
    """The photo in the folder is the one that survey and plan were made from."""
    from crackmap.photo.read import sha256_of

    assert read.plan is not None
    if sha256_of(read.photo_path) != read.survey.photo.sha256:
        raise JobError(f"{read.photo_path} is not the photo that {job.SURVEY} was measured on; "
                       f"measure it with: crackmap measure {read.folder}")


def _read_beside(read: job.Job) -> Future[RectifiedPhoto]:
    """The rectified photo, made in a thread of its own: the page is there before it is."""
    coming: Future[RectifiedPhoto] = Future()

    def make() -> None:
        from crackmap.photo.read import read_photo

        try:
            coming.set_result(pipeline.redraw_ground(read_photo(read.photo_path), read.survey))
        except (CrackmapError, MemoryError) as problem:
            coming.set_exception(problem)

    threading.Thread(target=make).start()  # no daemon: torn off in the midst of decoding it would crash the end
    return coming
