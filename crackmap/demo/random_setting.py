"""Random but sensible camera, light, finish and exposure of a scene."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from crackmap.demo.edges import outline
from crackmap.demo.lens import aim
from crackmap.demo.scene import CameraPose, EdgeLine, Exposure, Finish, Light, Mark
from crackmap.demo.wishes import SceneWishes

_FOCAL_SHARE = {
    24: 0.667,
    26: 0.722,
    28: 0.778,
    35: 0.972,
}  # focal length / picture width, by 35 mm equivalent


def draw_camera(
    rng: np.random.Generator, w: SceneWishes, edges: EdgeLine, length: float, width: float
) -> CameraPose:
    """A camera that has the whole slab in view. The slab's `length` and `width` in mm."""
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
    pose = CameraPose(
        w.size_px,
        float(focal),
        ((columns - 1) / 2, (rows - 1) / 2),
        (length / 2 + float(rng.normal(0, 0.02)) * length, float(rng.normal(0, 0.04)) * width),
        float(mm_per_px * focal),
        float(min(tilt, 14)),
        float(rng.uniform(0, 360)),
        float(turn),
        k1,
    )
    ring, border = outline(edges), 0.03 * np.array(w.size_px)
    while True:  # step back until everything is in the picture
        seen = aim(pose).mapping().to_pixels(ring)
        if (seen > border).all() and (seen < np.array(w.size_px) - border).all():
            return pose
        pose = dataclasses.replace(pose, height=1.04 * pose.height)


def _warm(rng: np.random.Generator, strength: float) -> tuple[float, float, float]:
    t = rng.normal(0, strength)
    return (float(np.exp(t)), 1.0, float(np.exp(-1.2 * t)))


def draw_light(rng: np.random.Generator, w: SceneWishes, length: float, width: float) -> Light:
    """A main light and a sky of the wished or a random kind. The slab's `length` and `width` in mm."""
    kind = w.light or str(rng.choice(LIGHTS))
    azimuth = float(rng.uniform(0, 360))
    look = _LIGHT_LOOKS[kind]
    drop = float(rng.uniform(0.1, 0.6)) * look.falloff
    bluish = kind in ("sun", "castshadow")
    return Light(
        kind,
        azimuth,
        float(rng.uniform(*look.elevation)),
        look.softness,
        look.direct,
        look.sky,
        _warm(rng, look.tint),
        (0.85, 0.95, 1.15) if bluish else _warm(rng, 0.05),
        (drop * float(np.cos(np.radians(azimuth))), drop * float(np.sin(np.radians(azimuth)))),
        _bands(rng, length) if kind == "castshadow" else (),
        _sheen(rng, kind, length, width),
    )


@dataclass(frozen=True, slots=True)
class _LightLook:
    elevation: tuple[float, float]
    softness: float
    direct: float
    sky: float
    tint: float  # spread of its colour
    falloff: float  # how unevenly it falls


_LIGHT_LOOKS = {
    "sun": _LightLook((30, 65), 0.02, 1.0, 0.35, 0.04, 0.0),
    "castshadow": _LightLook((35, 65), 0.03, 1.0, 0.3, 0.04, 0.0),
    "flash": _LightLook((78, 85), 0.05, 0.9, 0.12, 0.0, 0.3),
    "overcast": _LightLook((60, 75), 1.6, 0.25, 0.8, 0.0, 0.0),
    "window": _LightLook((22, 45), 0.7, 0.85, 0.22, 0.08, 1.0),
    "tube": _LightLook((55, 80), 0.5, 0.85, 0.35, 0.08, 1.0),
    "led": _LightLook((45, 75), 0.12, 0.85, 0.3, 0.08, 1.0),
    "lamp": _LightLook((30, 60), 0.15, 0.85, 0.12, 0.08, 2.2),
}
LIGHTS = tuple(_LIGHT_LOOKS)


def _bands(rng: np.random.Generator, length: float) -> tuple[tuple[float, float, float, float], ...]:
    """Shadows of posts and rails that fall across everything."""
    return tuple(
        (
            float(rng.uniform(0, 180)),
            float(rng.uniform(-0.2, 0.9) * length),
            float(rng.uniform(40, 160)),
            float(rng.uniform(0.75, 0.97)),
        )
        for _ in range(int(rng.integers(1, 4)))
    )


def _sheen(
    rng: np.random.Generator, kind: str, length: float, width: float
) -> tuple[float, float, float, float] | None:
    """Where a flash or a tube is mirrored in the face, if it is."""
    x, y = float(rng.uniform(0.25, 0.75) * length), float(rng.normal(0, 0.12) * width)
    if kind == "flash":
        return x, y, 0.22 * length, float(rng.uniform(0.08, 0.4))
    if kind == "tube" and rng.random() < 0.5:
        return x, y, 0.3 * length, 0.06
    return None


def draw_marks(rng: np.random.Generator, length: float, width: float) -> tuple[Mark, ...]:
    """Stains, cup rings, pencil lines, scars and sticker stripes. The slab's `length` and `width` in mm."""
    marks = []
    for kind, chance, size, strength in (
        ("stain", 0.4, (12, 60), (0.25, 0.7)),
        ("stain", 0.25, (10, 40), (0.25, 0.7)),
        ("cup_ring", 0.25, (28, 46), (0.3, 0.6)),
        ("pencil", 0.35, (80, 420), (0.35, 0.75)),
        ("pencil", 0.2, (30, 200), (0.35, 0.75)),
        ("scar", 0.2, (60, 260), (0.15, 0.45)),
        ("shadow_stripe", 0.3, (18, 45), (0.3, 0.9)),
        ("shadow_stripe", 0.2, (18, 45), (0.3, 0.9)),
    ):
        if rng.random() > chance:
            continue
        angle = (
            rng.uniform(70, 110)
            if kind in ("pencil", "scar") and rng.random() < 0.6
            else rng.uniform(-180, 180)
        )
        marks.append(
            Mark(
                kind,
                float(rng.uniform(0.1, 0.9) * length),
                float(rng.uniform(-0.35, 0.35) * width),
                float(rng.uniform(*size)),
                float(angle),
                float(rng.uniform(*strength)),
            )
        )
    return tuple(marks)


def draw_finish(rng: np.random.Generator) -> Finish:
    """How the saw, the weather and the shop left the face."""
    seals = [None, None, None, (92, 122, 168), (196, 62, 52), (226, 222, 208), (70, 122, 88)]
    return Finish(
        saw_marks=float(rng.choice([0, 0.5, 1]) * rng.uniform(0.4, 1.6)),
        saw_pitch=float(rng.uniform(2.5, 11)),
        saw_radius=float(rng.choice([0, 0, rng.uniform(350, 700)])),
        weathering=float(rng.choice([0, 0, 0, rng.uniform(0.15, 0.85)])),
        dust=float(rng.choice([0, 0, rng.uniform(0.2, 1)])),
        end_seal=seals[int(rng.integers(len(seals)))],
        mineral=float(rng.choice([0, rng.uniform(0.2, 1)])),
        spalt=float(rng.uniform(0.4, 1)) if rng.random() < 0.1 else 0.0,
    )


def draw_exposure(rng: np.random.Generator, w: SceneWishes) -> Exposure:
    """What the camera does to the light; nothing for a clean picture."""
    drawn = Exposure(
        level=float(rng.uniform(0.5, 0.85)),
        balance=_warm(rng, 0.05),
        vignette=float(rng.uniform(0.05, 0.4)),
        blur_px=float(rng.uniform(0.5, 1.0)),
        read_noise=float(rng.uniform(0.0005, 0.003)),
        photon_noise=float(rng.uniform(0.003, 0.014)),
        sharpening=float(rng.choice([0, 0, rng.uniform(0.2, 0.7)])),
        flare=float(rng.uniform(0.001, 0.008)),
        jpeg_quality=int(rng.integers(80, 96)),
    )
    if w.clean:
        return Exposure(
            level=drawn.level,
            vignette=0.0,
            blur_px=0.0,
            read_noise=0.0,
            photon_noise=0.0,
            sharpening=0.0,
            flare=0.0,
            jpeg_quality=97,
        )
    return drawn
