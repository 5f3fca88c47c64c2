"""What a caller may fix about a random scene."""

from __future__ import annotations

from dataclasses import dataclass

from crackmap.settings import Settings


@dataclass(frozen=True, slots=True)
class SceneWishes(Settings):
    """What a caller may fix; None leaves it to the seed."""

    size_px: tuple[int, int] = (3000, 2250)
    name: str | None = None
    look: str | None = None
    bench: str | None = None
    light: str | None = None
    length: float | None = None  # [mm]
    width: float | None = None  # [mm]
    thickness: float | None = None  # [mm]
    live_sides: str | None = None  # both, top, bottom, none
    bark: bool | None = None
    markers: int | None = None
    marker_size: float | None = None  # [mm]
    reference: str | None = None  # marker, a4, letter, card
    reference_on: str = "top"  # top or bench
    props: tuple[str, ...] | None = None  # rule, pencil, card
    end_checks: int | None = None
    surface_checks: int | None = None
    hairlines: int | None = None
    branches: int | None = None
    split: bool | None = None
    ring_shakes: int | None = None
    knot_holes: int | None = None
    inclusions: int | None = None
    knots: int | None = None
    widest: float | None = None  # of the widest end check [mm]
    longest: float | None = None  # length of that end check [mm]
    knot_checks: bool | None = None  # False: none
    tilt_deg: float | None = None
    k1: float | None = None
    turn_deg: float | None = None
    clean: bool = False  # no noise, blur, vignette or sharpening: for exact checks
