"""What a batch tells of each of its photos, as rows of a table."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import shapely

from crackmap import job
from crackmap.sheets.words import over_all

_DRAWINGS = ("slab.dxf", "slab-mm.dxf", "slab-in.dxf")  # one of them, as the DXF's version wants it
DONE, FAILED, WAITING = "done", "failed", "waiting"


@dataclass(frozen=True, slots=True)
class Row:
    """One photo of a batch; figures are None where there are none.

    `peak_mb` is of the process that worked on it, where the system tells. [MB]
    """

    photo: str
    folder: str  # of its job, in the batch's folder
    status: str  # DONE, FAILED or WAITING
    message: str = ""
    scale_sigma_percent: float | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    area_m2: float | None = None
    cracks: int | None = None
    crack_length_mm: float | None = None
    voids: int | None = None
    keys: int | None = None
    resin_mix_ml: float | None = None
    warnings: int | None = None
    seconds: float | None = None
    peak_mb: float | None = None
    drawing: str = ""  # the slab's DXF; the keys' is called likewise


def row_of_job(photo: str, folder: Path, message: str, seconds: float, peak_mb: float | None) -> Row:
    """The row of a job that ended well, read back from its folder.

    Parameters
    ----------
    photo : str
        The photo's file name.
    folder : Path
        Of its job.
    message : str
        What crackmap said beside its summary.
    seconds : float
        That the run took. [s]
    peak_mb : float or None
        [MB]

    Raises
    ------
    JobError
        If the folder cannot be read.
    """
    read = job.read_job(folder)
    survey, plan = read.survey, read.plan
    length, width = over_all(survey)
    area = shapely.make_valid(shapely.Polygon(survey.outline)).area / 1e6
    return Row(
        photo, folder.name, DONE, message, round(survey.scale.scale_sigma_percent, 3), round(length, 1),
        round(width, 1), round(area, 4), len(survey.cracks),
        round(float(sum(crack.length for crack in survey.cracks)), 1), len(survey.voids),
        None if plan is None else len(plan.keys), None if plan is None else round(plan.resin.mix_ml, 1),
        len(survey.warnings if plan is None else plan.warnings), round(seconds, 1), peak_mb,
        next((name for name in _DRAWINGS if (folder / name).is_file()), ""),
    )


def as_csv(rows: Sequence[Row]) -> bytes:
    """The table for a spreadsheet: commas, a head line, UTF-8 with its mark, so that umlauts open right."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, [field.name for field in fields(Row)], lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: _cell(value) for name, value in asdict(row).items()})
    return text.getvalue().encode("utf-8-sig", "replace")


def _cell(value: object) -> object:
    """A value that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value[:1] in tuple("=+-@\t\r"):
        return f"'{value}"
    return "" if value is None else value
