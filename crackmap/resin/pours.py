"""The pours in the order of work: a seal coat, then layers from the bottom up.

All openings come flush with the last layer, so the first ones fill only what
is deepest. The layers are of equal height, none thicker than the data sheet
allows anywhere.
"""

from __future__ import annotations

import math

import numpy as np

from crackmap.records import Batch, Pour
from crackmap.resin.depths import Depths
from crackmap.resin.mix import mix_of
from crackmap.resin.openings import Opening
from crackmap.resin.solids import ML_PER_MM3, tapered_volume_above
from crackmap.shop import ResinSheet

_M2_PER_MM2 = 1e-6


def volume_above(opening: Opening, depths: Depths, level: float) -> float:
    """Resin in an opening above a level, what its keys fill left out, by the best depth. [ml]

    Parameters
    ----------
    level : float
        Below the show face; `inf` for all of it. [mm]
    """
    cut = np.minimum(depths.best, level)
    whole = tapered_volume_above(opening.area, depths.best, depths.wall_best, cut)
    filled = tapered_volume_above(opening.area * opening.under_keys, depths.best, depths.wall_best,
                                  np.minimum(cut, opening.pocket_depth))
    return float((whole - filled).sum()) * ML_PER_MM3


def layer_count(depths: list[Depths], sheet: ResinSheet) -> int:
    """Layers that the deepest opening needs; 0 for none."""
    deepest = max((float(d.best.max()) for d in depths), default=0.0)
    return math.ceil(deepest / sheet.deepest_layer - 1e-9)


def pours_of(found: list[tuple[Opening, Depths]], key_gaps_ml: float, sheet: ResinSheet) -> tuple[Pour, ...]:
    """Every pour with its batches.

    Parameters
    ----------
    found : list of (Opening, Depths)
    key_gaps_ml : float
        Net, round the keys; poured with the last layer. [ml]
    sheet : ResinSheet
        Allowance, deepest layer, largest batch, seal coat.
    """
    count = max(layer_count([d for _, d in found], sheet), 1 if key_gaps_ml > 0.0 else 0)
    if count == 0:
        return ()
    deepest = max((float(d.best.max()) for _, d in found), default=0.0)
    height = deepest / count
    more = 1.0 + sheet.allowance_percent / 100.0
    pours = []
    seal = seal_coat_ml(found, sheet)
    if seal > 0.0:
        pours.append(_pour("seal coat", seal, 0.0, sheet))
    for number in range(1, count + 1):
        top = (count - number) * height
        bottom = math.inf if number == 1 else top + height
        net = sum(volume_above(o, d, bottom) - volume_above(o, d, top) for o, d in found)
        if number == count:
            net += key_gaps_ml
        pours.append(_pour(f"layer {number}", net * more, height, sheet))
    return tuple(pours)


def seal_coat_ml(found: list[tuple[Opening, Depths]], sheet: ResinSheet) -> float:
    """Mixed resin to seal the walls with a thin coat. [ml]"""
    if sheet.seal_coat <= 0.0:
        return 0.0
    area = sum(float((o.wall / len(d.best) * d.best).sum()) for o, d in found)
    a, b = mix_of(1.0, sheet).part_a_ml, mix_of(1.0, sheet).part_b_ml
    density = a * sheet.density_resin + b * sheet.density_hardener
    return area * _M2_PER_MM2 * sheet.seal_coat / density


def _pour(name: str, volume: float, deep: float, sheet: ResinSheet) -> Pour:
    mix = mix_of(volume, sheet)
    n = max(mix.batches, 1)
    return Pour(name, volume, deep, mix.batches,
                Batch(mix.part_a_ml / n, mix.part_b_ml / n, mix.part_a_g / n, mix.part_b_g / n))
