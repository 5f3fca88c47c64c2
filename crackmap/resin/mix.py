"""From millilitres in the slab to millilitres and grams in the cups."""

from __future__ import annotations

import math
from dataclasses import dataclass

from crackmap.errors import ResinError
from crackmap.shop import ResinSheet


@dataclass(frozen=True, slots=True)
class Mix:
    """Resin (a) and hardener (b), in all and for each of equal batches."""

    part_a_ml: float
    part_b_ml: float
    part_a_g: float
    part_b_g: float
    batches: int


def check_sheet(sheet: ResinSheet) -> None:
    """Refuse a data sheet that cannot be right.

    Raises
    ------
    ResinError
        Names the first wrong figure.
    """
    a, b = sheet.ratio
    for name, value, unit in (("ratio's resin part", a, ""), ("ratio's hardener part", b, ""),
                              ("density of the resin", sheet.density_resin, " g/ml"),
                              ("density of the hardener", sheet.density_hardener, " g/ml"),
                              ("largest batch", sheet.largest_batch, " ml"),
                              ("deepest layer", sheet.deepest_layer, " mm")):
        if not math.isfinite(value) or value <= 0.0:
            raise ResinError(f"the {name} must be more than zero, not {value:g}{unit}; see the tin's data "
                             "sheet.")
    if sheet.ratio_by not in ("volume", "weight"):
        raise ResinError(f"the resin's ratio is by 'volume' or by 'weight', not by {sheet.ratio_by!r}.")
    if not 0.0 <= sheet.allowance_percent <= 100.0:
        raise ResinError(f"the resin's allowance must be 0 to 100 %, not {sheet.allowance_percent:g} %.")


def mix_of(volume_ml: float, sheet: ResinSheet) -> Mix:
    """Both parts of a mixed volume.

    By volume, the parts share the volume as the ratio says; by weight, the
    masses do: m_b / m_a = (V_b / V_a) (rho_b / rho_a). Mixing is reckoned to
    change no volume.

    Parameters
    ----------
    volume_ml : float
        Mixed, with its allowance. [ml]
    """
    check_sheet(sheet)
    a, b = sheet.ratio
    if sheet.ratio_by == "weight":
        a, b = a / sheet.density_resin, b / sheet.density_hardener
    part_a, part_b = volume_ml * a / (a + b), volume_ml * b / (a + b)
    batches = math.ceil(volume_ml / sheet.largest_batch - 1e-9) if volume_ml > 0.0 else 0
    return Mix(part_a, part_b, part_a * sheet.density_resin, part_b * sheet.density_hardener, batches)
