"""Options and argument types that several commands share."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from crackmap.units import parse_length, parse_positive_length


class Length(click.ParamType[float]):
    """A length such as 45mm, 1.75in or 1-3/4in; converted to millimetres.

    Errors are raised as our own, not click's, so that they read as one sentence.
    """

    name = "length"

    def __init__(self, positive: bool = True) -> None:
        self.positive = positive

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        label = param.opts[0] if param is not None else "length"
        return parse_positive_length(value, label) if self.positive else parse_length(value, label)


def printable_name(path: Path) -> str:
    """A file's name for drawings and sheets: what no text can hold, as a line break, is replaced."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in path.name)


def copy_name(stem: str, path: Path) -> str:
    """Name of the copy of a photo in the job folder: ours, with the ending that it has, if that is a plain one."""
    ending = path.suffix.lower()
    return stem + ending if re.fullmatch(r"\.[a-z0-9]+", ending) else stem


FILE = click.Path(path_type=Path)
FOLDER = click.Path(path_type=Path, file_okay=True)

units_option = click.option(
    "--units", type=click.Choice(["mm", "in"]), default=None, help="Unit of the lengths shown. [default: mm]")
paper_option = click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default=None, help="Paper of the printed sheets. [default: a4]")
plans_option = click.option(
    "--plans", is_flag=True, help="Work out up to three plans to choose from as well, and draw them in plans.jpg.")
why_option = click.option(
    "--why", is_flag=True, help="Also draw why lines were kept as cracks or refused, in why-lines.png and "
    "why-likelihood.png.")
shop_option = click.option(
    "--shop", type=FILE, default=None,
    help="Your shop file (bits, fit, stock, resin). [default: shop.toml beside the job, else built-in defaults]")
