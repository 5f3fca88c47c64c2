"""The stage: machine time of the pockets and keys of a plan, with a range.

A pocket is cleared layer by layer, each layer in rings a step-over apart from
the outline inwards; a key is cut round its outline, layer by layer. The time is

    path / feed + plunged depth / plunge + lifts + what corners cost

where a corner costs the time in which the machine slows down and speeds up
again. Feeds that the shop file does not give are taken from common practice,
slow and fast, and make the range.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from crackmap.keys.outline import to_polygon
from crackmap.records import CuttingTime, Key, KeyShape, StockLayout, TimeItem
from crackmap.shop import Bit, Machine, Shop

# Slow, likely, fast, for a bit of 6.35 mm in hardwood on a small belt-driven machine (common practice,
# no source: 1,000 to 1,500 mm/min, a straight plunge at 25 to 50 % of the feed, passes of half a diameter,
# 35 to 40 % step-over).
PRACTICE_FEED = (1000.0, 1250.0, 1500.0)  # [mm/min]
PRACTICE_PLUNGE_SHARE = (0.25, 0.35, 0.50)  # of the feed [-]
PRACTICE_PASS = 0.5  # of the bit's diameter [-]
PRACTICE_STEPOVER = (0.35, 0.40, 0.40)  # of the bit's diameter [-]
PRACTICE_BIT = 6.35  # that these are for [mm]
_CHORD = 0.05  # of arcs in paths [mm]
_ACCELERATION = (150.0, 300.0, 600.0)  # at corners, of such machines (a choice from no source) [mm/s2]
_CORNER = math.radians(20.0)  # a turn sharper than this slows the machine down (a choice)
# What a CAM program adds in links between rings, leads and a last round at full depth, of the path (a choice).
_ADDED = (1.25, 1.12, 1.0)
# Feeds that the shop file states are still not reached all the time (a choice).
_STATED = (0.85, 1.0, 1.1)


@dataclass(frozen=True, slots=True)
class _Paces:
    """One way to run the machine."""

    feed: float  # [mm/min]
    plunge: float  # [mm/min]
    stepover: float  # [-]
    acceleration: float  # [mm/s2]
    added: float  # [-]
    retracts: bool


@dataclass(frozen=True, slots=True)
class _Cut:
    """What the bit does for one pocket or key."""

    path: float  # of one layer [mm]
    corners: int  # of one layer
    starts: int  # plunges of one layer: one for each ring that is cut off from the others
    layers: int
    depth: float  # [mm]


def estimate_time(keys: Sequence[Key], stock: StockLayout | None, shop: Shop) -> CuttingTime | None:
    """Machine time of all pockets, and of the keys laid on boards; None where there are no keys.

    Parameters
    ----------
    keys, stock
        What is cut: pockets to their depth, keys to their thickness.
    shop : Shop
        The bit, and the machine's feeds where it states them.

    Notes
    -----
    Setting up, tool changes, and holding and freeing the work are left out.
    """
    if not keys:
        return None
    bit, machine = shop.bit, shop.machine
    slow, likely, fast = (_paces(machine, bit, place) for place in range(3))
    pass_depth = machine.pass_depth or PRACTICE_PASS * bit.diameter
    cut_keys = [key.shape for board in stock.boards for key in board.keys] if stock else []
    items = [_item("pockets", [key.shape for key in keys], True, bit, pass_depth, (fast, likely, slow), machine)]
    if cut_keys:
        items.append(_item("keys", cut_keys, False, bit, pass_depth, (fast, likely, slow), machine))
    return CuttingTime(tuple(items), (slow.feed, likely.feed, fast.feed), (slow.plunge, likely.plunge, fast.plunge),
                       pass_depth, likely.stepover, _notes(machine, bit))


def _paces(machine: Machine, bit: Bit, place: int) -> _Paces:
    """The slow (0), likely (1) or fast (2) way."""
    # Chip load, feed over teeth and turns, falls with a bit's strength: smaller bits are fed in
    # proportion to their diameter, larger ones no faster (a choice on the safe side).
    weaker = min(1.0, bit.diameter / PRACTICE_BIT)
    feed = PRACTICE_FEED[place] * weaker if machine.feed is None else machine.feed * _STATED[place]
    plunge = PRACTICE_PLUNGE_SHARE[place] * feed if machine.plunge is None else machine.plunge * _STATED[place]
    retracts = (place == 0) if machine.retract_each_pass is None else machine.retract_each_pass
    return _Paces(feed, plunge, machine.stepover or PRACTICE_STEPOVER[place],
                  machine.acceleration or _ACCELERATION[place], _ADDED[place], retracts)


def _item(name: str, shapes: list[KeyShape], is_pocket: bool, bit: Bit, pass_depth: float,
          paces: tuple[_Paces, _Paces, _Paces], machine: Machine) -> TimeItem:
    """All of one kind, each shape reckoned once."""
    counts: dict[tuple[bytes, float], tuple[KeyShape, int]] = {}
    for shape in shapes:
        form = (shape.pocket if is_pocket else shape.key).tobytes(), shape.depth
        counts[form] = shape, counts.get(form, (shape, 0))[1] + 1
    minutes = [0.0, 0.0, 0.0]
    path, plunges = 0.0, 0
    for shape, count in counts.values():
        for place, pace in enumerate(paces):
            cut = (_pocket_cut if is_pocket else _key_cut)(shape, bit, pass_depth, pace.stepover)
            minutes[place] += count * _minutes(cut, pace, machine)
            if place == 1:
                path += count * cut.path * cut.layers * pace.added
                plunges += count * cut.starts * cut.layers
    return TimeItem(name, len(shapes), minutes[0], minutes[1], minutes[2], path, plunges)


def _minutes(cut: _Cut, pace: _Paces, machine: Machine) -> float:
    layer_depth = cut.depth / cut.layers
    sideways = cut.path * cut.layers * pace.added / pace.feed
    # Without a retract the bit goes down where it is; with one it comes down from above the wood
    # at plunging feed, through what is already cut.
    falls = sum(machine.safe_height + layer_depth * layer for layer in range(cut.layers)) if pace.retracts else 0.0
    down = cut.starts * (cut.depth + falls) / pace.plunge
    lifts = cut.starts * (cut.layers if pace.retracts else 1)
    up = lifts * (machine.safe_height + cut.depth / 2.0) / machine.rapid
    # To stop from feed v at acceleration a and start again takes 2 v / a, and covers the ground of v / a of it.
    corners = cut.corners * cut.layers * (pace.feed / 60.0 / pace.acceleration) / 60.0
    return sideways + down + up + corners


def _pocket_cut(shape: KeyShape, bit: Bit, pass_depth: float, stepover: float) -> _Cut:
    """Rings from the outline inwards, a step-over apart, until nothing is left."""
    area = to_polygon(shape.pocket, _CHORD)
    path, corners, starts = 0.0, 0, 0
    inset = bit.diameter / 2.0
    last: shapely.Geometry = area
    while True:
        ring = shapely.buffer(area, -inset, quad_segs=8)
        if ring.is_empty:
            break
        parts = shapely.get_parts(ring)
        starts = max(starts, len(parts))
        path += float(shapely.length(ring))
        corners += sum(_corners(part) for part in parts)
        last = ring
        inset += stepover * bit.diameter
    if path == 0.0:  # the bit just fits: it runs along the middle
        path, starts = shape.length, 1
    path += 2.0 * math.sqrt(float(last.area)) if last is not area else 0.0
    return _Cut(path, corners, max(1, starts), _layers(shape.depth, pass_depth), shape.depth)


def _key_cut(shape: KeyShape, bit: Bit, pass_depth: float, _: float) -> _Cut:
    """Once round the outside, a bit's radius away."""
    round_it = shapely.buffer(to_polygon(shape.key, _CHORD), bit.diameter / 2.0, quad_segs=8)
    return _Cut(float(round_it.length), _corners(round_it), 1, _layers(shape.thickness, pass_depth), shape.thickness)


def _layers(depth: float, pass_depth: float) -> int:
    return max(1, math.ceil(depth / pass_depth - 1e-6))


def _corners(polygon: shapely.Polygon) -> int:
    """Turns of a ring sharp enough to slow a machine down."""
    points = shapely.get_coordinates(shapely.simplify(polygon.exterior, _CHORD))[:-1]
    if len(points) < 3:
        return 0
    way = np.roll(points, -1, axis=0) - points
    heading = np.arctan2(way[:, 1], way[:, 0])
    turn = (heading - np.roll(heading, 1) + np.pi) % (2.0 * np.pi) - np.pi
    return int((np.abs(turn) > _CORNER).sum())


def _notes(machine: Machine, bit: Bit) -> tuple[str, ...]:
    notes = ["Setting up, tool changes and freeing the keys are left out."]
    if machine.feed is None:
        notes.insert(0, "Feeds are common practice for small machines (no source), slow to fast; [machine] in the "
                        "shop file makes the range narrower.")
    if bit.diameter < 0.5 * PRACTICE_BIT:
        notes.append("So thin a bit breaks easily: its maker's figures come first.")
    return tuple(notes)
