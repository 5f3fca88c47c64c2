"""The resin stage: how much to mix, how sure that is, and where a probe would tell most."""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from crackmap.errors import ResinError
from crackmap.keys.outline import outline_area
from crackmap.records import Edits, Key, ResinEstimate, ResinItem, Survey
from crackmap.resin.dams import dams_of
from crackmap.resin.depths import Depths, depths_of, probes_by_opening
from crackmap.resin.mix import check_sheet, mix_of
from crackmap.resin.openings import Opening, openings
from crackmap.resin.order import order_of_work
from crackmap.resin.pours import pours_of
from crackmap.resin.solids import ML_PER_MM3, tapered_volume, tapered_volume_above
from crackmap.settings import ResinSettings
from crackmap.shop import ResinSheet, Shop

KEY_GAPS = "key gaps"  # id of the item that is not a crack or void
_NO_EDITS = Edits()
_USUAL = ResinSettings()
_NOT_KNOWN = ("assumed", "blind", "partly through")  # depths that nobody measured
_WORTH_PROBING = 0.15  # an item that alone leaves this share of the total open deserves a probe [-]


def estimate_resin(survey: Survey, keys: tuple[Key, ...], shop: Shop, thickness_mm: float,
                   edits: Edits = _NO_EDITS, settings: ResinSettings = _USUAL) -> ResinEstimate:
    """Resin for the cracks, voids and key gaps of a slab.

    Parameters
    ----------
    survey : Survey
        Cracks below the least confidence are left out. Where it has the other
        face, that tells what is through, and how wide below.
    keys : tuple of Key
        Set before the pour: what lies in their pockets takes no resin but
        their gaps.
    shop : Shop
        The resin's data sheet.
    thickness_mm : float
        Of the slab. [mm]
    edits : Edits
        Probed depths, finished top.
    settings : ResinSettings
        Depths assumed where nobody probed.

    Returns
    -------
    ResinEstimate
        The range adds up each item's own, so it holds even if all are shallow
        or all deep, as in one badly dried slab they may be.

    Raises
    ------
    ResinError
        If a figure of the data sheet, the thickness or a probed depth cannot be right.
    """
    if not math.isfinite(thickness_mm) or thickness_mm <= 0.0:
        raise ResinError(f"the slab's thickness must be more than zero, not {thickness_mm:g} mm.")
    sheet = shop.resin
    check_sheet(sheet)
    found = openings(survey, keys, edits, settings)
    probes, lost = probes_by_opening(found, edits, thickness_mm, settings)
    deep = [(each, depths_of(each, probes.get(each.id, []), thickness_mm, settings)) for each in found]
    items = [_item(opening, depths) for opening, depths in deep]
    if keys:
        items.append(_key_gaps(keys))
    volume, least, most = (sum(getattr(i, name) for i in items) for name in ("volume_ml", "least_ml", "most_ml"))
    mix_ml = volume * (1.0 + sheet.allowance_percent / 100.0)
    mix = mix_of(mix_ml, sheet)
    pours = pours_of(deep, items[-1].volume_ml if keys else 0.0, sheet)
    resin_first, order = order_of_work(deep, keys)
    poured = sum(pour.volume_ml for pour in pours)
    estimate = ResinEstimate(
        tuple(items), volume, least, most, sheet.allowance_percent, mix_ml, mix.part_a_ml, mix.part_b_ml,
        mix.part_a_g, mix.part_b_g, sum(p.name != "seal coat" for p in pours), pours=pours,
        dams=dams_of(survey, deep, thickness_mm, edits.finished_top, settings),
        resin_first=resin_first, order=order,
        cost=None if sheet.price_per_litre is None else poured / 1000.0 * sheet.price_per_litre,
        currency=sheet.currency)
    return dataclasses.replace(estimate, notes=(*lost, *_notes(estimate, found, sheet)))


def _item(opening: Opening, depths: Depths) -> ResinItem:
    """Volume of one opening, less what its keys fill."""
    figures = []
    for depth, wall, doubt in ((depths.best, depths.wall_best, 0.0),
                               (depths.least, depths.wall_least, -opening.width_doubt),
                               (depths.most, depths.wall_most, opening.width_doubt)):
        area = opening.area * (1.0 + doubt)
        whole = tapered_volume(area, depth, wall)
        filled = tapered_volume_above(area * opening.under_keys, depth, wall, opening.pocket_depth)
        figures.append(float((whole - filled).sum()) * ML_PER_MM3)
    return ResinItem(opening.id, float(opening.area.sum()), float(depths.best.max()), depths.source, *figures)


def _key_gaps(keys: tuple[Key, ...]) -> ResinItem:
    """Gaps between pockets and keys: none where glue fills them, whole where resin does."""
    gap = [outline_area(k.shape.pocket) - outline_area(k.shape.key) for k in keys]
    volume = sum(area * k.shape.depth for area, k in zip(gap, keys, strict=True)) * ML_PER_MM3
    return ResinItem(KEY_GAPS, float(sum(gap)), max(k.shape.depth for k in keys), "pocket", volume / 2.0, 0.0,
                     volume)


def _notes(estimate: ResinEstimate, found: tuple[Opening, ...], sheet: ResinSheet) -> list[str]:
    notes = []
    if not sheet.from_user:
        notes.append("ratio, densities, batch and layer are generic and cautious; the data sheet on the tin "
                     "wins: put "
                     "its figures in the shop file.")
    assumed = [i for i in estimate.items if i.depth_from in _NOT_KNOWN]
    if assumed:
        notes.append(f"{len(assumed)} of {len(found)} depths are not known, because no photo shows a blind one's: the "
                     "truth lies "
                     f"between {estimate.least_ml:.0f} and {estimate.most_ml:.0f} ml.")
        notes += _what_to_probe(estimate, assumed, found)
    seal = [p for p in estimate.pours if p.name == "seal coat"]
    if seal:
        notes.append(f"the seal coat takes {seal[0].volume_ml:.0f} ml more than the figure mixed for the cracks and "
                     "voids.")
    if any(p.batches > 1 for p in estimate.pours):
        notes.append(f"no more than {sheet.largest_batch:.0f} ml at once, because a large pot heats itself: the table "
                     "of pours has the batches.")
    if estimate.layers > 1:
        notes.append(f"{estimate.layers} pours of at most {sheet.deepest_layer:g} mm each, as the resin's "
                     "own limit "
                     "and waiting time say.")
    if estimate.items:
        notes.append("seal porous walls with a thin coat first, dam every opening at the ends and below, and "
                     "try the "
                     "dams with a little water where the wood allows it; let it dry.")
        notes.append("resin and hardener are skin sensitisers: gloves, eye protection, ventilation, and the "
                     "maker's "
                     "safety data sheet.")
    return notes


def _what_to_probe(estimate: ResinEstimate, assumed: list[ResinItem], found: tuple[Opening,
                                                                                   ...]) -> list[str]:
    """The opening whose unknown depth leaves most open."""
    widest = max(assumed, key=lambda i: (i.most_ml - i.least_ml, i.id))
    open_ml = widest.most_ml - widest.least_ml
    if open_ml < _WORTH_PROBING * (estimate.most_ml - estimate.least_ml):
        return []
    opening = next(o for o in found if o.id == widest.id)
    x, y = opening.place[int(np.argmax(opening.width))]
    return [f"probe {widest.id} near x {x:.0f}, y {y:.0f} mm with a wire first: its depth alone leaves "
            f"{open_ml:.0f} ml "
            "open."]
