"""crackmap demo: an invented slab, photographed by the generator, and the whole job on it."""

from __future__ import annotations

import io
from pathlib import Path

import click

from crackmap import job
from crackmap.cli.options import FOLDER, units_option
from crackmap.cli.steps import hold
from crackmap.errors import JobError

PHOTO = "slab.jpg"
TRUTH = "truth.json"


@click.command("demo")
@click.option("--out", type=FOLDER, default=Path("demo-job"), show_default=True,
              help="Folder for the photo and, in it, the job folder.")
@click.option("--story", type=click.Choice(["bench", "table"]), default="bench", show_default=True,
              help="An elm bench top, or an ash coffee table.")
@units_option
@click.pass_context
def command(ctx: click.Context, out: Path, story: str, units: str | None) -> None:
    """Make a slab photo and run the whole job on it: see the tool work with no photo of your own."""
    from PIL import Image

    from crackmap.cli.run import command as run
    from crackmap.demo.render import render
    from crackmap.demo.stories import STORIES
    from crackmap.jsonform import dumps

    hold(out, "demo")
    if (out / "job" / job.EDITS).exists():
        raise JobError(f"{out / 'job'} holds your edits; give another folder with --out.")
    told = STORIES[story]
    click.echo(told.words, err=True)
    click.echo("Photographing the slab (generated, not a real photo) ...", err=True)
    pixels, truth = render(told.scene)
    picture = io.BytesIO()
    Image.fromarray(pixels).save(picture, "JPEG", quality=92)
    job.write_all(out, {PHOTO: picture.getvalue(), TRUTH: dumps(truth)})
    ctx.invoke(run, photo=out / PHOTO, thickness=told.scene.thickness_mm, out=out / "job", units=units,
               sensitivity=None, shop=None, paper=None, same_slab=False, quiet=False,
               marker_size=told.scene.marker_size_mm, marker_height=None, reference=None)
