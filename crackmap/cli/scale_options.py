"""Options that tell how the photo is brought to scale."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from crackmap.cli.options import FILE, Length
from crackmap.errors import SettingsError, quoted
from crackmap.settings import MarkDistance, ScaleSettings
from crackmap.units import parse_positive_length

_DISTANCE = re.compile(r"^\s*(\d{1,4})\s*-\s*(\d{1,4})\s*=\s*([^,;~]+?)\s*(?:~\s*(.+?))?\s*$")
_RULE = re.compile(r"^\s*{0}\s*,\s*{0}\s*-\s*{0}\s*,\s*{0}\s*=\s*(.+?)\s*$".format(r"(\d[\d.]{0,11})"))
_MOST_LETTERS = 200  # what is longer is none of these, and matching it could take minutes


class TapedDistance(click.ParamType[MarkDistance]):
    """A distance between the centres of two markers: 3-17=1203mm, or 3-17=1203mm~0.5mm with its error."""

    name = "id-id=length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> MarkDistance:
        if isinstance(value, MarkDistance):
            return value
        label = param.opts[0] if param is not None else "distance"
        match = _DISTANCE.match(value) if len(value) <= _MOST_LETTERS else None
        if match is None:
            raise SettingsError(f"{label}: {quoted(value)} is not a distance between two markers; write it like "
                                "3-17=1203mm, or 3-17=1203mm~0.5mm with its error.")
        distance = parse_positive_length(match[3], label)
        ids = int(match[1]), int(match[2])
        return MarkDistance(*ids, distance, parse_positive_length(match[4], label)) if match[4] else MarkDistance(
            *ids, distance)


class RulePoints(click.ParamType[Any]):
    """Two points of the photo and the distance between them: 210,1480-2650,1502=1000mm."""

    name = "x,y-x,y=length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not isinstance(value, str):
            return value
        match = _RULE.match(value) if len(value) <= _MOST_LETTERS else None
        try:
            if match is None:
                raise ValueError
            points = tuple(float(match[i]) for i in range(1, 5))
        except ValueError as problem:
            raise SettingsError(f"--rule: {quoted(value)} must be two points of the photo in pixels and their "
                                "distance, like 210,1480-2650,1502=1000mm.") from problem
        return points, parse_positive_length(match[5], "--rule")


_OPTIONS = (
    click.option("--marker-size", type=Length(), default=None,
                 help="Side of a marker's black square as measured on your print. [default: 100mm]"),
    click.option("--marker-size-within", "marker_size_sigma", type=Length(), default=None,
                 help="How well that side is known. [default: 0.2mm, as a rule reads]"),
    click.option("--marker-height", type=Length(positive=False), default=None,
                 help="Height of the markers above the show face; -45mm for one on the bench beside a 45 mm slab. "
                      "[default: 0mm]"),
    click.option("--reference", type=click.Choice(["marker", "a4", "a3", "letter", "card"]), default=None,
                 help="What lies on the slab for scale. [default: marker]"),
    click.option("--rule", type=RulePoints(), default=None,
                 help="Without any of these: two points of a rule in the photo, in pixels, and their distance, as "
                      "210,1480-2650,1502=1000mm. Poor: the picture cannot be squared."),
    click.option("--taped", "fit_distances", type=TapedDistance(), multiple=True,
                 help="A taped distance between the centres of two markers, as 3-17=1203mm~0.5mm: betters the scale. "
                      "May be given several times."),
    click.option("--check-distance", "check_distances", type=TapedDistance(), multiple=True,
                 help="The same, but only compared with the photo's own scale."),
    click.option("--lens", type=FILE, default=None, help="Lens file of this camera (see: crackmap lens)."),
    click.option("--focal-35mm", type=click.FloatRange(8, 300), default=None,
                 help="35 mm equivalent focal length, where the photo's own tags don't say. [default: 26]"),
)


def scale_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the scale options to a command."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def scale_settings(lens: Path | None = None, **choices: Any) -> ScaleSettings:
    """ScaleSettings from the options that were given."""
    given = {name: value for name, value in choices.items() if value not in (None, ())}
    if "rule" in given:
        given.setdefault("reference", "rule")
    if lens is not None:
        from crackmap.cli.lens import load_lens

        given["lens"] = load_lens(lens)
    return ScaleSettings().with_changes(**given)
