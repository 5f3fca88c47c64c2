"""Choices, one frozen class a stage; facts with a source live in published.py.

A choice has a reason, written beside it. Lengths are millimetres and angles
degrees unless a name says otherwise. ``with_changes`` makes a copy with other
values and refuses an unknown name, naming the closest known one.
"""

from __future__ import annotations

import dataclasses
import difflib
from dataclasses import dataclass
from typing import Any, Self

from crackmap.errors import SettingsError


@dataclass(frozen=True, slots=True)
class Settings:
    """Base of the settings classes."""

    def with_changes(self, **changes: Any) -> Self:
        """A copy with `changes`.

        Raises
        ------
        SettingsError
            If a name is unknown; names the closest known one.
        """
        known = [f.name for f in dataclasses.fields(self)]
        for name in changes:
            if name not in known:
                raise SettingsError(f"unknown setting {name!r} in {type(self).__name__}{nearest_hint(name, known)}.")
        return dataclasses.replace(self, **changes)


def nearest_hint(name: str, known: list[str]) -> str:
    """'; did you mean X?' for a misspelt name, or the list of known names."""
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    return f"; did you mean {close[0]!r}?" if close else f"; known names are {', '.join(sorted(known))}"


@dataclass(frozen=True, slots=True)
class ScaleSettings(Settings):
    """How the photo is brought to scale."""

    reference: str = "marker"  # what lies on the slab: marker, a4, a3, letter, card
    marker_size: float = 100.0  # printed side of the black square [mm]
    marker_size_sigma: float = 0.2  # how well that side is known: read with a rule [mm]
    marker_height: float = 0.0  # of the marker's face above the show face; below is negative [mm]


@dataclass(frozen=True, slots=True)
class SurveySettings(Settings):
    """How the slab is measured."""

    # Share of found segments at the threshold that must be cracks; lower finds more.
    least_confidence: float = 0.5


@dataclass(frozen=True, slots=True)
class PlacementSettings(Settings):
    """Where keys may go and what is best."""


@dataclass(frozen=True, slots=True)
class ResinSettings(Settings):
    """Generic resin figures; the user's data sheet, through the shop file, wins."""


@dataclass(frozen=True, slots=True)
class SheetSettings(Settings):
    """How the drawings and sheets are written."""

    units: str = "mm"  # of the printed texts: mm or in
    paper: str = "a4"  # a4 or letter
