"""crackmap ease: one pocket drawn again, a little wider, for a key that sits too tight."""

from __future__ import annotations

from pathlib import Path

import click

from crackmap import job
from crackmap.agreement import demand_plan_is_current
from crackmap.cli.options import FOLDER, Length, units_option
from crackmap.cli.steps import hold, settings_of, shop_at_hand
from crackmap.errors import JobError, quoted
from crackmap.records import Key, Plan
from crackmap.settings import nearest_hint
from crackmap.units import show_length


@click.command("ease")
@click.argument("folder", type=FOLDER)
@click.option("--key", "name", required=True, metavar="KEY", help="The key that sits too tight, as K3.")
@click.option("--by", "wider_by", type=Length(), required=True, metavar="LENGTH",
              help="How much wider on every side, as 0.1mm.")
@units_option
def command(folder: Path, name: str, wider_by: float, units: str | None) -> None:
    """Draw one pocket of the job in FOLDER alone and wider, to cut it again from the same zero.

    Only wood is taken away: a pocket that is too wide already stays so.
    """
    from crackmap.sheets.dxf import drawing_file, pocket_dxf

    job.demand_job(folder)
    hold(folder, "ease")
    read = job.read_job(folder)
    if read.plan is None:
        raise JobError(f"{folder / job.PLAN} is missing; place the keys first with: crackmap place {folder}")
    demand_plan_is_current(read, shop_at_hand(read.note, folder))
    key = _key_named(read.plan, name)
    settings = settings_of(read.note).sheets
    drawing = pocket_dxf(read.survey, key, wider_by, settings)
    written = folder / drawing_file(f"pocket-{key.id}", settings)
    job.write_whole(written, drawing)
    shown = units or read.note.units
    click.echo(f"{key.id}: the pocket {show_length(wider_by, shown, 2)} wider on every side, "
               f"{show_length(key.shape.depth, shown)} deep, in the slab's frame.")
    click.echo(f"Written: {written}. Cut it from the same zero as before, then try the key with light taps.")


def _key_named(plan: Plan, name: str) -> Key:
    wanted = name.strip().lower()
    for key in plan.keys:
        if key.id.lower() == wanted:
            return key
    if not plan.keys:
        raise JobError(f"--key: there is no key {quoted(name)}, the plan has none.")
    hint = nearest_hint(name.strip().upper(), [k.id for k in plan.keys])
    raise JobError(f"--key: there is no key {quoted(name)}{hint}")
