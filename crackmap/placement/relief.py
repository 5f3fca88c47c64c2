"""How much more pull a line's crack bears with its keys, where the wood is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crackmap.errors import KeyShapeError, WoodError
from crackmap.keys.strength import HeldCrack, reckon_holding
from crackmap.placement.solved import Solved
from crackmap.shop import Shop
from crackmap.wood.species import Species, species_named


@dataclass(frozen=True, slots=True)
class Woods:
    """The slab's wood and the keys'."""

    slab: Species
    keys: Species


def woods_of(shop: Shop) -> Woods | None:
    """The woods that a shop file names; None where it names none for the slab.

    Raises
    ------
    WoodError
        If a name is unknown.
    """
    if not shop.wood.species:
        return None
    slab = species_named(shop.wood.species)
    return Woods(slab, species_named(shop.keys.key_wood) if shop.keys.key_wood else slab)


def line_relief(solved: Solved, n: int, numbers: NDArray[np.int64], woods: Woods | None) -> float | None:
    """How many times the pull line `n` bears with candidates `numbers` before it runs on, against none. [-]

    None where the wood is not known, a figure of it isn't tabulated, or the
    line has no tip that could run.
    """
    line = solved.site.lines[n]
    if woods is None or line.ends[1] != "tip":
        return None
    crossings, pockets = solved.candidates.crossings, solved.candidates.pockets
    on = np.array([k for k in numbers if crossings.held[k, n]], np.int64)
    if not len(on):
        return 1.0
    at = crossings.arc[on, n]
    keys = tuple(pockets.cuttings[kind].shape for kind in pockets.kind[on])
    held = HeldCrack(line.length, line.ends[0] != "tip", tuple(at.tolist()), keys, tuple(line.width_at(at).tolist()))
    try:
        return float(reckon_holding(held, solved.site.thickness, woods.slab, woods.keys).relief)
    except (WoodError, KeyShapeError):
        return None
