"""Options that tell how the photo is brought to scale."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from crackmap.cli.options import Length
from crackmap.settings import ScaleSettings

_OPTIONS = (
    click.option("--marker-size", type=Length(), default=None,
                 help="Side of a marker's black square as measured on your print. [default: 100mm]"),
    click.option("--marker-height", type=Length(positive=False), default=None,
                 help="Height of the markers above the show face; -45mm for one on the bench beside a 45 mm slab. "
                      "[default: 0mm]"),
    click.option("--reference", type=click.Choice(["marker", "a4", "a3", "letter", "card"]), default=None,
                 help="What lies on the slab for scale. [default: marker]"),
)


def scale_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the scale options to a command."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def scale_settings(**choices: Any) -> ScaleSettings:
    """ScaleSettings from the options that were given."""
    return ScaleSettings().with_changes(**{name: value for name, value in choices.items() if value is not None})
