"""Do the keys hold the crack? Advisory figures, not structural design.

Drying further, a slab pulls a crack open. Three figures for that pull:

1. Full restraint: the stiffness across the grain times the shrinkage, over the
   crack's area. Far more than wood bears across its grain, so of no use as a
   bound; shown to say so.
2. What the tip can bear: the stress at which the crack runs on with no key,
   K_Ic / (1.12 sqrt(pi a)), over the crack's area. The crack stands still, so
   today's pull is no more than that.
3. What the keys get: tip and keys share the pull (see `fracture`). The keys
   relieve the tip, so with them the crack runs at a higher stress.

A key is judged by its share of the second, with a factor of safety; the stress
at which the crack would run on past the keys, and their load then, is given
beside it. Less drying to come than that, less load.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crackmap.errors import WoodError
from crackmap.keys.capacity import KeyCapacity, key_capacity, key_flexibility
from crackmap.keys.fracture import (
    CrackedSlab,
    KeyedCrack,
    intensity_of_stress,
    keyed_crack,
    stiffness_for_crack,
)
from crackmap.records import Check, KeyShape
from crackmap.wood.moisture import checked_moisture
from crackmap.wood.movement import movement
from crackmap.wood.species import Species

ADVISORY = ("Holding figures are advisory, not structural design: clear, sound wood, one crack, a flat "
            "problem. Where people depend on it, ask an engineer.")
ASSUMPTIONS = (
    "the crack runs along the grain and opens along the rings; its pull is even along it",
    "stress intensities of an isotropic solid with wood's stiffness; for an edge crack an approximation",
    "each key acts through the whole thickness though its pocket does not; below its floor the crack opens "
    "more",
    "no relief by creep, which lowers the pull over weeks",
    "sound, straight-grained wood; strengths less what one piece in twenty falls short and ten years under "
    "load take",
)
_MOST_FACTOR = 99.0  # a factor above this is written as this
DRY_ENOUGH = 2.0  # moisture above the room's equilibrium at which keying is early (our choice) [%]


@dataclass(frozen=True, slots=True)
class KeyLoad:
    """One key's share."""

    force_n: float  # of the pull that the tip can bear without keys, or of the drying to come if less [N]
    force_when_running_n: float  # when the crack runs on past the keys, or of the drying to come if less [N]
    capacity: KeyCapacity
    factor: float  # of safety, on the mean strength of its weakest mode [-]

    @property
    def holds(self) -> bool:
        """True where the factor covers the wood's spread and long loading."""
        return self.factor >= self.capacity.wanted_factor - 1e-9


@dataclass(frozen=True, slots=True)
class Holding:
    """The reckoning for one crack and its keys."""

    full_restraint_n: float | None  # None where the drying to come is not known [N]
    tip_bound_n: float  # [N]
    run_stress_without: float  # at which the crack runs on with no key [MPa]
    run_stress_with: float  # and with these keys [MPa]
    reckoned_stress: float  # by which the keys are judged [MPa]
    loads: tuple[KeyLoad, ...]

    @property
    def holds(self) -> bool:
        """True where every key bears its share."""
        return bool(self.loads) and all(load.holds for load in self.loads)

    @property
    def relief(self) -> float:
        """How many times the stress the crack bears with the keys before it runs. [-]"""
        return self.run_stress_with / self.run_stress_without


@dataclass(frozen=True, slots=True)
class HeldCrack:
    """A crack and the keys across it; `at` is each key's distance from the open end (or one tip). [mm]"""

    length: float
    from_edge: bool
    at: tuple[float, ...]
    keys: tuple[KeyShape, ...]
    widths: tuple[float, ...]  # of the crack under each key


def reckon_holding(crack: HeldCrack, thickness_mm: float, slab_wood: Species, key_wood: Species,
                   moisture_now: float | None = None, moisture_to_come: float | None = None) -> Holding:
    """Share the pull of further drying between a crack's tip and its keys.

    Parameters
    ----------
    crack : HeldCrack
    thickness_mm : float
        Of the slab. [mm]
    slab_wood, key_wood : Species
    moisture_now, moisture_to_come : float, optional
        Of the slab now and in its room. Where either is left out, the keys are
        judged by what the tip can bear. [%]

    Raises
    ------
    WoodError
        If a figure of a wood is not tabulated, or a moisture lies outside 0 to 30 %.
    KeyShapeError
        If a key lies off the crack.
    """
    if slab_wood.toughness is None:
        raise WoodError(f"no toughness is known for {slab_wood.name}; name a related wood to reckon the "
                        "holding.")
    slab = CrackedSlab(crack.length, thickness_mm, stiffness_for_crack(slab_wood), crack.from_edge)
    shared = _shared(crack, slab, key_wood, slab_wood)
    without = slab_wood.toughness / float(intensity_of_stress(slab, 1.0))
    # Keys so close to the tip that they unload it wholly leave no stress at which it runs.
    with_keys = slab_wood.toughness / max(shared.intensity, 1e-3 * shared.intensity_without)
    drying = _full_restraint(slab_wood, moisture_now, moisture_to_come)
    reckoned, running = (each if drying is None else min(each, drying) for each in (without, with_keys))
    loads = tuple(_load(float(force), reckoned, running, key_capacity(key, key_wood, slab_wood, width))
                  for force, key, width in zip(shared.forces, crack.keys, crack.widths, strict=True))
    area = crack.length * thickness_mm
    return Holding(None if drying is None else drying * area, without * area, without, with_keys, reckoned,
                   loads)


def holding_checks(holding: Holding) -> tuple[Check, ...]:
    """One check for each key, in order: its factor of safety against the one wanted."""
    return tuple(
        Check("holding (advisory)", load.holds, round(min(load.factor, _MOST_FACTOR), 2),
              round(load.capacity.wanted_factor, 2), "",
              f"{_kn(load.force_n)} to hold; weakest: {load.capacity.weakest.name}, "
              f"{_kn(load.capacity.weakest.mean_n)} on average; not structural design")
        for load in holding.loads)


def holding_basis(slab_wood: Species, key_wood: Species) -> tuple[str, ...]:
    """What the holding figures rest on, to stand wherever they do: the caution, assumptions, stand-ins."""
    woods = {wood.name: wood.notes for wood in (slab_wood, key_wood) if wood.notes}
    return (ADVISORY, *(f"Assumed: {each}." for each in ASSUMPTIONS),
            *(f"Figures of {name}: {'; '.join(notes)}." for name, notes in woods.items()))


def holding_reasons(holding: Holding) -> tuple[str, ...]:
    """One sentence for each key, in order, with every figure of the reckoning."""
    restraint = ("" if holding.full_restraint_n is None else
                 "if nothing gave at all, the drying to come would pull with "
                 f"{_kn(holding.full_restraint_n)}, which is no use as a bound; ")
    return tuple(
        f"holding, advisory: {restraint}the crack's tip lets {_kn(holding.tip_bound_n)} build up before it "
        f"runs, of which this key takes {_kn(load.force_n)}; by {load.capacity.weakest.name} it bears "
        f"{_kn(load.capacity.weakest.mean_n)} on average; with these keys the crack runs at "
        f"{holding.relief:.1f} times the pull, {_kn(load.force_when_running_n)} on this key"
        for load in holding.loads)


def _kn(newtons: float) -> str:
    return f"{newtons / 1000.0:.2f} kN" if newtons < 10_000.0 else f"{newtons / 1000.0:.0f} kN"


def _shared(crack: HeldCrack, slab: CrackedSlab, key_wood: Species, slab_wood: Species) -> KeyedCrack:
    waists = np.array([key.waist for key in crack.keys], float)
    flexibility = np.array([key_flexibility(key, key_wood, slab_wood) for key in crack.keys], float)
    return keyed_crack(slab, np.array(crack.at, float), waists, flexibility)


def _full_restraint(wood: Species, now: float | None, to_come: float | None) -> float | None:
    """Stress if the slab could not shrink at all across the grain; 0 where it will swell. [MPa]"""
    if now is None or to_come is None:
        return None
    checked_moisture(now, "moisture now")
    checked_moisture(to_come, "moisture to come")
    shrinking = -movement(wood, 1.0, now, to_come, ring_angle_deg=0.0).change_mm
    assert wood.stiffness_tangential is not None
    return max(0.0, shrinking) * wood.stiffness_tangential


def _load(share: float, reckoned: float, running: float, capacity: KeyCapacity) -> KeyLoad:
    """`share` is the key's force for 1 MPa; a key that the others unload wholly gets none."""
    force = max(share * reckoned, 0.0)
    factor = float("inf") if force == 0.0 else capacity.weakest.mean_n / force
    return KeyLoad(force, max(share * running, 0.0), capacity, factor)
