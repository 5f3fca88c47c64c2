"""From the slab frame to the machine's, by jogging to the two datum marks.

Two marks fix a rigid transform and leave one number over: the distance between
them, measured by the photo and by the machine. Their difference is a check of
the photo's scale by something that knows nothing of photos.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crackmap.errors import ScaleError
from crackmap.records import FloatArray, frozen_array

# A pointed bit brought over a pricked mark by eye, each axis (common practice, no source). [mm]
JOG_SIGMA = 0.15
SIGMAS = 3.0  # beyond chance
LEAST_LIMIT = 0.5  # the wood itself moves and marks are pricked about this well [mm]
LEAST_DISTANCE = 20.0  # closer marks turn a slab by a degree for a third of a millimetre [mm]
_INCH = 25.4
_FARTHEST = 1e6  # a kilometre: no machine reads more [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """Slab millimetres to machine millimetres, and whether to trust it."""

    matrix: FloatArray  # (3, 3) slab (x, y, 1) to machine (x, y, 1), rigid [mm]
    rotation_deg: float  # of the slab's x axis in the machine's frame, anticlockwise
    translation: FloatArray  # (2,) of the slab's origin in the machine's frame [mm]
    distance_slab: float  # A to B by the photo [mm]
    distance_machine: float  # A to B by the machine [mm]
    limit: float  # greatest difference that passes [mm]
    difference_sigma: float  # expected of the difference, one sigma [mm]
    rotation_sigma_deg: float  # from jogging
    hint: str = ""  # a likely mistake, where the difference suggests one

    @property
    def difference(self) -> float:
        """Machine's distance less the photo's. [mm]"""
        return self.distance_machine - self.distance_slab

    @property
    def agrees(self) -> bool:
        """True if the two distances agree within the limit."""
        return abs(self.difference) <= self.limit

    def to_machine(self, points: ArrayLike) -> FloatArray:
        """Machine coordinates of slab points, shape (N, 2). [mm]"""
        slab = np.asarray(points, float).reshape(-1, 2)
        return np.asarray(slab @ self.matrix[:2, :2].T + self.matrix[:2, 2])


def align(
    a: ArrayLike, b: ArrayLike, reading_a: ArrayLike, reading_b: ArrayLike, scale_sigma_percent: float,
    jog_sigma: float = JOG_SIGMA,
) -> Alignment:
    """The rigid transform that takes marks A and B to the machine's readings.

    The transform turns and shifts, it never stretches: pockets keep their size.
    Where the two distances differ, the difference is shared between both ends.

    Parameters
    ----------
    a, b : array_like, shape (2,)
        The datum marks in the slab frame. [mm]
    reading_a, reading_b : array_like, shape (2,)
        Where the machine stood over them. [mm]
    scale_sigma_percent : float
        Of the photo's scale, one sigma. [%]
    jog_sigma : float
        Of each reading, each axis, one sigma. [mm]

    Returns
    -------
    Alignment
        Its limit is the larger of 3 sigma of the difference, jogging included,
        and 0.5 mm.

    Raises
    ------
    ScaleError
        If a coordinate is no finite number, the readings coincide, or the marks
        are too near to each other to give a direction.
    """
    marks = [np.asarray(p, float).reshape(2) for p in (a, b, reading_a, reading_b)]
    if not all((np.abs(p) < _FARTHEST).all() for p in marks) or not (jog_sigma >= 0 and scale_sigma_percent >= 0):
        raise ScaleError("a mark or reading is no number below a kilometre; give both readings as X,Y, as in "
                         "--a 12.50,40.25")
    slab, machine = marks[1] - marks[0], marks[3] - marks[2]
    distance_slab, distance_machine = float(np.hypot(*slab)), float(np.hypot(*machine))
    for distance, whose in ((distance_slab, "the datum marks of this job are"),
                            (distance_machine, "the two readings are")):
        if distance < LEAST_DISTANCE:
            raise ScaleError(f"{whose} only {distance:.2f} mm apart, too near to give a direction "
                             f"({LEAST_DISTANCE:g} mm are needed); jog to mark A and mark B and read both "
                             "again.")
    angle = math.atan2(machine[1], machine[0]) - math.atan2(slab[1], slab[0])
    angle = math.remainder(angle, 2 * math.pi)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    shift = (marks[2] + marks[3]) / 2 - turn @ (marks[0] + marks[1]) / 2
    matrix = np.vstack([np.c_[turn, shift], [0.0, 0.0, 1.0]])
    sigma = math.hypot(math.sqrt(2) * jog_sigma, distance_slab * scale_sigma_percent / 100)
    limit = max(SIGMAS * sigma, LEAST_LIMIT)
    agrees = abs(distance_machine - distance_slab) <= limit
    return Alignment(frozen_array(matrix), math.degrees(angle), frozen_array(shift), distance_slab,
                     distance_machine, limit, sigma,
                     rotation_sigma_deg=math.degrees(math.sqrt(2) * jog_sigma / distance_machine),
                     hint="" if agrees else _likely_mistake(distance_machine / distance_slab))


def _likely_mistake(ratio: float) -> str:
    """What usually makes the machine's distance `ratio` times the photo's."""
    for factor, unit in ((1 / _INCH, "inches"), (0.1, "centimetres"), (0.001, "metres")):
        if abs(ratio / factor - 1) < 0.02:
            return (f"The readings look like {unit}; give the unit with them, or read the machine in "
                    "millimetres.")
    if abs(ratio - _INCH) / _INCH < 0.02:
        return "The readings look like millimetres taken for inches; give the unit with them."
    if abs(ratio - 1) < 0.05:
        return ("The scale of the photo is off, or a mark was missed: measure a printed marker and give "
                "--marker-size, or jog again.")
    return "One of the readings is wrong, or belongs to another mark: jog to both again."
