"""crackmap testcut: a test ladder to find the fit, and the step that fitted put into the shop file."""

from __future__ import annotations

from pathlib import Path

import click

from crackmap import job
from crackmap.cli.options import FILE, Length, units_option
from crackmap.cli.steps import load_shop
from crackmap.errors import JobError, SettingsError
from crackmap.settings import SheetSettings
from crackmap.shop import Shop, TestedFit
from crackmap.units import parse_length, show_length

LOOSEST = 0.8  # a side, of a key that still fits; one maker's friction fit in plywood, however counted [mm]
_MOST_CLEARANCE = 2.0  # a side, as in the shop file [mm]


@click.command("testcut")
@click.option("--out", type=FILE, default=None, help="The DXF to write, as testcut.dxf.")
@click.option("--shop", type=FILE, default=None,
              help="Your shop file. [default: shop.toml here, else built-in defaults]")
@click.option("--steps", default=None, metavar="LENGTHS",
              help="Clearances a side, with commas. [default: 0.05mm to 0.4mm in nine steps]")
@click.option("--offcut", type=Length(), default=None, help="Longest offcut at hand, along its grain. "
                                                            "[default: 400mm]")
@click.option("--fitted", default=None, metavar="STEP",
              help="The figure engraved beside the pocket that fitted; remembered in the shop file.")
@click.option("--wood", default=None, help="With --fitted: the key's wood. [default: key_wood of the shop "
                                           "file]")
@click.option("--overwrite", is_flag=True, help="Replace the DXF if it is there.")
@units_option
def command(out: Path | None, shop: Path | None, steps: str | None, offcut: float | None, fitted: str | None,
            wood: str | None, overwrite: bool, units: str | None) -> None:
    """Find the fit of key and pocket: draw a test cut, or remember which step fitted.

    First: crackmap testcut --out testcut.dxf. Cut the pockets into an offcut of
    the slab's wood and the one key from the key's wood, and try it along the row.

    Then: crackmap testcut --fitted 0.15 --shop shop.toml. From then on every key
    for this bit and wood gets that clearance.
    """
    if (out is None) == (fitted is None):
        raise click.UsageError("give either --out to draw a test cut or --fitted to remember the step that "
                               "fitted")
    if fitted is not None:
        _remember(shop, fitted, wood, units)
    elif out is not None:
        _draw(out, load_shop(shop, Path()), steps, offcut, overwrite, units)


def _draw(out: Path, shop: Shop, steps: str | None, offcut: float | None, overwrite: bool,
          units: str | None) -> None:
    from crackmap.keys.ladder import CLEARANCES, LONGEST_OFFCUT, make_ladder
    from crackmap.sheets.dxf import as_dxf
    from crackmap.sheets.testcut_drawing import testcut_drawing

    if out.is_dir():
        raise JobError(f"{out} is a folder; name a file with --out.")
    if out.exists() and not overwrite:
        raise JobError(f"{out} is there already; give another name with --out, or --overwrite to replace it.")
    shown = units or shop.units
    clearances = CLEARANCES
    if steps is not None:
        clearances = tuple(sorted(_clearance(step, "--steps") for step in steps.split(",")))
    ladder = make_ladder(shop, clearances, LONGEST_OFFCUT if offcut is None else offcut)
    settings = SheetSettings()
    job.write_whole(out, as_dxf(testcut_drawing(ladder, settings), settings))
    length, width = ladder.offcut_size
    click.echo(f"{out}: {len(clearances)} pockets and one key, for a {shop.bit.diameter:g} mm "
               f"bit{_measured(shop)}; drawn in mm.")
    click.echo(f"Offcut of the slab's wood: {show_length(length, shown)} along the grain, "
               f"{show_length(width, shown)} across. Pockets {show_length(ladder.depth, shown)} deep; key "
               f"{show_length(ladder.key_thickness, shown)} thick, grain along it.")
    click.echo("Clearance a side, left to right, row by row from the top: "
               + ", ".join(show_length(each, shown, digits=3) for each in clearances) + ".")
    click.echo("Check the 100 mm bar in your CAM program before you cut. Engrave the figures with a fine "
               "bit, or pencil them on. Work held, hands clear, extraction on, eyes and ears protected; the "
               "makers' instructions for machine and bit come first.")
    click.echo("Try the key along the row; then: crackmap testcut --fitted FIGURE --shop shop.toml")


def _measured(shop: Shop) -> str:
    return f" that measures {shop.bit.measured:g} mm" if shop.bit.measured is not None else ""


def _remember(shop: Path | None, fitted: str, wood: str | None, units: str | None) -> None:
    from crackmap.shop_edit import with_tested_fit

    path = shop if shop is not None else Path("shop.toml")
    text = _text_of(path)
    own_shop = load_shop(path if path.exists() else None, path.parent)
    clearance = _clearance(fitted, "--fitted")
    if clearance > LOOSEST:
        raise SettingsError(f"--fitted: {clearance:g} mm a side is looser than any key should be (at most {LOOSEST:g} "
                            "mm); give the figure engraved beside the pocket that fitted.")
    tested = TestedFit(bit_diameter=own_shop.bit.diameter, clearance=clearance,
                       wood=own_shop.keys.key_wood if wood is None else wood)
    job.write_whole(path, with_tested_fit(text, tested, str(path)).encode("utf-8"))
    for_wood = f" in {tested.wood}" if tested.wood else ""
    click.echo(f"{path}: {show_length(clearance, units or own_shop.units, digits=3)} a side remembered for "
               f"the {tested.bit_diameter:g} mm bit{for_wood}.")


def _text_of(path: Path) -> str:
    if not path.exists():
        return ""
    try:
        return path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        reason = getattr(problem, "strerror", None) or "not a text file"
        raise JobError(f"the shop file {path} cannot be read ({reason}); check --shop.") from problem


def _clearance(text: str, option: str) -> float:
    """A clearance a side; a bare number is mm, because that is what the ladder's figures are. [mm]"""
    clearance = parse_length(text, option, default_unit="mm")
    if not 0.0 <= clearance <= _MOST_CLEARANCE:
        raise SettingsError(f"{option}: a clearance of {clearance:g} mm a side is outside 0 to "
                            f"{_MOST_CLEARANCE:g} mm; give the figure engraved beside the pocket.")
    return clearance
