"""The moisture that wood settles at, and whether a slab is dry enough."""

from __future__ import annotations

import math

from crackmap.errors import WoodError

LEAST_MOISTURE, MOST_MOISTURE = 0.0, 30.0  # what the tables span: oven-dry to fibre saturation [%]
_LEAST_C, _MOST_C = -1.2, 49.0  # of the table, 30 to 120 deg F [deg C]


def equilibrium_moisture(temperature_c: float, humidity_percent: float) -> float:
    """Moisture content that wood settles at in air of this temperature and humidity. [%]

    Parameters
    ----------
    temperature_c : float
        -1.1 to 48.9, the range of the table. [deg C]
    humidity_percent : float
        Relative humidity, 0 to 95. [%]

    Raises
    ------
    WoodError
        Outside that range.

    References
    ----------
    .. [1] Hailwood and Horrobin's two-hydrate equation with the coefficients of
       the Wood Handbook, FPL-GTR-190 (2010), Eq. 4-5; agrees with the 190 cells
       of its Table 4-2 within 0.055 % moisture.
    """
    if not (math.isfinite(temperature_c) and _LEAST_C <= temperature_c <= _MOST_C):
        raise WoodError(f"a temperature of {temperature_c:g} deg C is outside the table's -1 to 49 deg C.")
    if not (math.isfinite(humidity_percent) and 0.0 <= humidity_percent <= 95.0):
        raise WoodError(f"a relative humidity of {humidity_percent:g} % is outside the table's 0 to 95 %.")
    t, h = temperature_c, humidity_percent / 100.0
    w = 349.0 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    hydrate = (k1 * k * h + 2.0 * k1 * k2 * (k * h) ** 2) / (1.0 + k1 * k * h + k1 * k2 * (k * h) ** 2)
    return 1800.0 / w * (k * h / (1.0 - k * h) + hydrate)


def checked_moisture(percent: float, name: str = "moisture") -> float:
    """`percent`, if it lies where wood shrinks and swells. [%]

    Raises
    ------
    WoodError
        Outside 0 to 30 %.
    """
    if not (math.isfinite(percent) and LEAST_MOISTURE <= percent <= MOST_MOISTURE):
        raise WoodError(f"a {name} of {percent:g} % is outside 0 to 30 %; wetter wood does not shrink yet: "
                        "dry it first, and give the meter's reading in per cent of the dry weight.")
    return percent
