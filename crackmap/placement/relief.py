"""What a line's crack bears with its keys and what each key bears, where the wood is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.errors import KeyShapeError, WoodError
from crackmap.keys.strength import HeldCrack, Holding, reckon_holding
from crackmap.placement.solved import Solved
from crackmap.shop import Shop
from crackmap.wood.moisture import equilibrium_moisture
from crackmap.wood.species import Species, species_named


@dataclass(frozen=True, slots=True)
class Woods:
    """The slab's wood and the keys', and the drying to come where both moistures are known."""

    slab: Species
    keys: Species
    moisture_now: float | None  # [%]
    moisture_to_come: float | None  # [%]


def woods_of(shop: Shop) -> Woods | None:
    """The woods that a shop file names; None where it names none for the slab.

    Raises
    ------
    WoodError
        If a name is unknown, or the room's climate is out of range.
    """
    if not shop.wood.species:
        return None
    slab = species_named(shop.wood.species)
    humidity = shop.wood.room_humidity_percent
    to_come = None if humidity is None else equilibrium_moisture(shop.wood.room_temperature_c, humidity)
    return Woods(slab, species_named(shop.keys.key_wood) if shop.keys.key_wood else slab,
                 shop.wood.moisture_percent, to_come)


def line_holding(solved: Solved, n: int, numbers: NDArray[np.int64], woods: Woods | None) -> Holding | None:
    """The loads of those of candidates `numbers` that hold line `n`, in the order of their arcs.

    None where no key holds it, the wood is not known, a figure of it isn't
    tabulated, or the line has no tip that could run.

    `numbers` has shape (K,).
    """
    line, crossings, pockets = solved.site.lines[n], solved.candidates.crossings, solved.candidates.pockets
    on = numbers[crossings.held[numbers, n]]
    if woods is None or line.ends[1] != "tip" or not len(on):
        return None
    on = on[np.argsort(crossings.arc[on, n], kind="stable")]
    at = crossings.arc[on, n]
    keys = tuple(pockets.cuttings[kind].shape for kind in pockets.kind[on])
    held = HeldCrack(line.length, line.ends[0] != "tip", tuple(at.tolist()), keys, tuple(line.width_at(at).tolist()))
    try:
        return reckon_holding(held, solved.site.thickness, woods.slab, woods.keys, woods.moisture_now,
                              woods.moisture_to_come)
    except (WoodError, KeyShapeError):
        return None


def line_relief(solved: Solved, n: int, numbers: NDArray[np.int64], woods: Woods | None) -> float | None:
    """How many times the pull line `n` bears with candidates `numbers` before it runs on, against none. [-]

    None where that cannot be reckoned.

    `numbers` has shape (K,).
    """
    if woods is None or solved.site.lines[n].ends[1] != "tip":
        return None
    if not solved.candidates.crossings.held[numbers, n].any():
        return 1.0
    holding = line_holding(solved, n, numbers, woods)
    return None if holding is None else float(holding.relief)
