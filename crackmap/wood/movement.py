"""How much a slab shrinks and swells across its grain."""

from __future__ import annotations

import math
from dataclasses import dataclass

from crackmap.errors import WoodError
from crackmap.wood.moisture import checked_moisture
from crackmap.wood.species import Species

_LINEAR_FROM, _LINEAR_TO = 6.0, 14.0  # where the coefficients hold [% moisture]


@dataclass(frozen=True, slots=True)
class Movement:
    """Change of a width between two moistures; negative is shrinking."""

    change_mm: float  # for the ring angle asked for, or the middle of the range
    least_mm: float  # quarter-sawn
    most_mm: float  # flat-sawn
    method: str


def movement(species: Species, width_mm: float, moisture_from: float, moisture_to: float,
             ring_angle_deg: float | None = None) -> Movement:
    """Change of `width_mm`, across the grain, from one moisture to another.

    Parameters
    ----------
    species : Species
    width_mm : float
        Across the grain. [mm]
    moisture_from, moisture_to : float
        0 to 30. [%]
    ring_angle_deg : float, optional
        Angle between the growth rings and the wide face, 0 flat-sawn to 90
        quarter-sawn; None where unknown. [deg]

    Raises
    ------
    WoodError
        Moisture outside 0 to 30 %, an angle outside 0 to 90, or a wood without figures.

    Notes
    -----
    Between 6 and 14 % the dimensional change coefficients, a straight line;
    outside, the shrinkage from green to oven-dry shared out evenly below fibre
    saturation. Between the two ring angles strain turns as a tensor does:
    C = C_T cos^2 a + C_R sin^2 a.

    References
    ----------
    .. [1] Wood Handbook, FPL-GTR-190 (2010), ch. 4 and 13, Eq. 13-1 and 13-2
       (the general one from memory; it follows from an even shrinkage).
    """
    start = checked_moisture(moisture_from, "moisture now")
    end = checked_moisture(moisture_to, "moisture to come")
    if not (math.isfinite(width_mm) and width_mm > 0.0):
        raise WoodError(f"a width of {width_mm:g} mm has no movement; it must be more than zero.")
    radial, tangential, method = _strains(species, start, end)
    ends = (radial * width_mm, tangential * width_mm)
    change = (sum(ends) / 2.0 if ring_angle_deg is None
              else width_mm * strain_at(radial, tangential, ring_angle_deg))
    return Movement(change, min(ends, key=abs), max(ends, key=abs), method)


def strain_at(radial: float, tangential: float, ring_angle_deg: float) -> float:
    """Strain across a board whose rings stand at an angle to its wide face. [-]

    Raises
    ------
    WoodError
        If the angle is outside 0 to 90 degrees.
    """
    if not 0.0 <= ring_angle_deg <= 90.0:
        raise WoodError(f"a ring angle of {ring_angle_deg:g} degrees is outside 0 (flat-sawn) to 90 "
                        "(quarter-sawn).")
    a = math.radians(ring_angle_deg)
    return tangential * math.cos(a) ** 2 + radial * math.sin(a) ** 2


def _strains(species: Species, start: float, end: float) -> tuple[float, float, str]:
    both_linear = min(start, end) >= _LINEAR_FROM and max(start, end) <= _LINEAR_TO
    if both_linear and species.change_radial is not None and species.change_tangential is not None:
        step = end - start
        return species.change_radial * step, species.change_tangential * step, "coefficients of change"
    if species.shrinkage_radial is None or species.shrinkage_tangential is None:
        raise WoodError(f"no shrinkage is tabulated for {species.name}; give moistures between 6 and 14 %, "
                        "or a related wood.")
    return (_even_shrinkage(species.shrinkage_radial, species.fibre_saturation, start, end),
            _even_shrinkage(species.shrinkage_tangential, species.fibre_saturation, start, end),
            f"shrinkage from green to oven-dry, shared out evenly below {species.fibre_saturation:.0f} % "
            "(from memory)")


def _even_shrinkage(shrinkage_percent: float, saturation: float, start: float, end: float) -> float:
    below_start, below_end = min(start, saturation), min(end, saturation)
    return (below_end - below_start) / (100.0 * saturation / shrinkage_percent - saturation + below_start)
