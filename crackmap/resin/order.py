"""Keys first or resin first, and why."""

from __future__ import annotations

import numpy as np

from crackmap.records import Key
from crackmap.resin.depths import Depths
from crackmap.resin.openings import Opening

# Where keys cover more than this share of a crack that goes on below their pockets, too little of it is left
# open to pour through (our choice). [-]
_MOST_COVERED = 0.5
_BELOW_POCKET = 3.0  # a crack this much deeper than the pocket goes on below it (our choice) [mm]


def order_of_work(found: list[tuple[Opening, Depths]], keys: tuple[Key, ...]) -> tuple[bool, tuple[str, ...]]:
    """Whether resin comes first on this slab; and in sentences why, and the caution that goes with it.

    Parameters
    ----------
    found : list of (Opening, Depths)
        What resin is poured into.
    keys : tuple of Key
    """
    if not found:
        return False, ()
    if not keys:
        return False, ("Resin alone: no key is cut, so pour when the slab is flat, sealed and dammed.",)
    shut = [opening.id for opening, depths in found if opening.kind != "void" and _shut_off(opening, depths)]
    if shut:
        return True, (
                f"Resin first: under the keys {_listed(shut)} would be shut off from the pour, more than half of it "
                "covered and open below the pockets; pour, let it cure fully, then cut the pockets.",
                "Cured resin is then routed: only when it is fully hard (the data sheet's time, longer in the cold), "
                "shallow passes, a sharp bit, slow enough that nothing smears or smells; its dust and that of "
                "half-cured resin is harmful: extraction and a mask.",
                "Clamp or tie the slab across the cracks until the resin has cured: no key holds it yet.")
    deep = [opening.id for opening, depths in found if opening.kind != "void" and _goes_under(opening, depths).any()]
    lines = ["Keys first: they hold the slab still while the resin cures, glue takes on bare wood, and no cured resin "
             "is routed."]
    if deep:
        lines.append(f"{_listed(deep)} runs on below the pockets: pour from one side of each key until resin rises on "
                     "the other, so that no air is caught under it.")
    lines.append("Should a pocket have to be cut after the pour: only in fully cured resin, in shallow passes with a "
                 "sharp bit, with extraction and a mask.")
    return False, tuple(lines)


def _goes_under(opening: Opening, depths: Depths) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    return np.asarray((opening.under_keys > 0.0) & (depths.best > opening.pocket_depth + _BELOW_POCKET))


def _shut_off(opening: Opening, depths: Depths) -> bool:
    under = _goes_under(opening, depths)
    area = float(opening.area.sum())
    return area > 0.0 and float((opening.area * opening.under_keys)[under].sum()) > _MOST_COVERED * area


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
