"""Options for a second photo, of the slab's other face."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from crackmap.cli.options import FILE, Length, copy_name, printable_name
from crackmap.errors import SettingsError, quoted
from crackmap.jsonform import UndersideNote
from crackmap.settings import ScaleSettings, UndersideSettings

_COMMON = re.compile(r"^\s*{0}\s*,\s*{0}\s*=\s*{0}\s*,\s*{0}\s*$".format(r"(\d[\d.]{0,11})"))
_MOST_LETTERS = 200  # what is longer is no such place, and matching it could take minutes


class CommonPlaces(click.ParamType[Any]):
    """One place in both photos: 412,1630=388,920."""

    name = "x,y=x,y"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not isinstance(value, str):
            return value
        match = _COMMON.match(value) if len(value) <= _MOST_LETTERS else None
        try:
            if match is None:
                raise ValueError
            return tuple(float(match[k]) for k in (1, 2, 3, 4))
        except ValueError as problem:
            raise SettingsError(f"--common: {quoted(value)} is not a place in both photos; write its pixels in the "
                                "show face's photo and in the underside's, like 412,1630=388,920.") from problem


_OPTIONS = (
    click.option("--underside", type=FILE, default=None,
                 help="A photo of the slab's other face, with its own markers: tells what is right through."),
    click.option("--underside-marker-size", type=Length(), default=None,
                 help="Side of the black square of its markers. [default: as on the show face]"),
    click.option("--turned", type=click.Choice(["side", "end"]), default=None,
                 help="How the slab was turned over: side over side or end over end. [default: found]"),
    click.option("--common", type=CommonPlaces(), multiple=True,
                 help="A place known on both faces, as a drilled hole, by its pixels in both photos; may be repeated."),
    click.option("--drilled-marker", type=int, multiple=True,
                 help="Id of a marker laid on both faces with its cross over the same drilled hole; may be repeated."),
)


def underside_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """All options of the second photo."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


NAMES = ("underside", "underside_marker_size", "turned", "common", "drilled_marker")


def underside_note(
    underside: Path | None, underside_marker_size: float | None, turned: str | None, common: tuple[Any, ...],
    drilled_marker: tuple[int, ...], scale: ScaleSettings,
) -> UndersideNote | None:
    """The note on the second photo; None without one.

    Raises
    ------
    SettingsError
        If options that need the second photo are given without it.
    """
    if underside is None:
        if underside_marker_size is not None or turned or common or drilled_marker:
            raise SettingsError("--underside-marker-size, --turned, --common and --drilled-marker speak of a photo of "
                                "the underside; name it with --underside.")
        return None
    own = replace(scale, check_distances=(), fit_distances=(), rule=None)
    if underside_marker_size is not None:
        own = own.with_changes(marker_size=underside_marker_size)
    return UndersideNote(copy_name("underside", underside), printable_name(underside), own,
                         UndersideSettings(turned or "", common, drilled_marker))
