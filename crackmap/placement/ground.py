"""What is settled before any key is weighed: lines, slab, sizes, rules, and who asks for keys."""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely

from crackmap.errors import PlacementError
from crackmap.keys.family import KeySize, size_family
from crackmap.placement.crack_lines import join_cracks
from crackmap.placement.pockets import Cutting, shape_cutting
from crackmap.placement.rules import Rule, all_rules
from crackmap.placement.site import Site, lay_out_site
from crackmap.placement.user_keys import counts_by_line, reaches_of, shape_user_key
from crackmap.records import Edits, Survey
from crackmap.settings import PlacementSettings
from crackmap.shop import Shop


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """The problem without its candidates."""

    site: Site
    family: tuple[KeySize, ...]
    cuttings: tuple[Cutting, ...]  # of the family
    rules: tuple[Rule, ...]
    asking: tuple[int, ...]  # numbers of the lines that ask for keys
    counts: dict[int, int]  # keys that the user asked for, by line; 0: left open
    users: tuple[tuple[Cutting, float], ...]  # cutting and angle [deg] of each of the user's keys
    warnings: tuple[str, ...]  # wishes that met no crack

    @property
    def left_open(self) -> list[int]:
        """Lines on which the user wants no key."""
        return [n for n, count in self.counts.items() if count == 0]


def lay_ground(survey: Survey, shop: Shop, thickness_mm: float, edits: Edits,
               settings: PlacementSettings) -> Ground:
    """Join the cracks, lay out the slab, size the keys, take down the user's wishes.

    Raises
    ------
    PlacementError
        If the thickness or an edit makes no sense.
    KeyShapeError
        If no key can be cut with the shop's bit in a slab so thick.
    """
    if not math.isfinite(thickness_mm) or thickness_mm <= 0.0:
        raise PlacementError(f"the slab's thickness must be more than zero, not {thickness_mm:g} mm.")
    lines = join_cracks(tuple(c for c in survey.cracks if c.confidence >= settings.least_confidence
                              or c.drawn_by_user), settings.join_gap)
    site = lay_out_site(survey, lines, edits, thickness_mm, shop.bit.cutting_length, settings)
    counts, lost = counts_by_line(edits, site)
    asking = tuple(n for n, line in enumerate(lines)
                   if counts.get(n, 1) > 0 and (line.widest >= settings.least_width or n in counts)
                   and bool(site.is_on_top(line.points).any()))
    family = size_family(shop, thickness_mm)
    cuttings = tuple(shape_cutting(size, shop, settings.central_share, *reaches_of(settings)) for size in family)
    # A depth that the maker fixed is their word, whatever floor it leaves.
    floor = min(shop.keys.least_floor, thickness_mm - max(size.depth for size in family))
    users = tuple(shape_user_key(key, family, site, shop, settings) for key in edits.keys)
    return Ground(site, family, cuttings, all_rules(settings, floor, shop.keys.least_reach), asking, counts,
                  users, (*lost, *_refused_beside(survey, edits, settings)))


def _refused_beside(survey: Survey, edits: Edits, settings: PlacementSettings) -> tuple[str, ...]:
    """A sentence for each refused key whose place is not on the slab: nothing can have been refused there."""
    if not len(edits.refused_keys):
        return ()
    slab = shapely.Polygon(survey.outline).buffer(settings.refusal_radius)
    return tuple(f"the key refused at x {x:.0f}, y {y:.0f} mm lies beside the slab, so nothing was refused; check the "
                 "place in edits.json" for x, y in edits.refused_keys
                 if not slab.contains(shapely.Point(x, y)))
