"""crackmap align: a job's drawing in the machine's coordinates."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import click

from crackmap import job
from crackmap.agreement import demand_plan_is_current
from crackmap.cli.options import FOLDER, Length, units_option
from crackmap.cli.steps import hold, settings_of, shop_at_hand
from crackmap.errors import JobError, LengthError, quoted
from crackmap.keys.witness import witness_place
from crackmap.records import Plan, Setup, Survey
from crackmap.scale.alignment import JOG_SIGMA, Alignment, align
from crackmap.units import parse_length, show_length

DRAWING = "slab-machine.dxf"
# Distances of the marks that differ by more than any scale could err: nobody is to cut by them. [mm]
FARTHEST_OFF = 25.0
MOST_TURNED = 30.0  # a slab laid by hand as a set-up shows lies within this of it (a choice) [deg]
FACING_AWAY = 120.0  # without a set-up the slab may lie any way; so far round it is more likely a mistake [deg]
_EXAMPLE = "--a 12.50,40.25"
_UNIT = re.compile(r"(mm|cm|m|inches|inch|in|\"|″|”)\s*$", re.IGNORECASE)

_HELP = f"""Move the drawing of the job in FOLDER to the machine's coordinates.

Fix the slab on the machine and bring a pointed bit over datum mark A, then over
mark B, with the spindle off. Type what the machine shows for each, as
{_EXAMPLE}. Out comes {DRAWING}, in which nothing need be turned or shifted any
more, and the distance between the marks by photo and by machine: two independent
measurements that must agree before you cut. With a bed smaller than the slab,
--setup N moves the drawing of one set-up by that set-up's own two marks.
"""


@click.command("align", help=_HELP)
@click.argument("folder", type=FOLDER)
@click.option("--a", "reading_a", required=True, metavar="X,Y", help="The machine's reading at mark A.")
@click.option("--b", "reading_b", required=True, metavar="X,Y", help="The machine's reading at mark B.")
@click.option("--setup", "number", type=click.IntRange(1), default=None,
              help="For a job in several set-ups: which one. A and B are then its two marks.")
@click.option("--jog-sigma", type=Length(), default=None,
              help=f"How exactly you bring the bit over a mark. [default: {JOG_SIGMA:g}mm]")
@units_option
def command(folder: Path, reading_a: str, reading_b: str, number: int | None, jog_sigma: float | None,
            units: str | None) -> None:
    job.demand_job(folder)
    hold(folder, "align")
    read = job.read_job(folder)
    if read.plan is None:
        raise JobError(f"{folder / job.PLAN} is missing; place the keys first with: crackmap place {folder}")
    demand_plan_is_current(read, shop_at_hand(read.note, folder))
    shown = units or read.note.units
    points = [parse_reading(text, name, shown) for text, name in ((reading_a, "--a"), (reading_b, "--b"))]
    setup = None if number is None else setup_numbered(read.plan, number)
    names, marks = _marks(read.survey, setup)
    found = align(marks[0], marks[1], points[0], points[1], read.survey.scale.scale_sigma_percent,
                  JOG_SIGMA if jog_sigma is None else jog_sigma)
    if abs(found.difference) > FARTHEST_OFF:
        raise JobError(f"the marks lie {show_length(found.distance_slab, shown)} apart on the slab but "
                       f"{show_length(found.distance_machine, shown)} by the machine, so nothing was written. "
                       f"{found.hint or 'Are these its marks?'}")
    from crackmap.sheets.dxf import drawing_file, setup_dxf, slab_dxf

    sheets = settings_of(read.note).sheets
    if setup is None:
        stem, drawing = "slab-machine", slab_dxf(read.survey, read.plan, sheets, transform=found.matrix)
    else:
        stem = f"setup-{setup.number}-machine"
        drawing = setup_dxf(read.survey, read.plan, setup, None, sheets, found.matrix)
    written = folder / drawing_file(stem, sheets)
    job.write_whole(written, drawing)
    for line in [*alignment_lines(found, names, shown), *witness_lines(read.survey, read.plan, setup, found, shown)]:
        click.echo(line)
    click.echo(f"Written: {written}")


def setup_numbered(plan: Plan, number: int) -> Setup:
    """A set-up of the plan.

    Raises
    ------
    JobError
        If there is none of that number, or it has no marks to go by.
    """
    setup = next((each for each in plan.setups if each.number == number), None)
    if setup is None:
        there = f"this job has {len(plan.setups)}" if plan.setups else "this job has none; give the shop file a [bed]"
        raise JobError(f"--setup {number}: {there}.")
    if len(setup.marks) < 2:
        raise JobError(f"--setup {number}: this set-up has no two marks to go by; lay the drawing on by hand.")
    return setup


def _marks(survey: Survey, setup: Setup | None) -> tuple[list[str], list[tuple[float, float]]]:
    """What the two marks are, and where they lie in the slab frame."""
    if setup is None:
        datum = survey.datum
        return ([f"A is the {datum.a_name}", f"B the {datum.b_name}"],
                [(float(at[0]), float(at[1])) for at in (datum.a, datum.b)])
    return ([f"A is {setup.marks[0].name} of set-up {setup.number}", f"B its {setup.marks[1].name}"],
            [mark.at for mark in setup.marks[:2]])


def witness_lines(survey: Survey, plan: Plan, setup: Setup | None, found: Alignment, units: str) -> list[str]:
    """What tells swapped marks, a turned slab and the wrong face, which the distance of two marks cannot tell."""
    _, (a, b) = _marks(survey, setup)
    planned = 0.0 if setup is None else setup.turn_deg
    keys = [key for key in plan.keys if setup is None or key.id in setup.keys]
    lines = []
    off = abs(math.remainder(found.rotation_deg - planned, 360.0))
    if off > MOST_TURNED and (setup is not None or off > FACING_AWAY):
        lines.append(f"WARNING: the slab lies turned by {off:.0f} degrees from the drawing. If you did not lay it so, "
                     "A and B were swapped.")
    place = witness_place(survey, keys, a, b)
    if place is not None:
        x, y = (show_length(float(v), units, 2) for v in found.to_machine(place.at)[0])
        lines.append(f"Before you cut, jog to X {x}, Y {y}: the bit must stand over {place.over}. If it does not, A "
                     "and B were swapped, the slab was moved between the readings, or the wrong face lies up.")
    return lines


def parse_reading(text: str, name: str, units: str) -> tuple[float, float]:
    """A reading "X,Y" or "X;Y". [mm]

    A unit may follow each number, or the last for both; else it is `units`.

    Raises
    ------
    LengthError
        If it is not two lengths.
    """
    parts: list[Any] = [p.strip() for p in (text.split(";") if ";" in text else text.split(","))]
    if len(parts) != 2 or not all(parts):
        raise LengthError(f"{name}: {quoted(text)} is not a reading; give two numbers with a comma between them, "
                          f"as in {_EXAMPLE}.")
    last = _UNIT.search(parts[1])
    if last and not _UNIT.search(parts[0]):
        parts[0] += last.group(1)
    x, y = (parse_length(part, name, default_unit=units) for part in parts)
    return x, y


def alignment_lines(found: Alignment, names: list[str], units: str) -> list[str]:
    """The transform, the two distances and the verdict, in words."""
    def length(mm: float) -> str:
        return show_length(mm, units, 2)

    x, y = found.translation
    more = "more" if found.difference >= 0 else "less"
    lines = [
        f"Mark {names[0]}, mark {names[1]}.",
        f"The slab lies turned by {found.rotation_deg:+.3f} degrees on the machine (sure to "
        f"{found.rotation_sigma_deg:.3f}); its origin is at X {length(x)}, Y {length(y)}.",
        f"A to B by the photo {length(found.distance_slab)}, by the machine "
        f"{length(found.distance_machine)}: {length(abs(found.difference))} {more}.",
    ]
    if found.agrees:
        return [*lines, f"They agree (within {length(found.limit)}): the photo's scale holds. "
                        "Check one pocket above the wood with the spindle off, then cut."]
    return [*lines,
            f"WARNING: they differ by more than {length(found.limit)}, so do not cut yet. {found.hint}"]
