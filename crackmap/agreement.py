"""Whether the files of a job go together: photo, survey, edits, plan and shop file.

They are made at different times, and may be edited, copied and mixed up
meanwhile. What doesn't go together is refused where cutting by it would spoil
a slab, and told as a warning where the maker may well know better.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from typing import TYPE_CHECKING

import numpy as np
import shapely

from crackmap.errors import JobError
from crackmap.jsonform import digest_of
from crackmap.records import Edits, FloatArray, Survey
from crackmap.shop import Shop

if TYPE_CHECKING:
    from pathlib import Path

    from crackmap.job import Job

# What of the shop file the keys and the resin hang on; boards, bed and machine are reckoned again at every drawing.
_SECTIONS = ("bit", "fit", "keys", "wood", "resin")
# Two photos of one slab, its markers unmoved, give outlines that overlap by 99 % and more; 8 mm of shift on a slab of
# 1,400 x 480 mm leaves 96 % (both geometric but for the edge's own error, which is about 0.5 %).
LEAST_OVERLAP = 0.97
MOST_MOVED = 1.5  # by which a place may move before the user's edits must be looked at again (a choice) [mm]
OFF_SLAB = 30.0  # farther outside the slab's edge than this no edit has a meaning (a choice) [mm]


def shop_digests(shop: Shop) -> tuple[tuple[str, str], ...]:
    """A short digest of each section of the shop file that the keys and the resin hang on, by its name."""
    def digest(section: str) -> str:
        values = dataclasses.asdict(getattr(shop, section))
        return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()[:16]

    return tuple((section, digest(section)) for section in _SECTIONS)


def demand_plan_is_current(read: Job, shop: Shop | None, *, edits_too: bool = True) -> None:
    """Refuse to draw or align by a plan that the rest of the job has left behind.

    Parameters
    ----------
    read : Job
        With a plan.
    shop : Shop or None
        As it stands now; None where it is not at hand, as on the machine's own computer.
    edits_too : bool
        False where newer edits are taken up anyway.

    Raises
    ------
    JobError
        If the plan was made from another photo, thickness, shop file or edits,
        or was changed by hand.
    """
    plan = read.plan
    assert plan is not None
    place = f"place the keys again with: crackmap place {read.folder}"
    where = read.folder / "plan.json"
    if plan.photo_sha256 not in ("", read.survey.photo.sha256):
        raise JobError(f"{where} was made from another photo than survey.json; {place} --afresh")
    if plan.by_hand:
        raise JobError(f"{where} was changed by hand, so that its drawings and checks no longer go together; write "
                       f"what you want into edits.json or use crackmap review, and {place}")
    if abs(plan.thickness_mm - read.note.thickness_mm) > 0.005:
        raise JobError(f"{where} is for a slab {plan.thickness_mm:g} mm thick and job.json says "
                       f"{read.note.thickness_mm:g} mm; {place}")
    if edits_too and plan.edits_digest not in ("", digest_of(read.edits)):
        raise JobError(f"{read.folder / 'edits.json'} was changed since the keys were placed, and {where} does not "
                       f"obey it yet; {place}")
    if shop is None:
        return
    now = dict(shop_digests(shop))
    changed = [name for name, digest in plan.shop_digests if now.get(name) != digest]
    if changed:
        named = ", ".join(f"[{name}]" for name in changed)
        raise JobError(f"the shop file ({shop.source or 'none any more: built-in figures'}) has changed in {named} "
                       f"since the keys of {where} were placed; {place}")


def after_edits(before: Survey | None, now: Survey, edits: Edits, folder: Path) -> Survey:
    """A new survey under edits that were made on an earlier one.

    The user's edits are anchored by position: on another slab, or with the
    markers laid anew, they would hit the wrong wood.

    Parameters
    ----------
    before : Survey or None
        The one that the edits were made on, if it is known.
    now, edits, folder
        The new survey, the edits and the job folder that holds them.

    Returns
    -------
    Survey
        `now`, with a warning where the same photo measured anew puts places
        elsewhere, as another marker size, lens or pair of datum marks does.

    Raises
    ------
    JobError
        If another photo shows the slab elsewhere in its frame: the outlines
        overlap by less than `LEAST_OVERLAP`.
    """
    plain = dataclasses.replace(edits, photo_sha256="", note="")
    if before is None or digest_of(plain) == digest_of(Edits()):
        return now
    if before.photo.sha256 != now.photo.sha256:
        shared = _overlap(before.outline, now.outline)
        if shared < LEAST_OVERLAP:
            raise JobError(f"the slab in {now.photo.file} does not lie where the one in {before.photo.file} lay: their "
                           f"edges overlap by {shared:.0%}, so that your edits in {folder} would hit other wood; the "
                           "markers were moved or it is another slab: give another folder with --out.")
        return now
    moved = now.mapping.to_slab(before.mapping.to_pixels(before.outline)) - before.outline
    farthest = float(np.hypot(*moved.T).max())
    if farthest <= MOST_MOVED:
        return now
    told = (f"Your edits were made at another scale or with other marks: measured anew, the same spot of the photo "
            f"lies up to {farthest:.1f} mm elsewhere; look at every edit on the picture.")
    return dataclasses.replace(now, warnings=(*now.warnings, told))


def _overlap(first: FloatArray, second: FloatArray) -> float:
    """Common area of two outlines over the area of both together. [-]"""
    one, other = (shapely.make_valid(shapely.Polygon(ring)) for ring in (first, second))
    return float(one.intersection(other).area / max(one.union(other).area, 1e-9))


def edits_warnings(survey: Survey, edits: Edits) -> tuple[str, ...]:
    """What makes one doubt that the edits belong to this slab."""
    told = []
    if edits.photo_sha256 not in ("", survey.photo.sha256):
        told.append(f"edits.json was made on another photo than {survey.photo.file}: it is right only if both show the "
                    "same slab with its markers unmoved.")
    places = _places(edits)
    if len(places):
        away = shapely.distance(shapely.make_valid(shapely.Polygon(survey.outline)), shapely.points(places))
        off = int((away > OFF_SLAB).sum())
        if off:
            told.append(f"{off} of {len(places)} places in edits.json lie off the slab, up to {away.max():.0f} mm "
                        "outside its edge: are they edits of another job?")
    return tuple(told)


def _places(edits: Edits) -> FloatArray:
    """Every place that must lie on the slab to have a meaning, (N, 2). [mm]"""
    rows = [*(key.centre for key in edits.keys), *edits.refused_keys, *edits.refused_cracks,
            *(at[:2] for at in edits.key_counts), *(at[:2] for at in edits.probed_depths),
            *(end[:2] for end in edits.crack_ends), *(line[0] for line in edits.drawn_cracks)]
    return np.array(rows, float).reshape(-1, 2)
