"""How deep a pocket goes, and what limited it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from crackmap.errors import KeyShapeError
from crackmap.shop import Shop

LEAST_DEPTH_SHARE = 1.0 / 3.0  # a third to a half of the slab is common practice, no source [-]
MOST_DEPTH_SHARE = 0.5  # [-]
STEP = 0.5  # depths are rounded down to this, so that a rule can check them [mm]


@dataclass(frozen=True, slots=True)
class DepthChoice:
    """A pocket's depth and why."""

    depth: float  # [mm]
    floor: float  # wood left under it [mm]
    limited_by: str  # "share", "bit", "floor" or "given"
    reasons: tuple[str, ...]


def pocket_depth(shop: Shop, thickness_mm: float, *, from_below_mm: float = 0.0,
                 crack_goes_through: bool = False) -> DepthChoice:
    """Depth of the pockets in a slab.

    Parameters
    ----------
    shop : Shop
        Its bit's cutting length, and in `keys` the share of the thickness, a
        fixed depth, and the floor to leave.
    thickness_mm : float
        Of the slab. [mm]
    from_below_mm : float
        How far something on the other face (a pocket, a plate) reaches up. [mm]
    crack_goes_through : bool
        True where the crack is known to come out below; adds a word about it.

    Raises
    ------
    KeyShapeError
        If no depth of a millimetre or more is left, or a given depth is over the thickness.
    """
    if not (math.isfinite(thickness_mm) and thickness_mm > 0.0):
        raise KeyShapeError(f"the slab's thickness must be more than zero, not {thickness_mm:g} mm.")
    floor = shop.keys.least_floor
    room = thickness_mm - from_below_mm - floor
    if shop.keys.depth is not None:
        return _given_depth(shop, thickness_mm, from_below_mm)
    wishes = {"share": shop.keys.depth_fraction * thickness_mm, "floor": room,
              # The key is cut with the same bit, right through, and is thicker than the pocket is deep.
              "bit": shop.bit.cutting_length - shop.fit.proud}
    limited_by = min(wishes, key=lambda name: wishes[name])
    depth = math.floor(wishes[limited_by] / STEP + 1e-9) * STEP
    if depth < 1.0:
        raise KeyShapeError(f"a slab {thickness_mm:.1f} mm thick leaves no room for a pocket over a floor of "
                            f"{floor:.1f} mm{_below(from_below_mm)}; lower least_floor or leave the keys "
                            "out.")
    reasons = [f"depth {depth:.1f} mm is {depth / thickness_mm:.0%} of the slab (a third to a half is common "
               "practice, no source)"]
    if limited_by == "bit":
        reasons.append(f"limited by the bit's cutting length of {shop.bit.cutting_length:.1f} mm: the key "
                       f"stands {shop.fit.proud:.1f} mm proud and is cut right through")
    if limited_by == "floor":
        reasons.append(f"limited by the {floor:.1f} mm of wood to leave under it{_below(from_below_mm)}")
    if depth < LEAST_DEPTH_SHARE * thickness_mm:
        reasons.append("shallower than a third of the slab: it holds less than its outline promises")
    if crack_goes_through:
        reasons.append("the crack comes out below: the key holds the upper part only; think of keys from "
                       "below as well")
    return DepthChoice(depth, thickness_mm - depth - from_below_mm, limited_by, tuple(reasons))


def _given_depth(shop: Shop, thickness_mm: float, from_below_mm: float) -> DepthChoice:
    depth = shop.keys.depth
    assert depth is not None
    if not (math.isfinite(depth) and depth > 0.0):
        raise KeyShapeError(f"the pocket's depth must be more than zero, not {depth:g} mm.")
    if depth > thickness_mm - from_below_mm:
        raise KeyShapeError(f"a pocket {depth:.1f} mm deep goes through a slab of {thickness_mm:.1f} "
                            f"mm{_below(from_below_mm)}; make it shallower.")
    floor = thickness_mm - depth - from_below_mm
    return DepthChoice(depth, floor, "given", (f"depth {depth:.1f} mm as given",))


def _below(from_below_mm: float) -> str:
    return f" with {from_below_mm:.1f} mm taken from below" if from_below_mm else ""
