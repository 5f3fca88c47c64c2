"""The stage: which pockets are cut in which set-up, and by which marks the slab is found."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from crackmap.frames import long_axis_of
from crackmap.records import FloatArray, Key, Setup, SetupMark, Survey, frozen_array
from crackmap.settings import CuttingSettings
from crackmap.setups.cover import fewest_spots, shared_out
from crackmap.setups.find_again import Finder, Lying, as_setup_marks
from crackmap.setups.marks import standing_marks
from crackmap.setups.spots import BoolArray, Lie, Spot, lie_of, lies_on, slack, spots_of
from crackmap.shop import Bed
from crackmap.units import show_length

_SQUARE = (0.0, 180.0, 90.0, -90.0)  # turns tried first, from the slab lying lengthwise [deg]
# And where these leave something out or ask for more than two set-ups.
_SKEW = tuple(float(sign * a) for a in (15, 30, 45, 60, 75) for sign in (1, -1))


@dataclass(frozen=True, slots=True)
class Division:
    """The set-ups, and the pockets that none of them reaches."""

    setups: tuple[Setup, ...]
    no_setup: tuple[tuple[str, str], ...]  # key and why


def divide_into_setups(survey: Survey, keys: Sequence[Key], bed: Bed | None, settings: CuttingSettings,
                       units: str = "mm") -> Division:
    """As few set-ups as reach every pocket, each with two marks to find the slab by.

    The number of set-ups is the least there is for the turns tried: square to
    the bed and, where that does not do in two, in steps of 15 degrees. The
    slab may hang over the bed's open sides.

    Parameters
    ----------
    survey, keys
        The slab with its marks, and its pockets.
    bed : Bed or None
        The machine's working area; None where the shop file has none: then there are no set-ups.
    settings : CuttingSettings
        `placing`, `clamp_room`, `mark_distance`, `mark_margin`.
    units : {"mm", "in"}
        Of the reasons in words.
    """
    if bed is None or not keys:
        return Division((), ())
    bed = _with_room(bed, settings.clamp_room)
    home = -long_axis_of(survey.outline)
    marks = np.array([point.at for point in standing_marks(survey)])

    def lie_at(turn: float) -> Lie:
        return lie_of(survey.outline, keys, marks, (home + turn + 180.0) % 360.0 - 180.0)

    spots, chosen, reached = _chosen(lie_at, len(keys), bed, settings, home)
    shares = shared_out(chosen, np.array([bed.x, bed.y]) / 2.0) if chosen else []
    lyings = [_centred(spot, share, bed, settings) for spot, share in zip(chosen, shares, strict=True) if share.any()]
    ordered = Finder(survey, keys, bed, settings).in_order(lyings)
    own_marks, drills = as_setup_marks(ordered)
    setups = tuple(_setup(number, *each, keys, bed)
                   for number, each in enumerate(zip(ordered, own_marks, drills, strict=True), 1))
    lost = [place for place in range(len(keys)) if not reached[place]]
    return Division(setups, tuple((keys[p].id, _why_not(p, [lie_at(t) for t in _SQUARE], bed, settings, units))
                                  for p in lost))


def _with_room(bed: Bed, room: float) -> Bed:
    """The bed with its clamps grown by what must stay free round them. [mm]"""
    clamps = tuple((x - room, y - room, long + 2.0 * room, wide + 2.0 * room) for x, y, long, wide in bed.clamps)
    return replace(bed, clamps=clamps)


def _chosen(lie_at: Callable[[float], Lie], count: int, bed: Bed, settings: CuttingSettings,
            home: float) -> tuple[list[Spot], list[Spot], BoolArray]:
    """All spots looked at, those chosen, and which pockets they reach."""
    spots: list[Spot] = []
    chosen: list[Spot] = []
    reached: BoolArray = np.zeros(count, bool)
    for turns in (_SQUARE, _SKEW):
        for turn in turns:
            spots += spots_of(lie_at(turn), bed, settings.placing)
        if spots:
            reached = np.asarray(np.array([spot.pockets for spot in spots]).any(axis=0), bool)
            chosen = fewest_spots(spots, reached, home)
        if reached.all() and len(chosen) <= 2:
            break
    return spots, chosen, reached


def _centred(spot: Spot, share: BoolArray, bed: Bed, settings: CuttingSettings) -> Lying:
    """A spot slid to the middle of what its pockets, and the marks in reach, allow."""
    ends = slack(spot, bed, settings.placing, share, spot.marks)
    low, high = ends[:, 0], ends[:, 1]
    middle = np.where(np.isfinite(low) & np.isfinite(high), (low + high) / 2.0, np.where(np.isfinite(low), low, high))
    return Lying(spot, share, middle)


def _setup(number: int, lying: Lying, marks: tuple[SetupMark, ...], drills: tuple[SetupMark, ...],
           keys: Sequence[Key], bed: Bed) -> Setup:
    turn = lying.spot.lie.turn_deg
    a = np.radians(turn)
    x, y = (round(float(s), 3) for s in lying.shift)
    matrix = [[np.cos(a), -np.sin(a), x], [np.sin(a), np.cos(a), y], [0.0, 0.0, 1.0]]
    x0, y0, x1, y1 = lying.spot.lie.slab
    over = (-(x0 + x), x1 + x - bed.x, -(y0 + y), y1 + y - bed.y)
    left, right, front, back = (max(0.0, float(each)) for each in over)
    return Setup(number, tuple(key.id for key, is_cut in zip(keys, lying.pockets, strict=True) if is_cut),
                 frozen_array(matrix), turn, marks, drills, (left, right, front, back))


def _why_not(place: int, lies: Sequence[Lie], bed: Bed, settings: CuttingSettings, units: str) -> str:
    """Why a pocket is in no set-up, and what would help."""
    def shown(*lengths: float) -> str:
        return " x ".join(show_length(each, units, 0) for each in lengths)

    def sides(box: FloatArray) -> tuple[float, float]:
        return float(box[2] - box[0]), float(box[3] - box[1])

    if not any(lies_on(lie, bed) for lie in lies):
        return (f"the slab, {shown(*sides(lies[0].slab))}, does not lie on a bed of {shown(bed.x, bed.y)}; "
                "name the sides it may hang over as open_sides in [bed] of the shop file")
    reach = bed.x - 2.0 * settings.placing, bed.y - 2.0 * settings.placing
    boxes = [sides(lie.pockets[place]) for lie in lies]
    if not any(width <= reach[0] and height <= reach[1] for width, height in boxes):
        return (f"its pocket, {shown(*boxes[0])}, does not fit into the machine's reach of "
                f"{shown(*reach)}: the bed of {shown(bed.x, bed.y)} less {shown(settings.placing)} all round")
    if bed.clamps and any(spot.pockets[place] for lie in lies
                          for spot in spots_of(lie, replace(bed, clamps=()), settings.placing)):
        return "a clamp stands in its way wherever the slab can lie; move the clamps of [bed] in the shop file"
    return ("the bed's closed sides keep it out of reach however the slab lies; name a side it may hang over in "
            "open_sides in [bed] of the shop file")
