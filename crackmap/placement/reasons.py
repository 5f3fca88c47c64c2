"""Why each key is where it is and as large as it is, in a maker's words."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crackmap.placement.score import (
    angle_to_grain,
    bridged_width,
    off_square,
    opened_width,
    wanted_length,
    wing_reach,
)
from crackmap.placement.solved import Solved
from crackmap.placement.stretches import END_WORDS, stretches
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop

_WORTH_SAYING = 4.0  # a turn off square smaller than this is noise of the crack's own direction [deg]


def key_reasons(solved: Solved, k: int, numbers: NDArray[np.int64], origin: str, shop: Shop,
                settings: PlacementSettings) -> tuple[str, ...]:
    """Reasons for candidate `k` of the chosen `numbers`. `numbers` has shape (K,)."""
    candidates, site = solved.candidates, solved.site
    held = np.flatnonzero(candidates.crossings.held[k])
    if not len(held):
        return ("your own key; no crack runs across it",)
    reasons = [] if origin == "suggested" else ["your own key"]
    reasons.append(_what_it_bridges(solved, k, held))
    reasons += [_where_it_stands(solved, k, int(n), numbers) for n in held if n in solved.asking]
    reasons.append(_why_this_size(solved, k, shop, settings))
    one = candidates.pockets.take(np.array([k]))
    row = candidates.crossings.rows(np.array([k]))
    turn = float(off_square(one, row, site)[0])
    if turn >= _WORTH_SAYING:
        reasons.append(f"turned {turn:.0f} degrees off square to the crack"
                       + (" and its neighbour" if len(held) > 1 else " so that both wings lie in sound wood"))
    off_grain = 90.0 - float(angle_to_grain(one.angle_deg, site.grain_deg)[0])
    if off_grain > 30.0:
        reasons.append(f"the crack runs {off_grain:.0f} degrees off the slab's grain, and the key with it: "
                       "look twice")
    return tuple(reasons)


def _what_it_bridges(solved: Solved, k: int, held: NDArray[np.int64]) -> str:
    crossings = solved.candidates.crossings
    parts = []
    for n in held:
        line = solved.site.lines[n]
        width = float(line.width_at(np.array([crossings.arc[k, n]]))[0])
        parts.append(f"{line.crack_at(crossings.arc[k, n])}, {width:.1f} mm wide here")
    if len(held) == 1:
        return f"across {parts[0]}"
    span = float(np.ptp(crossings.offset[k, held]))
    return f"across {len(held)} cracks {span:.0f} mm apart with one key: " + "; ".join(parts)


def _where_it_stands(solved: Solved, k: int, n: int, numbers: NDArray[np.int64]) -> str:
    line = solved.site.lines[n]
    left = stretches(solved, n, numbers)
    place = next(i for i, s in enumerate(left) if s.after == k)
    before, after, count = left[place], left[place + 1], len(left) - 1
    on = line.name
    if count == 1:
        return (f"the only key on {on}: {before.length:.0f} mm unheld from "
                f"{END_WORDS.get(line.ends[0], 'its start')}, "
                f"{after.length:.0f} mm to {END_WORDS.get(line.ends[1], 'its end')}")
    if place == 0:
        return (f"first of {count} on {on}: {before.length:.0f} mm from "
                f"{END_WORDS.get(line.ends[0], 'its start')}, "
                f"{after.length:.0f} mm unheld to the next")
    if place == count - 1:
        return (f"last of {count} on {on}: {before.length:.0f} mm unheld from the one before, "
                f"{after.length:.0f} mm left to {END_WORDS.get(line.ends[1], 'its end')}")
    return (f"key {place + 1} of {count} on {on}: {before.length:.0f} and {after.length:.0f} mm unheld on "
            "either side")


def _why_this_size(solved: Solved, k: int, shop: Shop, settings: PlacementSettings) -> str:
    candidates = solved.candidates
    one, row = candidates.pockets.take(np.array([k])), candidates.crossings.rows(np.array([k]))
    size = one.cuttings[one.kind[0]].size
    bridged, wing = bridged_width(row, solved.site), float(wing_reach(one, row, solved.site)[0])
    wanted = float(wanted_length(bridged, opened_width(row, solved.site), shop.keys, settings)[0])
    wished = (wanted - float(bridged[0])) / 2.0
    said = f"{size.name}, {size.length:.0f} mm: wings reach {wing:.0f} mm past the lips"
    if any(wanted <= other.length < size.length for other in solved.family):
        return f"{said}, more than the {wished:.0f} mm wished for, to suit its neighbours"
    if wing < wished - 0.5:
        return f"{said}, less than the {wished:.0f} mm wished for: " + (
            "no larger size in the family" if size == solved.family[0]
            else "a larger one does not fit or sit as well")
    return said
