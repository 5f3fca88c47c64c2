"""Two invented jobs of an invented workshop, shown by ``crackmap demo``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from crackmap.demo.random_scene import random_scene
from crackmap.demo.scene import SlabScene


@dataclass(frozen=True, slots=True)
class Story:
    """A job to try the tool on.

    Attributes
    ----------
    title, words : str
        For people; `words` tells what is on the bench and what it is to become.
    wood : str
        Name of the wood in plain words.
    at_size : callable
        Picture size in pixels to the scene.
    """

    title: str
    words: str
    wood: str
    at_size: Callable[[tuple[int, int]], SlabScene]

    @property
    def scene(self) -> SlabScene:
        """The scene at full size; it knows the slab's thickness and the markers' size."""
        return self.at_size((3000, 2250))


def _elm(size_px: tuple[int, int]) -> SlabScene:
    return random_scene(
        14,
        name="elm-bench-top",
        size_px=size_px,
        look="elm",
        bench="concrete",
        light="window",
        length=1480.0,
        width=430.0,
        thickness=52.0,
        live_sides="both",
        bark=True,
        markers=4,
        marker_size=100.0,
        reference="marker",
        props=("pencil",),
        end_checks=4,
        surface_checks=2,
        hairlines=2,
        branches=1,
        split=False,
        ring_shakes=0,
        knot_holes=1,
        inclusions=1,
        knots=2,
        widest=14.0,
        longest=560.0,
        tilt_deg=4.0,
        k1=-0.012,
        turn_deg=3.0,
    )


def _ash(size_px: tuple[int, int]) -> SlabScene:
    return random_scene(
        43,
        name="ash-coffee-table",
        size_px=size_px,
        look="ash",
        bench="planks",
        light="led",
        length=1100.0,
        width=560.0,
        thickness=42.0,
        live_sides="bottom",
        bark=False,
        markers=2,
        marker_size=80.0,
        reference="marker",
        props=("rule",),
        end_checks=5,
        surface_checks=3,
        hairlines=1,
        branches=2,
        split=False,
        ring_shakes=0,
        knot_holes=1,
        inclusions=0,
        knots=3,
        widest=10.0,
        longest=430.0,
        tilt_deg=5.5,
        k1=0.008,
        turn_deg=-4.0,
    )


STORIES: dict[str, Story] = {
    "bench": Story(
        "Elm bench top",
        "Two people share a workshop beside a disused siding. A hall bench is on order, and the elm for it "
        "spent three winters in the loft: one end has opened wide, by more than a forearm's length, and a "
        "knot has dropped out. They printed four markers, laid the slab on the concrete by the window and "
        "took one photo from the step-ladder.",
        "elm",
        _elm,
    ),
    "table": Story(
        "Ash coffee table",
        "The same workshop was given an ash plank with one natural edge and checks in one end. It is to "
        "be a low table, so the underside may show its scars but the top may not. Two small markers, one "
        "lamp, one photo.",
        "ash",
        _ash,
    ),
}
