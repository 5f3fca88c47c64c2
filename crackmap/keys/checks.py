"""Every rule that a key must keep, as data: name, ok, value, limit.

The outlines are measured as drawn, so a key whose shape or size came from the
user is judged by the same figures as one of ours.
"""

from __future__ import annotations

import numpy as np

from crackmap.keys.depth import LEAST_DEPTH_SHARE, MOST_DEPTH_SHARE
from crackmap.keys.family import needed_reach
from crackmap.keys.fit import PASSING_ROOM, drawn_gap
from crackmap.keys.outline import (
    Segments,
    distances_to,
    least_convex_radius,
    least_notch_radius,
    reach_tolerance,
    take_apart,
    to_points,
    turns_at_rows,
    unreached_area,
)
from crackmap.records import Check, FloatArray, KeyShape
from crackmap.shop import Bit, Fit, Shop

GAP_TOLERANCE = 0.005  # how far the drawn gap may stray from the one asked for [mm]
# How densely the outlines are walked when the gap is measured; the distances are exact. [mm]
_GAP_CHORDS = 0.3
_SHARP = 1e-4  # a turn above this is a corner [rad]


def check_key(key: KeyShape, shop: Shop, thickness_mm: float, crack_width: float = 0.0, *,
              from_below_mm: float = 0.0) -> tuple[Check, ...]:
    """All checks on one key that need no neighbours: bit, fit, depth and reach.

    Parameters
    ----------
    key : KeyShape
    shop : Shop
        The bit, fit and limits that apply.
    thickness_mm : float
        Of the slab. [mm]
    crack_width : float
        Where the key lies, over both cracks where it spans two. [mm]
    from_below_mm : float
        How far something on the other face reaches up under the key. [mm]
    """
    return (*outline_checks(key, shop.bit, shop.fit), *depth_checks(key, shop, thickness_mm, from_below_mm),
            reach_check(key, shop, crack_width))


def outline_checks(key: KeyShape, bit: Bit, fit: Fit) -> tuple[Check, ...]:
    """Can the bit cut pocket and key, and do they go together?"""
    pocket, own = take_apart(key.pocket), take_apart(key.key)
    radius = bit.diameter / 2.0
    corner, notch = least_convex_radius(pocket), least_notch_radius(own)
    left, most_left = unreached_area(pocket, bit.diameter), reach_tolerance(pocket)
    least, most = _gap(pocket, own)
    asked = drawn_gap(bit, fit)
    passing = bit.diameter + PASSING_ROOM
    return (
        Check("bit passes the waist", key.waist >= passing - 1e-9, key.waist, round(passing, 3),
              note="width of the pocket's waist, at least"),
        Check("pocket corners", corner >= radius - 1e-9, round(corner, 3), radius,
              note="smallest inside radius, at least the bit's"),
        Check("key notches", notch >= radius - 1e-9, round(notch, 3) if np.isfinite(notch) else "none",
              radius, note="smallest hollow radius, at least the bit's"),
        Check("pocket reached", left <= most_left, round(left, 2), round(most_left, 2), "mm2",
              "area the bit leaves standing, at most"),
        Check("gap least", least >= asked - GAP_TOLERANCE, round(least, 4), round(asked, 4),
              note=_gap_note(key)),
        Check("gap most", most <= asked + GAP_TOLERANCE, round(most, 4), round(asked, 4),
              note=_gap_note(key)),
    )


def _gap_note(key: KeyShape) -> str:
    where = "" if key.corners == "round" else ", away from the squared corners"
    return f"drawn gap a side between pocket and key{where}"


def depth_checks(key: KeyShape, shop: Shop, thickness_mm: float,
                 from_below_mm: float = 0.0) -> tuple[Check, ...]:
    """Is the pocket deep enough to hold, shallow enough to stand, and within the bit's reach?"""
    floor = thickness_mm - key.depth - from_below_mm
    share = key.depth / thickness_mm
    bit = shop.bit
    return (
        Check("depth within the bit", key.depth <= bit.cutting_length, key.depth, bit.cutting_length,
              note="pocket depth, at most the bit's cutting length"),
        Check("key within the bit", key.thickness <= bit.cutting_length, key.thickness, bit.cutting_length,
              note="key thickness, at most the bit's cutting length; saw thicker keys out"),
        Check("floor", floor >= shop.keys.least_floor - 1e-9, round(floor, 2), shop.keys.least_floor,
              note="wood left under the pocket, at least"),
        Check("depth at least a third", share >= LEAST_DEPTH_SHARE - 0.01, round(share, 3),
              round(LEAST_DEPTH_SHARE, 3), "of thickness", "common practice, no source"),
        Check("depth at most a half", share <= MOST_DEPTH_SHARE + 0.01, round(share, 3), MOST_DEPTH_SHARE,
              "of thickness", "common practice, no source"),
    )


def reach_check(key: KeyShape, shop: Shop, crack_width: float) -> Check:
    """Do the wings reach far enough into sound wood? `crack_width` in mm."""
    wing = (key.length - crack_width) / 2.0
    wanted = needed_reach(crack_width, shop.keys)
    return Check("wing reach", wing >= wanted - 1e-9, round(wing, 2), round(wanted, 2),
                 note=f"each wing past the lip of a {crack_width:.1f} mm crack, at least")


def measured_gap(key: KeyShape) -> tuple[float, float]:
    """Least and greatest distance between the two outlines, seen from either. [mm]

    Where the key's corners are square, its rounded or relieved pocket corners
    are left out.
    """
    return _gap(take_apart(key.pocket), take_apart(key.key))


def _gap(pocket: Segments, own: Segments) -> tuple[float, float]:
    seen = [(pocket, to_points(own, _GAP_CHORDS)), (own, to_points(pocket, _GAP_CHORDS))]
    corners = own.start[turns_at_rows(own) > _SHARP]
    if len(corners):
        # A fillet or relief arc, and the wall it eats, ends within four radii of its corner.
        away = 4.0 * least_convex_radius(pocket)
        seen = [(to, _far_from(points, corners, away)) for to, points in seen]
    both = np.concatenate([distances_to(to, points) for to, points in seen])
    return float(both.min()), float(both.max())


def _far_from(points: FloatArray, corners: FloatArray, away: float) -> FloatArray:
    distance = np.hypot(*np.moveaxis(points[:, None] - corners, 2, 0)).min(axis=1)
    return np.asarray(points[distance > away])
