"""Actions on keys: from the edits and what the page asked for to new edits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from shapely import LineString, Point

from crackmap.errors import ReviewError
from crackmap.records import AddedKey, Edits, FloatArray, Key, Survey, frozen_array
from crackmap.review.ask import Ask, Change

NEAR_A_CRACK = 40.0  # a point farther from every crack is not meant for one [mm]
_MOST_KEYS = 100  # on one crack


def add_key(ask: Ask) -> Change:
    """A key on the crack nearest to a point; size and angle are left to the tool."""
    centre = _on_nearest_crack(ask.survey, ask.asked.place("at"))
    added = AddedKey(centre)
    return Change(replace(ask.edits, keys=(*ask.edits.keys, added)), "added a key", touched=added)


def move_key(ask: Ask) -> Change:
    """A key somewhere else, or turned; from now on it is fixed.

    Raises
    ------
    ReviewError
        If neither a place nor a turn is given.
    """
    key = ask.key()
    asked = ask.asked
    if not asked.has("centre") and not asked.has("angle_deg"):
        raise ReviewError("Say where the key goes or how it is turned.")
    own = _pinned(ask, key)
    if asked.has("centre"):
        own = replace(own, centre=asked.place("centre"))
    if asked.has("angle_deg"):
        own = replace(own, angle_deg=round(asked.number("angle_deg", least=-360, most=360), 3))
    words = "moved" if asked.has("centre") else "turned"
    return _with_own(ask, key, own, f"{words} {key.id}")


def resize_key(ask: Ask) -> Change:
    """A key of another size: one of the family, or the user's own lengths.

    Raises
    ------
    ReviewError
        If neither a size nor a length is given.
    """
    key, asked = ask.key(), ask.asked
    own = _pinned(ask, key)
    if asked.has("size"):
        own = replace(own, size=asked.text("size"), length=None, width=None, waist=None, depth=None)
        return _with_own(ask, key, own, f"{key.id} made {own.size}")
    lengths: dict[str, Any] = {name: round(asked.number(name, least=0.1, most=2000.0), 3)
               for name in ("length", "width", "waist", "depth") if asked.has(name)}
    if not lengths:
        raise ReviewError("Give a size of the family, or a length, width, waist or depth.")
    if set(lengths) != {"depth"} and own.length is None:
        # The proportions that the user did not touch stay as they are.
        own = replace(own, size=None, length=key.shape.length, width=key.shape.width, waist=key.shape.waist)
    return _with_own(ask, key, replace(own, **lengths), f"resized {key.id}")


def shape_key(ask: Ask) -> Change:
    """A key of another shape."""
    key = ask.key()
    own = replace(_pinned(ask, key), shape=ask.asked.text("shape"))
    return _with_own(ask, key, own, f"{key.id} made {own.shape}")


def fix_key(ask: Ask) -> Change:
    """A key that stays where it is from now on, or a fixed one that is free again.

    Raises
    ------
    ReviewError
        If it is fixed, or free, already.
    """
    key = ask.key()
    if ask.asked.flag("fixed", True):
        if key.origin == "fixed":
            raise ReviewError(f"{key.id} is fixed already.")
        return _with_own(ask, key, _pinned(ask, key), f"fixed {key.id}")
    index = ask.users_own(key)
    if index is None or not ask.edits.keys[index].fixed:
        raise ReviewError(f"{key.id} is not fixed.")
    return Change(replace(ask.edits, keys=_without(ask.edits.keys, index)), f"freed {key.id}")


def refuse_key(ask: Ask) -> Change:
    """No key here: a suggestion is not made again near the place; a key that was only added goes."""
    key = ask.key()
    edits, index = ask.edits, ask.users_own(key)
    if index is not None:
        edits = replace(edits, keys=_without(edits.keys, index))
    if key.origin != "added":
        edits = _refused_at(edits, key.centre)
    return Change(edits, f"refused {key.id}")


def count_keys(ask: Ask) -> Change:
    """So many keys on a crack; none leaves it open, null takes the wish back."""
    crack = ask.crack()
    line = next((names for names in ask.lines if crack.id in names), frozenset({crack.id}))
    left = tuple(wish for wish in ask.edits.key_counts if nearest_crack(ask.survey, np.array(wish[:2])) not in line)
    if not ask.asked.has("keys"):
        return Change(replace(ask.edits, key_counts=left), f"keys on {crack.id} as suggested")
    keys = ask.asked.whole("keys", 0, _MOST_KEYS)
    middle = crack.centreline[len(crack.centreline) // 2].round(3)
    wish = (float(middle[0]), float(middle[1]), keys)
    words = f"left {crack.id} open" if keys == 0 else f"asked for {keys} on {crack.id}"
    return Change(replace(ask.edits, key_counts=(*left, wish)), words)


def nearest_crack(survey: Survey, point: FloatArray) -> str:
    """Id of the crack nearest to a point; empty where there is no crack. `point` has shape (2,). [mm]"""
    away = [(float(np.hypot(*(c.centreline - point).T).min()), c.id) for c in survey.cracks]
    return min(away, default=(0.0, ""))[1]


def _on_nearest_crack(survey: Survey, at: FloatArray) -> FloatArray:
    point = Point(at)
    lines = [LineString(c.centreline) for c in survey.cracks]
    line = min(lines, key=lambda each: each.distance(point), default=None)
    if line is None or line.distance(point) > NEAR_A_CRACK:
        raise ReviewError(f"No crack lies within {NEAR_A_CRACK:.0f} mm of that point; a key goes across a crack. "
                          "If there is one that was not found, draw it first.")
    return frozen_array(np.round(np.asarray(line.interpolate(line.project(point)).coords)[0], 3))


def _pinned(ask: Ask, key: Key) -> AddedKey:
    """A key of the plan as the user's own, just as it is now."""
    index = ask.users_own(key)
    own = AddedKey(key.centre) if index is None else ask.edits.keys[index]
    own = replace(own, centre=frozen_array(np.round(key.centre, 3)), angle_deg=round(key.angle_deg, 3), fixed=True)
    if own.size is None and own.length is None:
        own = replace(own, size=key.size_name)
    return own


def _with_own(ask: Ask, key: Key, own: AddedKey, words: str) -> Change:
    """The edits with `own` in the place of a key of the plan."""
    edits, index = ask.edits, ask.users_own(key)
    if index is None:
        moved = float(np.hypot(*(own.centre - key.centre)))
        if moved > ask.refusal_radius:
            edits = _refused_at(edits, key.centre)  # moved away for good: none is suggested here again
        keys = (*edits.keys, own)
    else:
        keys = (*edits.keys[:index], own, *edits.keys[index + 1:])
    return Change(replace(edits, keys=keys), words, frozenset({key.id}), own)


def _without(keys: tuple[AddedKey, ...], index: int) -> tuple[AddedKey, ...]:
    return keys[:index] + keys[index + 1:]


def _refused_at(edits: Edits, centre: FloatArray) -> Edits:
    return replace(edits, refused_keys=frozen_array(np.vstack([edits.refused_keys, np.round(centre, 3)])))
