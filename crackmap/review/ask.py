"""What an action of the page is given, and what it gives back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from crackmap.errors import JobError, ReviewError, quoted
from crackmap.fields import Fields
from crackmap.records import AddedKey, Crack, Edits, FloatArray, Key, Plan, Survey, frozen_array
from crackmap.settings import SurveySettings, nearest_hint

MOST_POINTS = 2000  # of a line or outline drawn on the page
_DIGITS = 3  # positions are kept as edits.json holds them, so that a restart finds the same [mm]


class Asked(Fields):
    """An action as the page sent it; a wrong field is one sentence for the person at the page."""

    def __init__(self, mapping: Any) -> None:
        if not isinstance(mapping, dict):
            raise ReviewError("The action must be a JSON object.")
        super().__init__(mapping, "action")

    def wrong(self, name: str, must: str) -> JobError:
        """The error for a field; a ReviewError to those who ask."""
        return _Wrong(f"{self.path_of(name)} {must}.")

    def place(self, name: str) -> FloatArray:
        """A point on the slab, (2,), as edits.json will hold it. [mm]"""
        return frozen_array(np.round(self.numbers(name, 2), _DIGITS))

    def points(self, name: str, least: int) -> FloatArray:
        """Points on the slab, (N, 2). [mm]"""
        rows = self.rows(name, 2, least)
        if len(rows) > MOST_POINTS:
            raise self.wrong(name, f"may have {MOST_POINTS} points at most, not {len(rows)}")
        return frozen_array(np.round(rows, _DIGITS), 2)

    def whole(self, name: str, least: int, most: int) -> int:
        """A whole number."""
        value = self.number(name, least=least, most=most)
        if value != int(value):
            raise self.wrong(name, f"must be a whole number, not {value:g}")
        return int(value)


class _Wrong(ReviewError, JobError):
    """Both what `Fields` promises to raise and what the page is told."""


@dataclass(frozen=True, slots=True, eq=False)
class Ask:
    """One action and the state that it was asked of."""

    asked: Asked
    edits: Edits
    survey: Survey
    plan: Plan
    # Ids of the surveyed cracks that a maker sees as one, so that a wish for one is a wish for all.
    lines: tuple[frozenset[str], ...]
    settings: SurveySettings
    refusal_radius: float  # [mm]

    def key(self) -> Key:
        """The key that the action names."""
        name = self.asked.text("key")
        for key in self.plan.keys:
            if key.id == name:
                return key
        raise ReviewError(f"There is no key {quoted(name)}{_hint(name, [k.id for k in self.plan.keys])}")

    def crack(self) -> Crack:
        """The crack that the action names."""
        name = self.asked.text("crack")
        for crack in self.survey.cracks:
            if crack.id == name:
                return crack
        raise ReviewError(f"There is no crack {quoted(name)}{_hint(name, [c.id for c in self.survey.cracks])}")

    def users_own(self, key: Key) -> int | None:
        """Index in `edits.keys` of what the user said of a key; None for a suggestion."""
        if key.origin == "suggested" or not self.edits.keys:
            return None
        away = [float(np.hypot(*(own.centre - key.centre))) for own in self.edits.keys]
        nearest = int(np.argmin(away))
        return nearest if away[nearest] < _SAME else None


_SAME = 0.5  # a plan's key this near to an edit is that edit's [mm]


def _hint(name: str, known: list[str]) -> str:
    return nearest_hint(name, known) if known else "; there is none at all."


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """What an action comes to."""

    edits: Edits
    words: str  # what was done, for undo: "moved K3"
    released: frozenset[str] = frozenset()  # keys of the plan whose new selves are among the edits
    touched: AddedKey | None = None  # the user's key that the action made or changed
    plan_name: str = ""  # the offered plan that was chosen
