"""How the slab is found again in each set-up: by marks that are there, drilled earlier, or set out by hand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from crackmap.records import FloatArray, Key, SetupMark, Survey
from crackmap.settings import CuttingSettings
from crackmap.setups.marks import BY_HAND, DRILLED, Point, Wood, best_pair, reach_on_slab, standing_marks, within
from crackmap.setups.spots import BoolArray, Spot, slack
from crackmap.shop import Bed


@dataclass(frozen=True, slots=True, eq=False)
class Lying:
    """A set-up: where the slab lies, which pockets are cut, and by which marks it is found."""

    spot: Spot
    pockets: BoolArray  # (K,)
    shift: FloatArray  # (2,) [mm]
    pair: tuple[Point, ...] = ()  # the two marks to go by
    pair_from: int = 0  # place in the order of work of the set-up that drills those of them that are not there; 0: none


class Finder:
    """The marks, the wood and the bed that all set-ups of a slab share."""

    def __init__(self, survey: Survey, keys: Sequence[Key], bed: Bed, settings: CuttingSettings) -> None:
        self.standing = standing_marks(survey)
        self._wood = Wood(survey, keys, settings.mark_margin)
        self._survey, self._bed, self._settings = survey, bed, settings

    def in_order(self, lyings: Sequence[Lying]) -> list[Lying]:
        """The set-ups in the order of work, each with its marks.

        Those that see two standing marks come first; then those that share
        wood with one before them; one that shares none is found by points set
        out by hand, after which the search goes on.
        """
        left = sorted(lyings, key=lambda each: (-int(each.spot.marks.sum()), *each.shift.tolist()))
        done: list[Lying] = []
        while left:
            place, found = self._next(left, done)
            done.append(found)
            del left[place]
        return done

    def _next(self, left: list[Lying], done: list[Lying]) -> tuple[int, Lying]:
        for place, each in enumerate(left):
            found = self._by_standing(each)
            if found is not None:
                return place, found
        for place, each in enumerate(left):
            found = self._by_drilling(each, done)
            if found is not None:
                return place, found
        return 0, self._by_hand(left[0])

    def reach(self, lying: Lying) -> shapely.Geometry:
        """What the machine reaches of the slab's plane, in the slab frame."""
        return reach_on_slab(lying.spot, lying.shift, self._bed, self._settings.placing)

    def _by_standing(self, lying: Lying) -> Lying | None:
        pair = best_pair(within(self.standing, self.reach(lying)), self._settings.mark_distance, DRILLED)
        return None if pair is None else replace(lying, pair=pair)

    def _by_drilling(self, lying: Lying, done: list[Lying]) -> Lying | None:
        """Found by witness points that an earlier set-up drills; the slab is slid where that helps."""
        for shift in self._slides(lying):
            slid = replace(lying, shift=shift)
            offers = []
            for number, earlier in enumerate(done, 1):
                pair = self._shared_pair(slid, earlier)
                if pair is not None:
                    offers.append((float(np.hypot(*np.subtract(pair[0].at, pair[1].at))), -number, pair))
            if offers:
                _, number, pair = max(offers, key=lambda offer: offer[:2])
                return replace(slid, pair=pair, pair_from=-number)
        return None

    def _shared_pair(self, lying: Lying, earlier: Lying) -> tuple[Point, Point] | None:
        shared = shapely.intersection(self.reach(lying), self.reach(earlier))
        if shared.area <= 0.0:
            return None
        made = [*within(self._wood.in_pockets(lying.pockets), shared), *self._wood.in_free_wood(shared)]
        standing = within(self.standing, self.reach(lying))
        return best_pair([*standing, *made], self._settings.mark_distance, DRILLED)

    def _by_hand(self, lying: Lying) -> Lying:
        """Found by points set out with straightedge and tape, on the line from A to B where it is in reach."""
        area, datum = self.reach(lying), self._survey.datum
        standing = within(self.standing, area)
        on_line = [*standing, *self._wood.on_line(datum.a, datum.b, area)]
        anywhere = [*standing, *self._wood.in_free_wood(area), *within(self._wood.in_pockets(lying.pockets), area)]
        # Better marks that lie close, or off the line, than none.
        for points, least in ((on_line, 1.0), (anywhere, 1.0), (on_line, 0.4), (anywhere, 0.4)):
            pair = best_pair(points, least * self._settings.mark_distance, BY_HAND)
            if pair is not None:
                return replace(lying, pair=pair)
        return lying

    def _slides(self, lying: Lying) -> Iterator[FloatArray]:
        """The place itself, then the ends of where it may be slid, its pockets staying in reach."""
        yield lying.shift
        no_marks = np.zeros(len(self.standing), bool)
        ends = slack(lying.spot, self._bed, self._settings.placing, lying.pockets, no_marks)
        along = [[s, *(e for e in pair if np.isfinite(e))] for s, pair in zip(lying.shift, ends, strict=True)]
        for x in along[0]:
            for y in along[1]:
                yield np.array([x, y])


def as_setup_marks(ordered: Sequence[Lying]) -> tuple[list[tuple[SetupMark, ...]], list[tuple[SetupMark, ...]]]:
    """For each set-up the marks to go by, and the witness points that it drills for later ones."""
    marks: list[tuple[SetupMark, ...]] = []
    drills: list[tuple[SetupMark, ...]] = [() for _ in ordered]
    made: dict[tuple[float, float], SetupMark] = {}
    for lying in ordered:
        own = []
        for point in lying.pair:
            if point.kind == "marker":
                own.append(SetupMark(point.name, point.at, "marker"))
                continue
            if point.at not in made:
                how = "drilled" if lying.pair_from else "by hand"
                pocket = point.name if point.kind == "pocket" else ""
                made[point.at] = SetupMark(f"W{len(made) + 1}", point.at, how, lying.pair_from, pocket)
                if lying.pair_from:
                    drills[lying.pair_from - 1] += (made[point.at],)
            own.append(made[point.at])
        marks.append(tuple(own))
    return marks, drills
