"""The user's word on keys: added and fixed keys, refusals, counts."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from crackmap.errors import KeyShapeError, PlacementError, quoted
from crackmap.keys.family import KeySize, size_for
from crackmap.placement.pockets import REACH, WING_REACH, Cutting, shape_cutting
from crackmap.placement.site import Site
from crackmap.records import AddedKey, Edits, FloatArray
from crackmap.settings import PlacementSettings, nearest_hint
from crackmap.shop import Shop

_NEAR = 40.0  # a user's point this far from a crack, or nearer, is meant for it [mm]


def nearest_line(point: FloatArray, site: Site, within: float = _NEAR) -> tuple[int, float] | None:
    """Number of the line nearest to a point and the arc there; None where none is `within`. [mm]

    `point` has shape (2,).
    """
    best: tuple[float, int, float] | None = None
    for n, line in enumerate(site.lines):
        away = np.hypot(*(line.points - point).T)
        k = int(away.argmin())
        if away[k] <= within and (best is None or away[k] < best[0]):
            best = (float(away[k]), n, float(line.arc[k]))
    return None if best is None else best[1:]


def shape_user_key(key: AddedKey, family: tuple[KeySize, ...], site: Site, shop: Shop,
                   settings: PlacementSettings) -> tuple[Cutting, float]:
    """Cutting and angle [deg] of a user's key; what they left open is chosen.

    Raises
    ------
    PlacementError
        If the size is unknown or the key cannot be cut; names the place.
    """
    near = nearest_line(np.asarray(key.centre), site)
    size = _size(key, family, site, near, shop)
    try:
        cutting = shape_cutting(size, shop, settings.central_share, *reaches_of(settings))
    except KeyShapeError as error:
        raise PlacementError(f"{_your_key(key)}: {error}") from error
    if key.angle_deg is not None:
        return cutting, key.angle_deg
    if near is None:
        return cutting, site.grain_deg + 90.0
    _, direction = site.lines[near[0]].frames(np.array([near[1]]), cutting.half_width)
    return cutting, float(direction[0]) + 90.0


def reaches_of(settings: PlacementSettings) -> tuple[float, float]:
    """How far distances to pockets and to wings must be looked up for these settings. [mm]"""
    widest = max(settings.edge_margin, settings.void_margin, settings.crack_margin, settings.keep_out_margin)
    return max(REACH, widest + 2.0), max(WING_REACH, settings.crack_margin + 22.0)


def _size(key: AddedKey, family: tuple[KeySize, ...], site: Site, near: tuple[int, float] | None,
          shop: Shop) -> KeySize:
    names = [size.name for size in family]
    if key.size is not None and key.size not in names:
        hint = nearest_hint(key.size, names)
        raise PlacementError(f"{_your_key(key)}: there is no size {quoted(key.size)}{hint}")
    if key.size is not None:
        base = family[names.index(key.size)]
    elif key.length is not None:
        base = min(family, key=lambda size: abs(size.length - key.length))  # type: ignore[operator]
    elif near is None:
        base = family[len(family) // 2]
    else:
        base = size_for(float(site.lines[near[0]].width_at(np.array([near[1]]))[0]), family, shop.keys).size
    given = (key.length, key.width, key.waist, key.depth)
    if key.shape is None and all(value is None for value in given):
        return base
    length = base.length if key.length is None else key.length
    share = length / base.length
    is_base = share == 1.0 and key.width is None and key.waist is None
    return KeySize(base.name if is_base else "own size", length,
                   base.width * share if key.width is None else key.width,
                   base.waist * share if key.waist is None else key.waist,
                   base.depth if key.depth is None else key.depth,
                   base.shape if key.shape is None else key.shape)


def _your_key(key: AddedKey) -> str:
    x, y = np.asarray(key.centre, float)
    return f"your key at x {x:.0f}, y {y:.0f} mm"


def is_refused(centres: FloatArray, edits: Edits, settings: PlacementSettings) -> NDArray[np.bool_]:
    """True for centres too near to a place where the user refused a key, shape (N,)."""
    if not len(edits.refused_keys) or not len(centres):
        return np.zeros(len(centres), bool)
    away = np.hypot(*(centres[:, None] - edits.refused_keys[None]).transpose(2, 0, 1))
    return np.asarray((away < settings.refusal_radius).any(axis=1))


def counts_by_line(edits: Edits, site: Site) -> tuple[dict[int, int], tuple[str, ...]]:
    """Keys asked for on each line, and a sentence for each wish that met no crack.

    Raises
    ------
    PlacementError
        If a count is negative, or one line is given two different ones.
    """
    counts: dict[int, int] = {}
    lost = []
    for x, y, count in edits.key_counts:
        near = nearest_line(np.array([x, y]), site)
        if count < 0:
            raise PlacementError(f"{count} keys asked for at x {x:.0f}, y {y:.0f} mm; ask for 0 or more.")
        if near is None:
            lost.append(f"{count} keys asked for at x {x:.0f}, y {y:.0f} mm, but no crack lies within "
                        f"{_NEAR:.0f} mm of it; the wish was left out.")
        elif counts.setdefault(near[0], int(count)) != count:
            raise PlacementError(f"{counts[near[0]]} and {count} keys asked for on one crack, "
                                 f"{site.lines[near[0]].name}; ask once.")
    return counts, tuple(lost)


def below_at(polygon: shapely.Polygon, site: Site) -> float:
    """How far what is kept out from below reaches up under a pocket. [mm]"""
    return max((k.depth for k, area in site.keep_out if k.from_face == "below" and k.depth is not None
                and shapely.intersects(polygon, area)), default=0.0)
