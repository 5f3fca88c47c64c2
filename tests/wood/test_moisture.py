"""Equilibrium moisture against the handbook's table."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from crackmap.errors import WoodError
from crackmap.wood.moisture import checked_moisture, equilibrium_moisture

# published: Wood Handbook, FPL-GTR-190 (2010), Table 4-2, all 190 cells.
TABLE_4_2 = Path(__file__).with_name("emc_table_4_2.csv")


def test_equation_gives_every_cell_of_wood_handbook_table_4_2() -> None:
    rows = list(csv.DictReader(TABLE_4_2.read_text().splitlines()))
    assert len(rows) == 190
    for row in rows:
        celsius = (float(row["temperature_f"]) - 32.0) / 1.8
        moisture = equilibrium_moisture(celsius, float(row["humidity_pct"]))
        # The table is rounded to 0.1 %, so 0.05 is its own doubt; the fit adds a little.
        assert moisture == pytest.approx(float(row["moisture_pct"]), abs=0.056), row


def test_dry_air_dries_wood_wholly_and_more_humidity_wets_it() -> None:
    assert equilibrium_moisture(20.0, 0.0) == 0.0  # geometric: every term has h as a factor
    steps = [equilibrium_moisture(20.0, h) for h in range(0, 96, 5)]
    assert steps == sorted(steps)


@pytest.mark.parametrize(("celsius", "humidity"), [(60.0, 50.0), (-20.0, 50.0), (20.0, 96.0), (20.0, -1.0),
                                                   (float("nan"), 50.0), (20.0, float("nan"))])
def test_outside_the_table_is_refused(celsius: float, humidity: float) -> None:
    with pytest.raises(WoodError, match="outside the table"):
        equilibrium_moisture(celsius, humidity)


@pytest.mark.parametrize("percent", [-0.1, 30.1, float("nan")])
def test_moisture_outside_0_to_30_is_refused_in_one_sentence(percent: float) -> None:
    with pytest.raises(WoodError, match="outside 0 to 30 %"):
        checked_moisture(percent)
