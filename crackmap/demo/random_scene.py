"""A random but sensible slab photograph for any seed; wishes fix what matters to the caller."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np

from crackmap.demo import grow_cracks as grow
from crackmap.demo.bench_texture import BENCHES
from crackmap.demo.looks import WOODS
from crackmap.demo.scene import (
    CameraPose,
    CrackShape,
    EdgeLine,
    Exposure,
    Finish,
    KnotShape,
    Light,
    Mark,
    SlabScene,
    Thing,
    VoidShape,
)
from crackmap.demo.things import SHEETS_MM
from crackmap.records import frozen_array
from crackmap.settings import Settings

LIGHTS = ("window", "tube", "led", "sun", "overcast", "flash", "castshadow", "lamp")
_FOCAL_SHARE = {24: 0.667, 26: 0.722, 28: 0.778, 35: 0.972}  # focal length / picture width, by 35 mm equivalent


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
    tilt_deg: float | None = None
    k1: float | None = None
    turn_deg: float | None = None
    clean: bool = False  # no noise, blur, vignette or sharpening: for exact checks


def random_scene(seed: int, **wishes: Any) -> SlabScene:
    """A slab photograph to be rendered.

    Parameters
    ----------
    seed : int
        The same seed and wishes always give the same scene.
    **wishes
        Fields of SceneWishes.

    Raises
    ------
    SettingsError
        If a wish is unknown; names the closest known one.
    """
    w = SceneWishes().with_changes(**wishes)
    rng = np.random.default_rng([seed, 3])
    look = w.look or str(rng.choice(sorted(WOODS)))
    width = w.width or float(np.round(rng.uniform(300, 820), -1))
    length = w.length or float(np.round(width * rng.uniform(1.7, 3.6), -1))
    thickness = w.thickness or float(np.round(rng.uniform(30, 70), 1))
    edges = _edges(rng, w, look, length, width)
    knots, voids = _knots_and_voids(rng, w, look, length, width, thickness)
    cracks = _cracks(rng, w, edges, knots, voids, length, width, thickness)
    camera = _camera(rng, w, length, width)
    scene = SlabScene(
        name=w.name or f"{seed:03d}", seed=seed, look=look, length=length, width=width, thickness=thickness,
        edges=edges, camera=camera, light=_light(rng, w, length, width),
        bench=w.bench or str(rng.choice(sorted(BENCHES))),
        pith_depth=float(rng.uniform(0.05, 0.75) * width * rng.choice([-1, 1])),
        pith_y=float(rng.normal(0, 0.28) * width),
        sapwood=float(rng.uniform(8, 40) if rng.random() < 0.8 else rng.uniform(40, 90)),
        cracks=cracks, voids=voids, knots=knots,
        marks=_marks(rng, length, width), finish=_finish(rng), exposure=_exposure(rng, w),
        bench_angle_deg=float(rng.uniform(-40, 40)),
    )
    colours = BENCHES[scene.bench][1]
    picked = colours[int(rng.integers(len(colours)))]
    shifted = tuple(float(np.clip(c * rng.uniform(0.9, 1.1), 0, 255)) for c in picked)
    scene = dataclasses.replace(scene, bench_colour=shifted)
    return dataclasses.replace(scene, things=_things(rng, w, scene))


def _wavy(rng: np.random.Generator, at: np.ndarray, size: float, longest: float) -> np.ndarray:
    """A natural edge: long waves and ever smaller ones on top. [mm]"""
    total = np.zeros_like(at)
    for k in range(1, 60):
        total += size / k**1.25 * rng.standard_normal() * np.sin(at * 6.283 * k / longest + rng.uniform(0, 6.28))
    return total


def _edges(rng: np.random.Generator, w: SceneWishes, look: str, length: float, width: float) -> EdgeLine:
    sides = w.live_sides or str(rng.choice(["both", "both", "both", "top", "bottom", "none"]))
    live_top, live_bottom = sides in ("both", "top"), sides in ("both", "bottom")
    x = np.arange(-60.0, length + 60.5, 1.0)
    y = np.arange(-width / 2 - 220, width / 2 + 220.5, 1.0)
    bark = rng.random() < 0.55 if w.bark is None else w.bark
    longest = length * rng.uniform(1.1, 1.9)

    def long_side(live: bool) -> np.ndarray:
        if live:
            bow = rng.normal(0, 0.035) * width * np.cos((x / length - 0.5) * np.pi)
            slope = rng.normal(0, 0.03) * (x - length / 2)
            return _wavy(rng, x, width * rng.uniform(0.012, 0.045), longest) + bow + slope
        return rng.normal(0, 0.004) * (x - length / 2) + 0.12 * _wavy(rng, x, 1.0, 300)

    def end(at: float) -> np.ndarray:
        return at + rng.normal(0, 0.015) * y + 0.25 * _wavy(rng, y, 1.0, 240)

    def bevel(live: bool) -> np.ndarray:
        if not live:
            return np.zeros_like(x)
        return rng.normal(0.18, 0.25) + 0.05 * _wavy(rng, x, 1.0, 600)

    def thick(live: bool) -> float:
        return float(WOODS[look].default_bark * rng.uniform(0.6, 1.5)) if live and bark else 0.0

    return EdgeLine(frozen_array(x), frozen_array(-width / 2 + long_side(live_top)),
                    frozen_array(width / 2 + long_side(live_bottom)), frozen_array(y), frozen_array(end(0.0)),
                    frozen_array(end(length)), live_top, live_bottom, frozen_array(bevel(live_top)),
                    frozen_array(bevel(live_bottom)), thick(live_top), thick(live_bottom))


def _count(rng: np.random.Generator, wish: int | None, least: int, most: int) -> int:
    drawn = int(rng.integers(least, most + 1))
    return drawn if wish is None else wish


def _free_place(rng: np.random.Generator, taken: list[tuple[float, float, float]], length: float, width: float,
                radius: float) -> tuple[float, float]:
    """A place on the face clear of what is there already, if a few tries find one."""
    best, most = (length / 2, 0.0), -np.inf
    for _ in range(12):
        x, y = rng.uniform(0.1, 0.9) * length, rng.uniform(-0.36, 0.36) * width
        room = min((np.hypot(x - a, (y - b) * 2) - 3 * (r + radius) for a, b, r in taken), default=1e9)
        if room > most:
            best, most = (float(x), float(y)), room
    taken.append((*best, radius))
    return best


def _knots_and_voids(rng: np.random.Generator, w: SceneWishes, look: str, length: float, width: float,
                     thickness: float) -> tuple[tuple[KnotShape, ...], tuple[VoidShape, ...]]:
    taken: list[tuple[float, float, float]] = []
    knots, voids = [], []
    for _ in range(_count(rng, w.knot_holes, 0, 2)):
        radius = float(np.exp(rng.normal(2.3, 0.4)))
        x, y = _free_place(rng, taken, length, width, radius)
        voids.append(grow.void_shape(rng, "knot_hole", x, y, radius, thickness))
    for _ in range(_count(rng, w.inclusions, 0, 2)):
        radius = float(rng.uniform(3, 7))
        x, y = _free_place(rng, taken, length, width, 2 * radius)
        voids.append(grow.void_shape(rng, "bark_inclusion", x, y, radius, thickness))
    most = 9 if WOODS[look].anatomy == "softwood" else 5
    for _ in range(_count(rng, w.knots, 0, most)):
        radius = float(np.exp(rng.normal(2.1, 0.5)))
        x, y = _free_place(rng, taken, length, width, radius)
        knots.append(KnotShape(x, y, radius, float(rng.uniform(1.1, 1.8)), float(rng.uniform(0, 0.9))))
    return tuple(knots), tuple(voids)


def _cracks(rng: np.random.Generator, w: SceneWishes, edges: EdgeLine, knots: tuple[KnotShape, ...],
            voids: tuple[VoidShape, ...], length: float, width: float, thickness: float) -> tuple[CrackShape, ...]:
    flow = (*knots, *(KnotShape(float(v.centre[0]), float(v.centre[1]), float(v.radii.mean()), v.stretch)
                      for v in voids if v.kind == "knot_hole"))
    cracks: list[CrackShape] = []
    if rng.random() < 0.12 if w.split is None else w.split:
        cracks.append(grow.split_along(rng, edges, rng.uniform(-0.25, 0.25) * width, rng.uniform(3, 9), thickness, flow))
    widest = w.widest or float(rng.uniform(3, 14))
    for n in range(_count(rng, w.end_checks, 2, 7)):
        size = widest if n == 0 else widest * float(np.clip(rng.exponential(0.25), 0.05, 0.8))
        reach = float(np.clip(45 * size**0.85 * rng.uniform(0.6, 1.3), 30, 0.6 * length))
        cracks.append(grow.end_check(rng, edges, rng.uniform(-0.4, 0.4) * width, bool(rng.random() < 0.5), reach,
                                     size, thickness, flow))
    for _ in range(_count(rng, w.surface_checks, 0, 5)):
        cracks.append(grow.inner_check(rng, "surface_check", rng.uniform(0.12, 0.88) * length,
                                       rng.uniform(-0.38, 0.38) * width, rng.uniform(30, 160),
                                       rng.uniform(0.6, 4.5), thickness, flow))
    for _ in range(_count(rng, w.hairlines, 0, 5)):
        cracks.append(grow.inner_check(rng, "hairline", rng.uniform(0.1, 0.9) * length,
                                       rng.uniform(-0.4, 0.4) * width, rng.uniform(25, 90),
                                       rng.uniform(0.25, 0.75), thickness, flow))
    for _ in range(_count(rng, w.ring_shakes, 0, 1) if w.ring_shakes is not None or rng.random() < 0.3 else 0):
        cracks.append(grow.ring_shake(rng, rng.uniform(0.3, 0.7) * length, rng.uniform(-0.25, 0.25) * width,
                                      rng.uniform(25, 70), rng.uniform(50, 120), rng.uniform(2, 4),
                                      rng.uniform(0.5, 2.5), thickness))
    for spot in flow:
        if rng.random() < 0.45 and (w.end_checks is None or w.end_checks > 0):
            cracks.append(grow.knot_check(rng, spot.x, spot.y, spot.radius, spot.stretch, rng.uniform(20, 110),
                                          rng.uniform(0.5, 2.2), thickness))
    stems = [i for i, c in enumerate(cracks) if len(c.centreline) > 60]
    for _ in range(min(_count(rng, w.branches, 0, 3), 3 * len(stems))):
        weights = np.array([cracks[i].width.max() for i in stems])
        parent = int(rng.choice(stems, p=weights / weights.sum()))
        cracks.append(grow.branch_from(rng, cracks, parent, thickness))
    return tuple(cracks)


def _camera(rng: np.random.Generator, w: SceneWishes, length: float, width: float) -> CameraPose:
    columns, rows = w.size_px
    focal = columns * _FOCAL_SHARE[int(rng.choice([24, 26, 26, 28, 35]))]
    turn = rng.normal(0, 9) + rng.choice([0, 0, 180]) if w.turn_deg is None else w.turn_deg
    a = np.radians(turn)
    spread_x = length * abs(np.cos(a)) + width * abs(np.sin(a))
    spread_y = length * abs(np.sin(a)) + width * abs(np.cos(a))
    fill = rng.uniform(0.72, 0.9)
    mm_per_px = max(spread_x / columns, spread_y / rows) / fill
    tilt = abs(rng.normal(0, 5)) if w.tilt_deg is None else w.tilt_deg
    k1 = float(np.round(rng.normal(0, 0.018), 3)) if w.k1 is None else w.k1
    return CameraPose(
        w.size_px, float(focal), ((columns - 1) / 2, (rows - 1) / 2),
        (length / 2 + float(rng.normal(0, 0.02)) * length, float(rng.normal(0, 0.04)) * width),
        float(mm_per_px * focal), float(min(tilt, 14)), float(rng.uniform(0, 360)), float(turn), k1)


def _warm(rng: np.random.Generator, strength: float) -> tuple[float, float, float]:
    t = rng.normal(0, strength)
    return (float(np.exp(t)), 1.0, float(np.exp(-1.2 * t)))


def _light(rng: np.random.Generator, w: SceneWishes, length: float, width: float) -> Light:
    kind = w.light or str(rng.choice(LIGHTS))
    azimuth = float(rng.uniform(0, 360))
    drop = float(rng.uniform(0.1, 0.6))
    gradient = (drop * float(np.cos(np.radians(azimuth))), drop * float(np.sin(np.radians(azimuth))))
    white, tint = (1.0, 1.0, 1.0), _warm(rng, 0.05)
    if kind == "sun":
        return Light(kind, azimuth, float(rng.uniform(30, 65)), 0.02, 1.0, 0.35, _warm(rng, 0.04), (0.85, 0.95, 1.15))
    if kind == "castshadow":
        bands = tuple((float(rng.uniform(0, 180)), float(rng.uniform(-0.2, 0.9) * length), float(rng.uniform(40, 160)),
                       0.92) for _ in range(int(rng.integers(1, 4))))
        return Light(kind, azimuth, float(rng.uniform(35, 65)), 0.03, 1.0, 0.3, _warm(rng, 0.04), (0.85, 0.95, 1.15),
                     bands=bands)
    if kind == "flash":
        spot = (float(rng.uniform(0.3, 0.7) * length), float(rng.normal(0, 0.1) * width), 0.22 * length,
                float(rng.uniform(0.08, 0.4)))
        return Light(kind, azimuth, 80.0, 0.05, 0.9, 0.12, white, tint, glare=spot)
    if kind == "overcast":
        return Light(kind, azimuth, 65.0, 1.6, 0.25, 0.8, white, tint)
    soft = {"window": 0.7, "tube": 0.5, "led": 0.12, "lamp": 0.15}[kind]
    sky = {"window": 0.22, "tube": 0.35, "led": 0.3, "lamp": 0.12}[kind]
    low = {"window": (22, 45), "tube": (55, 80), "led": (45, 75), "lamp": (30, 60)}[kind]
    if kind == "lamp":
        gradient = (2.2 * gradient[0], 2.2 * gradient[1])
    glare = None
    if kind == "tube" and rng.random() < 0.5:
        glare = (float(rng.uniform(0.2, 0.8) * length), float(rng.normal(0, 0.2) * width), 0.3 * length, 0.06)
    return Light(kind, azimuth, float(rng.uniform(*low)), soft, 0.85, sky, _warm(rng, 0.08), tint, gradient, glare=glare)


def _marks(rng: np.random.Generator, length: float, width: float) -> tuple[Mark, ...]:
    marks = []
    for kind, chance, size, strength in (
        ("stain", 0.4, (12, 60), (0.25, 0.7)), ("stain", 0.25, (10, 40), (0.25, 0.7)),
        ("cup_ring", 0.25, (28, 46), (0.3, 0.6)), ("pencil", 0.35, (80, 420), (0.35, 0.75)),
        ("pencil", 0.2, (30, 200), (0.35, 0.75)), ("scar", 0.2, (60, 260), (0.15, 0.45)),
        ("shadow_stripe", 0.3, (18, 45), (0.3, 0.9)), ("shadow_stripe", 0.2, (18, 45), (0.3, 0.9)),
    ):
        if rng.random() > chance:
            continue
        angle = rng.uniform(70, 110) if kind in ("pencil", "scar") and rng.random() < 0.6 else rng.uniform(-180, 180)
        marks.append(Mark(kind, float(rng.uniform(0.1, 0.9) * length), float(rng.uniform(-0.35, 0.35) * width),
                          float(rng.uniform(*size)), float(angle), float(rng.uniform(*strength))))
    return tuple(marks)


def _finish(rng: np.random.Generator) -> Finish:
    seals = [None, None, None, (92, 122, 168), (196, 62, 52), (226, 222, 208), (70, 122, 88)]
    return Finish(
        saw_marks=float(rng.choice([0, 0.5, 1]) * rng.uniform(0.4, 1.6)),
        saw_pitch=float(rng.uniform(2.5, 11)), saw_radius=float(rng.choice([0, 0, rng.uniform(350, 700)])),
        weathering=float(rng.choice([0, 0, 0, rng.uniform(0.15, 0.85)])),
        dust=float(rng.choice([0, 0, rng.uniform(0.2, 1)])), end_seal=seals[int(rng.integers(len(seals)))],
        mineral=float(rng.choice([0, rng.uniform(0.2, 1)])), spalt=float(rng.choice([0, 0, 0, 0, rng.uniform(0.4, 1)])))


def _exposure(rng: np.random.Generator, w: SceneWishes) -> Exposure:
    drawn = Exposure(
        level=float(rng.uniform(0.5, 0.85)), balance=_warm(rng, 0.05), vignette=float(rng.uniform(0.05, 0.4)),
        blur_px=float(rng.uniform(0.5, 1.0)), read_noise=float(rng.uniform(0.0005, 0.003)),
        photon_noise=float(rng.uniform(0.003, 0.014)),
        sharpening=float(rng.choice([0, 0, rng.uniform(0.2, 0.7)])), flare=float(rng.uniform(0.001, 0.008)),
        jpeg_quality=int(rng.integers(80, 96)))
    if w.clean:
        return Exposure(level=drawn.level, vignette=0.0, blur_px=0.0, read_noise=0.0, photon_noise=0.0,
                        sharpening=0.0, flare=0.0, jpeg_quality=97)
    return drawn


def _things(rng: np.random.Generator, w: SceneWishes, scene: SlabScene) -> tuple[Thing, ...]:
    kind = w.reference or str(rng.choice(["marker"] * 8 + ["a4", "card", "letter"]))
    length, width = scene.length, scene.width
    things: list[Thing] = []
    if kind == "marker":
        things += _markers(rng, w, length, width)
    else:
        things.append(_sheet(rng, kind, w.reference_on, length, width))
    chosen = w.props
    if chosen is None:
        chosen = tuple(str(p) for p in rng.choice(["rule", "pencil", "card"], int(rng.choice([0, 0, 1, 2])), False))
    for prop in chosen:
        size = {"rule": (300.0, 25.0), "pencil": (175.0, 7.2), "card": SHEETS_MM["card"]}[prop]
        if prop == kind:
            continue
        x, y = _clear_spot(rng, things, length, width, 0.5 * max(size))
        things.append(Thing(prop, x, y, float(rng.uniform(-180, 180)), size, "top", None,
                            {"rule": 1.0, "pencil": 7.0, "card": 0.8}[prop]))
    return tuple(things)


def _sheet(rng: np.random.Generator, kind: str, where: str, length: float, width: float) -> Thing:
    size = SHEETS_MM[kind]
    height = 0.8 if kind == "card" else 0.15
    if where == "bench":
        return Thing(kind, length * float(rng.uniform(0.3, 0.7)), width / 2 + 110 + size[1] / 2,
                     float(rng.normal(0, 5)), size, "bench", None, height)
    return Thing(kind, length * float(rng.uniform(0.3, 0.7)), float(rng.normal(0, 0.08)) * width,
                 float(rng.normal(0, 8)), size, "top", None, height)


def _clear_spot(rng: np.random.Generator, things: list[Thing], length: float, width: float,
                reach: float) -> tuple[float, float]:
    best, most = (length / 2, 0.0), -np.inf
    for _ in range(14):
        x, y = rng.uniform(0.15, 0.85) * length, rng.uniform(-0.32, 0.32) * width
        room = min((np.hypot(x - t.x, y - t.y) - reach - 0.7 * max(t.size) for t in things), default=1e9)
        if room > most:
            best, most = (float(x), float(y)), room
    return best


def _markers(rng: np.random.Generator, w: SceneWishes, length: float, width: float) -> list[Thing]:
    count = int(rng.choice([1, 2, 2, 3, 4, 4])) if w.markers is None else w.markers
    size = w.marker_size or float(rng.choice([60, 80, 100, 100]))
    size = min(size, 0.35 * width)
    spots = [(0.1, -0.2), (0.9, 0.2), (0.1, 0.2), (0.9, -0.2), (0.5, 0.0), (0.5, 0.25)]
    spots = spots if rng.random() < 0.5 else [(x, -y) for x, y in spots]
    if count == 1:
        spots = [(float(rng.uniform(0.2, 0.8)), float(rng.uniform(-0.15, 0.15)))]
    ids = rng.choice(50, count, replace=False)
    out = []
    for n in range(count):
        x, y = spots[n % len(spots)]
        bench = w.reference_on == "bench"
        place = (length * x + float(rng.normal(0, 15)), width * y + float(rng.normal(0, 0.03)) * width)
        if bench:
            place = (place[0], (width / 2 + 75 + size) * (1 if y >= 0 else -1))
        out.append(Thing("marker", *place, float(rng.normal(0, 7)), (size, size), w.reference_on, int(ids[n]),
                         float(rng.uniform(0.1, 0.4)), size / 6))
    return out
