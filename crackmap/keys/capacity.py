"""What one key can carry, mode by mode.

A key that is pulled can part at its neck, shear its head off along the grain,
crush the wood its shoulders bear on, or tear its glue line. Shoulders and glue
line are two ways for the load to get in; they differ too much in stiffness to be
added, so the better of them counts, and the neck must bear it in any case.
"""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry import LineString, box

from crackmap.errors import WoodError
from crackmap.keys.outline import to_polygon
from crackmap.published import (
    ROLLING_SHEAR_SHARE,
    TEN_YEAR_LOAD,
    VARIATION_BENDING,
    VARIATION_SHEAR,
    WANTED_BEARING_FACTOR,
)
from crackmap.records import KeyShape
from crackmap.wood.species import Species

# One piece in twenty is weaker than the mean by so many standard deviations (normal distribution, 5 % point).
_ONE_IN_TWENTY = 1.645
# Shear along a plane is never even; its peak over its mean, as in a beam of rectangular section.
SHEAR_PEAK = 1.5
_FAR = 1e4  # a line longer than any key [mm]


@dataclass(frozen=True, slots=True)
class Mode:
    """One way for a key to fail."""

    name: str
    mean_n: float  # force at which the average piece fails in a short test [N]
    design_n: float  # what it may be loaded with for years [N]
    area_mm2: float
    strength_mpa: float


@dataclass(frozen=True, slots=True)
class KeyCapacity:
    """What a key can carry and what gives first."""

    modes: tuple[Mode, ...]
    weakest: Mode

    @property
    def wanted_factor(self) -> float:
        """Factor of safety on the mean that spread and long loading call for. [-]"""
        return self.weakest.mean_n / self.weakest.design_n


def key_capacity(key: KeyShape, key_wood: Species, slab_wood: Species,
                 crack_width: float = 0.0) -> KeyCapacity:
    """What `key` can carry across a crack `crack_width` wide.

    Parameters
    ----------
    key : KeyShape
    key_wood, slab_wood : Species
    crack_width : float
        The part of the key's length that bears on nothing. [mm]

    Raises
    ------
    WoodError
        If a strength that is needed is not tabulated; names wood and figure.

    Notes
    -----
    - Neck: tension along the key's grain over the waist.
    - Head: two shear planes along the grain from the neck's sides to the key's end,
      the peak taken as 1.5 times the mean.
    - Shoulders: the head's width beyond the neck, pressed on the softer of the two
      woods across its grain; the slope's wedge and friction are left out. Crushing
      beds the key in and does not part it, so the mean counts, less a fixed factor.
    - Glue line: the floor under one wing, sheared across the fibres of the slab, as
      strong as that wood; walls left out, because half of each is end grain.
    """
    neck, head, shoulder, floor = bearing_areas(key, crack_width)
    across = min(_needed(key_wood, "compression_across"), _needed(slab_wood, "compression_across"))
    rolling = ROLLING_SHEAR_SHARE.value * _needed(slab_wood, "shear_along")
    in_tension, in_shear = _kept(VARIATION_BENDING.value), _kept(VARIATION_SHEAR.value)
    tension = _mode("tension in the neck", neck, _needed(key_wood, "tension_along"), in_tension)
    shear = _mode("shear along the head", head, _needed(key_wood, "shear_along") / SHEAR_PEAK, in_shear)
    bearing = _mode("bearing of the shoulders", shoulder, across, 1.0 / WANTED_BEARING_FACTOR.value)
    glue = _mode("glue line on the floor", floor, rolling / SHEAR_PEAK, in_shear)
    lock = min(shear, bearing, key=lambda mode: mode.design_n)
    grip = max(lock, glue, key=lambda mode: mode.design_n)
    weakest = min(tension, grip, key=lambda mode: mode.design_n)
    return KeyCapacity((tension, shear, bearing, glue), weakest)


def bearing_areas(key: KeyShape, crack_width: float) -> tuple[float, float, float, float]:
    """Areas that carry, for one wing: neck, both shear planes, both shoulders, floor. [mm2]"""
    outline = to_polygon(key.key, chord_tolerance=0.05)
    neck = outline.intersection(LineString([(0.0, -_FAR), (0.0, _FAR)])).length
    beyond = box(crack_width / 2.0, -_FAR, _FAR, _FAR)
    wing = outline.intersection(beyond)
    # A hair inside the neck's side, so that the line runs through the wood and not along its edge.
    plane = wing.intersection(LineString([(0.0, neck / 2.0 * 0.999), (_FAR, neck / 2.0 * 0.999)])).length
    low, high = outline.bounds[1], outline.bounds[3]
    return (neck * key.depth, 2.0 * plane * key.depth, max(0.0, high - low - neck) * key.depth, wing.area)


def key_flexibility(key: KeyShape, key_wood: Species, slab_wood: Species) -> float:
    """Stretch of the neck and of the wood that the shoulders bear on, for 1 N. [mm/N]

    The neck over half the key's length; each shoulder's bedding as a column half
    the head's width deep, of the slab's stiffness across the grain.
    """
    neck, _, shoulder, _ = bearing_areas(key, 0.0)
    along = _needed(key_wood, "stiffness_along")
    across = _needed(slab_wood, "stiffness_tangential")
    # A strap with hardly a shoulder beds through its glue line; a quarter of the head stands for it.
    bedding = max(shoulder, key.width * key.depth / 4.0)
    return key.length / 2.0 / (along * neck) + 2.0 * (key.width / 2.0) / (across * bedding)


def _kept(variation: float) -> float:
    """Share of a mean strength that nineteen pieces in twenty keep for ten years. [-]"""
    return (1.0 - _ONE_IN_TWENTY * variation) * TEN_YEAR_LOAD.value


def _mode(name: str, area: float, strength: float, kept: float) -> Mode:
    return Mode(name, area * strength, area * strength * kept, area, strength)


_FIGURES = {"compression_across": "strength in compression across the grain", "shear_along": "shear strength",
            "tension_along": "strength in tension", "stiffness_along": "stiffness along the grain",
            "stiffness_tangential": "stiffness across the grain"}


def _needed(species: Species, figure: str) -> float:
    value = getattr(species, figure)
    if value is None:
        raise WoodError(f"no {_FIGURES[figure]} is tabulated for {species.name}; name a related wood to "
                        "reckon the holding.")
    return float(value)
