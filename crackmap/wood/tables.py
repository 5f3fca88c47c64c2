"""The wood tables beside this file, read once. Every row carries its source and status."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

Row = dict[str, str]


@cache
def table(name: str) -> dict[str, Row]:
    """Rows of ``name.csv`` by their first column."""
    text = files("crackmap.wood").joinpath(f"{name}.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    return {next(iter(row.values())): row for row in rows}


def figure(row: Row | None, column: str) -> float | None:
    """A number of a row, or None where the table has a gap. In the column's unit."""
    return float(row[column]) if row is not None and row[column] else None
