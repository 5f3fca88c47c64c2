"""Graded sizes that suit the bit and the slab, and which of them a crack needs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from crackmap.errors import KeyShapeError
from crackmap.keys.depth import pocket_depth
from crackmap.keys.fit import make_key
from crackmap.keys.shapes import Form, form_named
from crackmap.published import RENARD_R10
from crackmap.records import KeyShape
from crackmap.shop import KeyChoice, Shop

# The waist is this many bit diameters at least: one to pass and a little to clear its chips.
LEAST_WAIST_BITS = 1.15  # [-]
# A head wider than this share of the length is a plate, not a key.
MOST_WIDTH_SHARE = 0.62  # [-]
# Flanks must open at least so much from waist to head, as a share of the length: 1:8,
# the flattest slope that makers quote (common practice, no source).
LEAST_OPENING = 1.0 / 8.0  # [-]
# Where the shop file sets no limits: shorter keys are fiddly to hold while they are cut,
# and 152 mm is the longest that a maker quotes (common practice, no source). [mm]
LEAST_LENGTH, MOST_LENGTH = 40.0, 160.0
_NAMES = {1: ("medium",), 2: ("large", "small"), 3: ("large", "medium", "small"),
          4: ("large", "medium", "small", "smallest"), 5: ("largest", "large", "medium", "small", "smallest")}


@dataclass(frozen=True, slots=True)
class KeySize:
    """One size of a family; the first of a family is the largest."""

    name: str
    length: float  # [mm]
    width: float  # of the head [mm]
    waist: float  # [mm]
    depth: float  # of the pocket [mm]
    shape: str = "two-lobe"

    def key_shape(self, shop: Shop) -> KeyShape:
        """Pocket and key of this size for the shop's bit and fit."""
        return make_key(self.shape, self.length, self.width, self.waist, self.depth, shop.bit, shop.fit,
                        shop.keys.corners)


@dataclass(frozen=True, slots=True)
class SizeChoice:
    """The size that a crack needs at one place, and why."""

    size: KeySize
    needed_length: float  # [mm]
    reaches: bool  # False: even the largest size reaches less far than wanted
    reason: str


def size_family(shop: Shop, thickness_mm: float) -> tuple[KeySize, ...]:
    """The sizes to choose from, largest first: three to five unless the shop file lists its own.

    Lengths are preferred numbers (each a quarter longer than the next), the
    largest about 2.3 times the slab's thickness, so that a 44 mm slab gets
    keys of 50 to 100 mm; makers quote 64 to 152 mm (common practice, no source).

    Raises
    ------
    KeyShapeError
        If no size within the shop's limits can be cut with its bit.
    """
    form = form_named(shop.keys.shape)
    depth = pocket_depth(shop, thickness_mm).depth
    lengths = shop.keys.lengths or _graded_lengths(shop.keys, thickness_mm)
    cuttable = [size for size in (_proportioned(form, length, depth, shop) for length in lengths)
                if size is not None]
    longer = [] if shop.keys.lengths else _longer_than(max(lengths), shop.keys)
    # A thick bit rules small sizes out: go up instead.
    while len(cuttable) < min(3, shop.keys.sizes) and longer:
        size = _proportioned(form, longer.pop(0), depth, shop)
        if size is not None:
            cuttable.append(size)
    if not cuttable:
        raise KeyShapeError(f"no {form.name} key of {min(lengths):.0f} to {max(lengths):.0f} mm can be cut "
                            f"with a {shop.bit.diameter:g} mm bit; use a smaller bit or allow longer keys.")
    ordered = sorted(cuttable, key=lambda size: -size.length)
    names = _NAMES.get(len(ordered)) or tuple(f"{size.length:.0f} mm" for size in ordered)
    return tuple(KeySize(name, s.length, s.width, s.waist, s.depth, s.shape)
                 for name, s in zip(names, ordered, strict=True))


def needed_reach(crack_width: float, choice: KeyChoice) -> float:
    """How far each wing must reach past the crack's lip into sound wood. [mm]

    A fixed length, because the lips of a crack are bruised and checked, and a
    share of the crack's width, because a wide crack pulls more (our choice;
    nothing is published).
    """
    return choice.least_reach + choice.reach_per_width * crack_width


def size_for(crack_width: float, family: tuple[KeySize, ...], choice: KeyChoice | None = None) -> SizeChoice:
    """The smallest size of `family` whose wings reach far enough past a crack `crack_width` wide.

    Parameters
    ----------
    crack_width : float
        Where the key will lie, or the distance over both where it spans two cracks. [mm]
    family : tuple of KeySize
        As `size_family` returns it.
    choice : KeyChoice, optional
        The reach that is wanted; the built-in one where left out.

    Raises
    ------
    KeyShapeError
        If the family is empty.
    """
    if not family:
        raise KeyShapeError("there is no family of sizes to choose from; make one with size_family.")
    reach = needed_reach(crack_width, choice or KeyChoice())
    needed = crack_width + 2.0 * reach
    for size in sorted(family, key=lambda size: size.length):
        if size.length >= needed - 1e-9:
            return SizeChoice(size, needed, True,
                              f"{size.length:.0f} mm: the {crack_width:.1f} mm crack and two wings of "
                              f"{reach:.0f} mm or more")
    largest = max(family, key=lambda size: size.length)
    wing = (largest.length - crack_width) / 2.0
    return SizeChoice(largest, needed, False,
                      f"{largest.length:.0f} mm is the largest size; its wings reach {wing:.0f} mm past the "
                      f"{crack_width:.1f} mm crack where {reach:.0f} mm is wanted")


def _graded_lengths(choice: KeyChoice, thickness_mm: float) -> tuple[float, ...]:
    lengths = [length for length in RENARD_R10 if _within_limits(length, choice)]
    if not lengths:
        raise KeyShapeError(f"no preferred length lies between {choice.least_length or 0:g} and "
                            f"{choice.greatest_length or 0:g} mm; widen the limits or list the lengths.")
    wanted = choice.length_per_thickness * thickness_mm
    nearest = min(range(len(lengths)), key=lambda i: abs(math.log(lengths[i] / wanted)))
    first = max(0, nearest - choice.sizes + 1)
    return tuple(lengths[first:first + choice.sizes])


def _longer_than(length: float, choice: KeyChoice) -> list[float]:
    return [each for each in RENARD_R10 if each > length and _within_limits(each, choice)]


def _within_limits(length: float, choice: KeyChoice) -> bool:
    least = choice.least_length if choice.least_length is not None else LEAST_LENGTH
    most = choice.greatest_length if choice.greatest_length is not None else MOST_LENGTH
    return least <= length <= most


def _proportioned(form: Form, length: float, depth: float, shop: Shop) -> KeySize | None:
    """A size in the shape's proportions, its waist opened for the bit; None where it cannot be cut."""
    waist_ratio = shop.keys.waist_ratio if shop.keys.waist_ratio is not None else form.waist_ratio
    width_ratio = shop.keys.width_ratio if shop.keys.width_ratio is not None else form.width_ratio
    waist = max(_half(waist_ratio * length), _half_up(LEAST_WAIST_BITS * shop.bit.diameter))
    width = max(_half(width_ratio * length), _half_up(waist + LEAST_OPENING * length))
    if width > MOST_WIDTH_SHARE * length:
        return None
    size = KeySize("", length, width, waist, depth, form.name)
    try:
        size.key_shape(shop)
    except KeyShapeError:
        return None
    return size


def _half(mm: float) -> float:
    return round(mm * 2.0) / 2.0


def _half_up(mm: float) -> float:
    return math.ceil(mm * 2.0 - 1e-9) / 2.0
