"""The holding of a whole placement: each crack with its keys, checks and advice put beside them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from crackmap.errors import KeyShapeError, WoodError
from crackmap.keys.advice import keying_advice, restraint_note
from crackmap.keys.strength import (
    DRY_ENOUGH,
    HeldCrack,
    Holding,
    holding_basis,
    holding_checks,
    holding_reasons,
    reckon_holding,
)
from crackmap.records import Check, FloatArray, Key, Placement
from crackmap.shop import Shop
from crackmap.wood.moisture import equilibrium_moisture
from crackmap.wood.species import Species, species_named

_OPEN_ENDS = ("edge", "border", "void")  # where a crack's lips are free


class Line(Protocol):
    """What a maker sees as one crack, branches joined: as the placement stage keeps it.

    `ends` begins with the more open end; arrays have N entries.
    """

    @property
    def cracks(self) -> tuple[str, ...]:
        """Ids of the surveyed cracks along it."""

    @property
    def points(self) -> FloatArray:
        """(N, 2) [mm]"""

    @property
    def arc(self) -> FloatArray:
        """Distance along it from its start, (N,). [mm]"""

    @property
    def width(self) -> FloatArray:
        """(N,) [mm]"""

    @property
    def ends(self) -> tuple[str, str]:
        """Kinds of its ends: edge, border, void, junction or tip."""


@dataclass(frozen=True, slots=True)
class _Slab:
    """What the reckoning needs of slab and shop."""

    thickness: float
    wood: Species
    key_wood: Species
    moisture_now: float | None
    moisture_to_come: float | None


def with_holding(placement: Placement, lines: Iterable[Line], outline: FloatArray, shop: Shop,
                 thickness_mm: float) -> Placement:
    """The placement with a holding check and its figures on every key and, where it matters, a warning.

    Where the shop file does not name the slab's wood nothing can be reckoned
    and the placement comes back as it is; a wood without the figures needed
    adds a warning that says which.

    Parameters
    ----------
    placement : Placement
    lines : iterable of Line
        The cracks that its keys name.
    outline : ndarray, shape (N, 2)
        Of the slab. [mm]
    shop : Shop
        `wood` and `keys.key_wood`, which falls back on the slab's wood.
    thickness_mm : float
        Of the slab. [mm]

    Raises
    ------
    WoodError
        If a wood of the shop file is unknown, or moisture or climate are out of range.
    """
    if not shop.wood.species:
        return placement
    slab = _slab(shop, thickness_mm)
    found: dict[str, list[tuple[Check, str]]] = {key.id: [] for key in placement.keys}
    said = list(keying_advice(None, moisture_now=slab.moisture_now, moisture_to_come=slab.moisture_to_come))
    reckoned = False
    for line in lines:
        name = "+".join(line.cracks)
        keys = [key for key in placement.keys if set(key.cracks) & set(line.cracks)]
        try:
            holding = _hold_line(line, keys, slab)
        except (WoodError, KeyShapeError) as problem:
            said.append(f"Holding of {name} not reckoned: {problem}")
            continue
        share, straying = _split(line, outline)
        opened = all(end in _OPEN_ENDS for end in line.ends)
        said += [f"{name}: {words}" for words in keying_advice(holding, split_share=share, straying=straying,
                                                               no_tip=opened and bool(keys))]
        if holding is None:
            continue
        reckoned = True
        for key, check, reason in zip(keys, holding_checks(holding), holding_reasons(holding), strict=True):
            found[key.id].append((check, f"{name}: {reason}"))
    said += _restraint(placement, slab)
    keys_checked = tuple(_with_worst(key, found[key.id]) for key in placement.keys)
    return replace(placement, keys=keys_checked, warnings=(*placement.warnings, *dict.fromkeys(said)),
                   basis=holding_basis(slab.wood, slab.key_wood) if reckoned else ())


def _with_worst(key: Key, found: list[tuple[Check, str]]) -> Key:
    """The key with its check and reason; one across two cracks keeps those nearer to failing."""
    if not found:
        return key
    check, reason = min(found, key=lambda each: float(each[0].value) / float(each[0].limit))
    return replace(key, checks=(*key.checks, check), reasons=(*key.reasons, reason))


def _hold_line(line: Line, keys: list[Key], slab: _Slab) -> Holding | None:
    """The reckoning for one line; None without keys, or where neither end is a tip to relieve.

    Raises
    ------
    WoodError, KeyShapeError
        If a figure is not tabulated.
    """
    if not keys or line.ends[1] != "tip":
        return None
    at = [_arc_near(line, key.centre) for key in keys]
    widths = np.interp(at, line.arc, line.width)
    held = HeldCrack(float(line.arc[-1]), line.ends[0] != "tip", tuple(at), tuple(key.shape for key in keys),
                     tuple(widths.tolist()))
    return reckon_holding(held, slab.thickness, slab.wood, slab.key_wood, slab.moisture_now,
                          slab.moisture_to_come)


def _slab(shop: Shop, thickness_mm: float) -> _Slab:
    wood = species_named(shop.wood.species)
    key_wood = species_named(shop.keys.key_wood) if shop.keys.key_wood else wood
    humidity = shop.wood.room_humidity_percent
    to_come = None if humidity is None else equilibrium_moisture(shop.wood.room_temperature_c, humidity)
    return _Slab(thickness_mm, wood, key_wood, shop.wood.moisture_percent, to_come)


def _arc_near(line: Line, centre: FloatArray) -> float:
    """Distance along the line of its point nearest to `centre`. [mm]"""
    start, step = line.points[:-1], np.diff(line.points, axis=0)
    lengths = np.hypot(*step.T)
    share = np.clip(np.sum((centre - start) * step, axis=1) / np.maximum(lengths**2, 1e-12), 0.0, 1.0)
    nearest = int(np.argmin(np.hypot(*(start + share[:, None] * step - centre).T)))
    return float(line.arc[nearest] + share[nearest] * (line.arc[nearest + 1] - line.arc[nearest]))


def _split(line: Line, outline: FloatArray) -> tuple[float, float]:
    """How much of the slab the line runs along, and how far it strays from straight, as shares. [-]"""
    chord = line.points[-1] - line.points[0]
    length = float(np.hypot(*chord))
    if length < 1e-9:
        return 0.0, 1.0
    along = chord / length
    off = (line.points - line.points[0]) @ np.array([-along[1], along[0]])
    return length / float(np.ptp(outline @ along)), float(np.abs(off).max()) / length


def _restraint(placement: Placement, slab: _Slab) -> list[str]:
    if not placement.keys or slab.moisture_now is None or slab.moisture_to_come is None:
        return []
    if abs(slab.moisture_now - slab.moisture_to_come) < DRY_ENOUGH:
        return []  # a slab at rest in its room moves too little to be worth a line
    longest = max(key.shape.length for key in placement.keys)
    try:
        return [restraint_note(slab.wood, longest, slab.moisture_now, slab.moisture_to_come)]
    except WoodError:
        return []  # without shrinkage figures there is nothing to say
