"""crackmap marker: the printed scale markers."""

from __future__ import annotations

from pathlib import Path

import click

from crackmap import job
from crackmap.cli.options import FILE, Length
from crackmap.errors import JobError
from crackmap.settings import MarkerSheetSettings


@click.command("marker")
@click.option("--out", type=FILE, required=True, help="The PDF to write, as markers.pdf.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True,
              help="The paper in your printer.")
@click.option("--size", type=Length(), default=None, help="Side of the black square. [default: 100mm]")
@click.option("--count", type=int, default=MarkerSheetSettings().count, show_default=True,
              help="How many markers, each with an id of its own.")
@click.option("--first-id", type=int, default=0, show_default=True,
              help="Id of the first; the rest follow, without the few that look the same in a mirror.")
@click.option("--overwrite", is_flag=True, help="Replace the file if it is there.")
def command(out: Path, paper: str, size: float | None, count: int, first_id: int, overwrite: bool) -> None:
    """Print scale markers to lay on the slab: a PDF at true size, A4 or US Letter.

    Four 100 mm markers, one near each corner of the slab, make the scale good to
    a few hundredths of a per cent. Their centres also set the slab out on the machine.
    """
    from crackmap.sheets.marker_sheet import marker_sheet_pdf

    settings = MarkerSheetSettings().with_changes(paper=paper, count=count, first_id=first_id)
    if size is not None:
        settings = settings.with_changes(size=size)
    content = marker_sheet_pdf(settings)
    refuse_overwriting(out, overwrite)
    job.write_whole(out, content)
    ids = f"ids {', '.join(map(str, settings.ids))}" if count > 1 else f"id {settings.ids[0]}"
    click.echo(f"{out}: {count} marker{'s' if count > 1 else ''} of {settings.size:g} mm, {ids}.")
    click.echo("Print at 100 %, then lay a rule on the bars: if they are not 100 mm long, measure a black "
               "square and give its side with --marker-size.")


def refuse_overwriting(path: Path, overwrite: bool) -> None:
    """Stop before an existing file is replaced unasked.

    Raises
    ------
    JobError
        If `path` is a folder, or is there already and `overwrite` is not set.
    """
    if path.is_dir():
        raise JobError(f"{path} is a folder; name a file with --out.")
    if path.exists() and not overwrite:
        raise JobError(f"{path} is there already; give another name with --out, or --overwrite to replace "
                       "it.")
