"""A plan taken up again after an edit: what the edit does not touch stays where it is."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from crackmap.placement.candidates import Pieces, own_places
from crackmap.placement.count_options import count_options
from crackmap.placement.crossings import Crossings, find_crossings
from crackmap.placement.ground import Ground, lay_ground
from crackmap.placement.place import every_place, in_words, is_welcome, pose_problem, settled, solve_with, weigh
from crackmap.placement.pockets import Pockets, gaps_of_pairs, lay_pockets
from crackmap.placement.relief import woods_of
from crackmap.placement.rules import keeping_all
from crackmap.placement.score import cumulative_demand, end_weights
from crackmap.placement.settle import in_hand
from crackmap.placement.solved import Solved
from crackmap.records import Edits, FloatArray, Key, Placement, Survey
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop

_NO_EDITS = Edits()
_USUAL = PlacementSettings()
_SAME_PLACE = 0.05  # a key of the user's this near an earlier one is that one; files keep a thousandth [mm]
_SAME_SIZE = 0.01  # [mm]
# What a key must save on one line before it is looked for there: its own price, or
# half of that on a line without keys, which may share one with its neighbour. [keys]
_WORTH, _WORTH_SHARED = 1.0, 0.5


def revise(survey: Survey, shop: Shop, thickness_mm: float, edits: Edits = _NO_EDITS,
           settings: PlacementSettings = _USUAL, last_keys: tuple[Key, ...] = (), *,
           weigh_counts: bool = False) -> Placement:
    """The last plan, with the user's word applied and nothing else moved.

    Keys of the last plan stay exactly where they are, but for those that

    - the user took back or refused, or whose crack they want left open,
    - come too near a key of the user's,
    - now break a hard rule: a new keep-out area, another finished top, a crack
      that was redrawn or refused, another bit or thickness.

    Where that, or a new crack, leaves a stretch worth a key, and on cracks with
    another number of keys than asked for, the best keys around the rest are
    found; the rest includes the keys on neighbouring cracks.

    Parameters
    ----------
    survey, shop, thickness_mm, edits, settings
        As for `place`.
    last_keys : tuple of Key
        Of the plan to start from. A key that the user moved, resized or
        reshaped is to be left out: its new self is among `edits.keys`.
    weigh_counts : bool
        Also say what one key fewer or more would do on each crack, as `place`
        does; that takes as long as finding every place anew.

    Raises
    ------
    PlacementError, KeyShapeError
        As `place` does.
    """
    ground = lay_ground(survey, shop, thickness_mm, edits, settings)
    solved = solve_around(ground, shop, edits, settings, last_keys)
    placement = in_words(solved, survey, shop, thickness_mm, edits, settings)
    if not weigh_counts:
        return placement
    loose = _with_every_place(solved, ground, shop, edits, settings)
    problem = pose_problem(loose.candidates, list(ground.asking), ground.site, settings)
    return dataclasses.replace(placement, counts=count_options(loose, problem, woods_of(shop), settings))


def solve_around(ground: Ground, shop: Shop, edits: Edits, settings: PlacementSettings,
                 last_keys: tuple[Key, ...]) -> Solved:
    """The best plan that keeps what can stay of the last one."""
    staying, held = _staying(ground, edits, settings, last_keys)
    recounted = _recounted(ground, edits, staying, held)
    on_recounted: NDArray[np.bool_] = np.asarray(held[:, recounted].any(axis=1))
    standing_pockets = staying.take(np.asarray(~on_recounted))
    new = own_places(list(ground.asking), ground.site, ground.cuttings, ground.rules, shop.keys, settings,
                     _where_to_look(ground, edits, standing_pockets, recounted, settings))
    new = _clear_of(new, standing_pockets, settings.key_gap)
    welcome = is_welcome(new, find_crossings(new, ground.site).held, ground, edits, settings)
    own = staying.and_also(new.take(welcome))
    was_there = np.arange(len(own)) < len(staying)
    standing = was_there.copy()
    standing[:len(staying)] &= ~on_recounted
    solved = solve_with(ground, weigh(ground, own, edits, shop, settings, stay=was_there & ~standing,
                                      standing=standing), settings)
    # Without a new key there is nothing to settle.
    is_old = solved.candidates.needed[list(solved.chosen)]
    return solved if is_old.all() else settled(ground, solved, edits, shop, settings)


def _with_every_place(solved: Solved, ground: Ground, shop: Shop, edits: Edits,
                      settings: PlacementSettings) -> Solved:
    """The same plan among all places that could be cut, none of its keys but the user's fixed to theirs."""
    planned = in_hand(solved, ground)[0]
    candidates = weigh(ground, planned.and_also(every_place(ground, shop, settings)), edits, shop, settings)
    return dataclasses.replace(solved, candidates=candidates, chosen=tuple(range(len(planned))))


def _staying(ground: Ground, edits: Edits, settings: PlacementSettings,
             last_keys: tuple[Key, ...]) -> tuple[Pockets, NDArray[np.bool_]]:
    """Keys of the last plan that nothing forbids, and the lines that each holds, shape (N, lines)."""
    kinds = [(key, kind) for key in last_keys
             if (kind := _kind_of(key, ground)) is not None and not _is_users(key, edits)]
    pockets = lay_pockets(ground.cuttings, np.array([kind for _, kind in kinds], np.int64),
                          np.array([key.centre for key, _ in kinds], float).reshape(-1, 2),
                          np.array([key.angle_deg for key, _ in kinds], float))
    pockets = pockets.take(keeping_all(pockets, ground.site, ground.rules))
    pockets = _clear_of(pockets, _users_pockets(ground, edits), settings.key_gap)
    held = find_crossings(pockets, ground.site).held
    ok = is_welcome(pockets, held, ground, edits, settings) & held[:, list(ground.asking)].any(axis=1)
    return pockets.take(np.asarray(ok)), held[ok]


def _kind_of(key: Key, ground: Ground) -> int | None:
    """Number of the family's size that a key has; None for a key that today's shop would not suggest."""
    own = (key.shape.length, key.shape.width, key.shape.waist, key.shape.depth)
    for kind, cutting in enumerate(ground.cuttings):
        size, shape = cutting.size, cutting.shape
        theirs = (size.length, size.width, size.waist, size.depth)
        if key.shape.shape == shape.shape and np.allclose(own, theirs, atol=_SAME_SIZE):
            return kind
    return None


def _is_users(key: Key, edits: Edits) -> bool:
    """True for a key that the user's word brings anyway, or that they added and took back."""
    if any(np.hypot(*(np.asarray(each.centre) - key.centre)) <= _SAME_PLACE for each in edits.keys):
        return True
    return key.origin == "added"


def _users_pockets(ground: Ground, edits: Edits) -> Pockets:
    return lay_pockets(tuple(cutting for cutting, _ in ground.users), np.arange(len(ground.users)),
                       np.array([k.centre for k in edits.keys], float).reshape(-1, 2),
                       np.array([angle for _, angle in ground.users]))


def _clear_of(pockets: Pockets, others: Pockets, key_gap: float) -> Pockets:
    """Those with at least `key_gap` of wood to every other pocket. [mm]"""
    if not len(pockets) or not len(others):
        return pockets
    together = lay_pockets(pockets.cuttings + others.cuttings,
                           np.concatenate([pockets.kind, len(pockets.cuttings) + others.kind]),
                           np.vstack([pockets.centre, others.centre]),
                           np.concatenate([pockets.angle_deg, others.angle_deg]))
    a, b = np.meshgrid(np.arange(len(pockets)), len(pockets) + np.arange(len(others)), indexing="ij")
    near = gaps_of_pairs(together, a.ravel(), b.ravel()).reshape(a.shape) < key_gap
    return pockets.take(np.asarray(~near.any(axis=1)))


def _recounted(ground: Ground, edits: Edits, staying: Pockets, held: NDArray[np.bool_]) -> list[int]:
    """Lines that have another number of keys than the user asked for."""
    theirs = find_crossings(_users_pockets(ground, edits), ground.site, anywhere=True).held
    there = held.sum(axis=0) + theirs.sum(axis=0)
    return [n for n, count in ground.counts.items() if count > 0 and there[n] != count]


def _where_to_look(ground: Ground, edits: Edits, standing: Pockets, recounted: list[int],
                   settings: PlacementSettings) -> Pieces:
    """Stretches that may be worth a key, between the keys that stand and the user's."""
    site = ground.site
    users = _users_pockets(ground, edits)
    crossings = find_crossings(standing, site).and_also(find_crossings(users, site, anywhere=True))
    half = np.concatenate([p.of_kind("half_width") if len(p) else np.zeros(0) for p in (standing, users)])
    narrowest = min(cutting.half_width for cutting in ground.cuttings)
    pieces: dict[int, list[tuple[float, float]]] = {}
    for n in ground.asking:
        if n in recounted:
            pieces[n] = [(0.0, site.lines[n].length)]
        elif n not in ground.counts:
            found = _open_pieces(n, crossings, half, narrowest, ground, settings)
            if found:
                pieces[n] = found
    return pieces


def _open_pieces(n: int, crossings: Crossings, half: FloatArray, narrowest: float, ground: Ground,
                 settings: PlacementSettings) -> list[tuple[float, float]]:
    """Pieces of line `n` in which one more key could save its price, as arcs where its middle may lie. [mm]"""
    line = ground.site.lines[n]
    demand = cumulative_demand(line, ground.site, settings)
    on = np.flatnonzero(crossings.held[:, n])
    on = on[np.argsort(crossings.arc[on, n], kind="stable")]
    low = np.concatenate([[0.0], crossings.arc[on, n] + half[on]])
    high = np.concatenate([crossings.arc[on, n] - half[on], [line.length]])
    weights = np.ones((len(low), 2))
    weights[0, 0], weights[-1, 1] = end_weights(line, settings)
    worth = _WORTH if len(on) else _WORTH_SHARED
    pieces = []
    for a, b, (first, last) in zip(low, high, weights, strict=True):
        load = float(np.diff(np.interp([a, b], line.arc, demand))[0])
        covered = load * min(1.0, 2.0 * max(c.half_width for c in ground.cuttings) / max(b - a, 1e-9))
        # One key at the best place leaves two stretches; no key in it saves more.
        left = (load - covered) ** 2 * first * last / (first + last)
        if max(first, last) * load**2 - left > worth:
            start = a if a == 0.0 else a + settings.key_gap + narrowest
            end = b if b == line.length else b - settings.key_gap - narrowest
            if end > start:
                pieces.append((start, end))
    return pieces
