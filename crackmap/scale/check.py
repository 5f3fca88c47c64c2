"""A taped distance between two marks against the photo's own."""

from __future__ import annotations

import numpy as np

from crackmap.errors import ScaleError
from crackmap.scale.budget import spread_at
from crackmap.scale.fit import Fit
from crackmap.scale.marks import MarkChoice
from crackmap.settings import MarkDistance

DISAGREES = 3.0  # sigmas, both errors together; beyond it one of the two is wrong


def check_notes(fit: Fit, choice: MarkChoice, distances: tuple[MarkDistance, ...]) -> tuple[str, ...]:
    """A sentence for each taped distance: what the photo says, and whether they agree.

    Raises
    ------
    ScaleError
        If one disagrees by more than three sigma, both errors together.
    """
    return tuple(_compared(fit, choice, *distance) for distance in distances)


def demand_tape_agrees(fit: Fit) -> None:
    """Refuse taped distances that the printed size contradicts.

    The fit shares a contradiction out in silence: both would be bent until they meet.

    Raises
    ------
    ScaleError
        If the size that fits best lies more than three sigma from the one given.
    """
    problem = fit.problem
    if not problem.distances:
        return
    size_log = float(fit.unknowns[problem.camera_size])
    if abs(size_log) > DISAGREES * max(problem.priors.print_sigma, 1e-6):
        given = problem.targets[0].size_mm[0]
        raise ScaleError(
            f"the taped distance and the marker size contradict each other: to fit both, a marker of {given:g} mm "
            f"would have to measure {given * np.exp(size_log):.2f} mm; measure the printed black square "
            "(--marker-size) and tape the distance between the markers' centres again.")


def _compared(fit: Fit, choice: MarkChoice, first: int, second: int, taped: float, taped_sigma: float) -> str:
    ids = [t.id for t in fit.problem.targets]
    if first not in ids or second not in ids:
        return f"The check from marker {first} to marker {second} could not be made: one of them was left out."
    ends = fit.places[[ids.index(first), ids.index(second)], :2]
    seen = spread_at(fit, choice, fit.camera.see(np.c_[ends, np.zeros(2)]))
    apart = seen.points[1] - seen.points[0]
    measured = float(np.hypot(*apart))
    own_sigma = float(np.linalg.norm((apart / measured) @ (seen.modes[1] - seen.modes[0])))
    off, sigma = measured - taped, float(np.hypot(own_sigma, taped_sigma))
    if abs(off) > DISAGREES * sigma:
        raise ScaleError(
            f"from marker {first} to marker {second} the photo reads {measured:.1f} mm but {taped:.1f} mm was taped, "
            f"{abs(off):.1f} mm apart where both together should be within {DISAGREES * sigma:.1f} mm; check the "
            "marker size (measure the print), that the markers lie flat on the show face, and the tape.")
    return (f"Check from marker {first} to marker {second}: the photo reads {measured:.1f} mm, taped {taped:.1f} mm; "
            f"{abs(off):.1f} mm apart, within what both allow ({2 * sigma:.1f} mm at two sigma)."
            if abs(off) <= 2 * sigma else
            f"Check from marker {first} to marker {second}: the photo reads {measured:.1f} mm, taped {taped:.1f} mm; "
            f"{abs(off):.1f} mm apart is more than two sigma ({2 * sigma:.1f} mm): measure again before cutting.")
