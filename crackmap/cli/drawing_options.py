"""Options that say how a job is drawn and cut; job.json keeps them for later commands."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import click

from crackmap.cli.options import Length
from crackmap.errors import SettingsError, quoted
from crackmap.jsonform import JobNote

_SHEETS = ("dxf_version", "drawing_units", "with_reference", "order", "stroke_texts", "with_underside", "resin_look",
           "resin_colour")
_CUTTING = ("spare_keys", "key_gap", "hold")


def drawing_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options to a command; it receives them by the names of the settings."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


_OPTIONS = (
    click.option("--dxf", "dxf_version", type=click.Choice(["R2010", "R2000", "R12"]), default=None,
                 help="Version of the DXF files; R12 for old programs. [default: R2010]"),
    click.option("--drawing-units", type=click.Choice(["mm", "in"]), default=None,
                 help="Unit of the numbers in the DXF files. [default: mm]"),
    click.option("--reference-layers/--no-reference-layers", "with_reference", default=None,
                 help="Draw slab edge, cracks and voids beside what is cut. [default: drawn]"),
    click.option("--outline-order", "order", type=click.Choice(["inner-first", "outer-first", "shortest-way"]),
                 default=None, help="Order of the outlines in the files. [default: inner-first]"),
    click.option("--stroke-texts/--plain-texts", "stroke_texts", default=None,
                 help="Texts in the drawings as single-stroke lines. [default: plain]"),
    click.option("--from-below/--no-from-below", "with_underside", default=None,
                 help="Draw the pockets mirrored as well, to cut them from the underside. [default: not drawn]"),
    click.option("--spares", "spare_keys", type=click.IntRange(0, 50), default=None,
                 help="Spare keys of each size. [default: 0]"),
    click.option("--key-gap", type=Length(), default=None,
                 help="Wood between two keys on a board, over the bit's width. [default: 3mm]"),
    click.option("--hold", type=click.Choice(["auto", "skin", "tabs"]), default=None,
                 help="What holds the keys while they are cut. [default: auto, a skin where thick enough]"),
    click.option("--resin-look", type=click.Choice(["black", "clear", "tinted"]), default=None,
                 help="Of the resin in finished.jpg. [default: black]"),
    click.option("--resin-colour", default=None, metavar="RRGGBB",
                 help="Of tinted resin, as six hexadecimal digits. [default: 185c68]"),
)


def parted(choices: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """A command's choices: those of drawing and cutting, and the rest."""
    own = {name: value for name, value in choices.items() if name in (*_SHEETS, *_CUTTING)}
    return own, {name: value for name, value in choices.items() if name not in own}


def with_choices(note: JobNote, choices: dict[str, Any]) -> JobNote:
    """The note with the options that were given; the others stay as they were.

    Raises
    ------
    SettingsError
        If the colour is none.
    """
    given = {name: value for name, value in choices.items() if value is not None}
    if "resin_colour" in given:
        given["resin_colour"] = _colour(given["resin_colour"])
        given.setdefault("resin_look", "tinted")
    drawing = note.drawing.with_changes(**{name: given[name] for name in _SHEETS if name in given})
    cutting = note.cutting.with_changes(**{name: given[name] for name in _CUTTING if name in given})
    return replace(note, drawing=drawing, cutting=cutting)


def _colour(text: str) -> tuple[int, int, int]:
    match = re.fullmatch(r"#?([0-9a-fA-F]{2})([0-9a-fA-F]{2})([0-9a-fA-F]{2})", text.strip())
    if match is None:
        raise SettingsError(f"--resin-colour: {quoted(text)} is not a colour; give six hexadecimal digits, as 185c68.")
    red, green, blue = (int(pair, 16) for pair in match.groups())
    return red, green, blue
