"""How woods look when sawn: colours and grain, chosen by eye from memory of real boards."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

RGB = tuple[float, float, float]


def linear(srgb: ArrayLike) -> NDArray[np.float32]:
    """Linear light 0 to 1 of sRGB values 0 to 255 (IEC 61966-2-1)."""
    v = np.asarray(srgb, float) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def encoded(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """sRGB 0 to 1 of linear light 0 to 1 (IEC 61966-2-1), to 1/5000. Any shape."""
    return np.asarray(_encoding()[np.clip(light * 65535 + 0.5, 0, 65535).astype(np.uint16)], np.float32)


@lru_cache(maxsize=1)
def _encoding() -> NDArray[np.float32]:
    v = np.arange(65536) / 65535
    return np.where(v <= 0.0031308, v * 12.92, 1.055 * np.power(v, 1 / 2.4) - 0.055).astype(np.float32)


@dataclass(frozen=True, slots=True)
class WoodLook:
    """A species as a picture: sRGB colours 0 to 255 and the strength of each feature 0 to 1."""

    early: RGB
    late: RGB
    sap: RGB
    knot: RGB
    bark: RGB
    ring_mm: float  # mean ring width
    contrast: float  # between early and late wood
    anatomy: str  # ring_porous, diffuse, softwood
    pores: float
    rays: float = 0.0
    figure: float = 0.15  # chatoyance and curl across the grain
    drift: float = 0.5  # slow colour change over the slab
    wander: float = 1.0  # how much the rings wobble
    default_bark: float = 8.0


WOODS: dict[str, WoodLook] = {
    "oak": WoodLook(
        (196, 156, 108),
        (160, 116, 72),
        (216, 192, 152),
        (104, 66, 38),
        (92, 80, 70),
        2.6,
        0.75,
        "ring_porous",
        0.75,
        rays=0.5,
        default_bark=10,
    ),
    "ash": WoodLook(
        (218, 194, 156),
        (176, 138, 96),
        (226, 206, 172),
        (138, 92, 56),
        (104, 98, 88),
        3.2,
        0.9,
        "ring_porous",
        0.7,
        default_bark=7,
    ),
    "elm": WoodLook(
        (178, 134, 94),
        (128, 88, 58),
        (216, 190, 148),
        (92, 58, 38),
        (88, 74, 64),
        3.6,
        0.85,
        "ring_porous",
        0.7,
        wander=1.8,
        figure=0.25,
        default_bark=9,
    ),
    "chestnut": WoodLook(
        (192, 148, 98),
        (148, 104, 62),
        (218, 192, 146),
        (98, 62, 36),
        (96, 84, 74),
        3.8,
        0.8,
        "ring_porous",
        0.7,
    ),
    "walnut": WoodLook(
        (118, 84, 62),
        (74, 50, 38),
        (206, 178, 134),
        (52, 34, 26),
        (72, 62, 54),
        3.4,
        0.7,
        "diffuse",
        0.55,
        drift=1.0,
        wander=1.4,
        figure=0.3,
        default_bark=8,
    ),
    "cherry": WoodLook(
        (192, 134, 94),
        (162, 102, 68),
        (224, 194, 154),
        (104, 58, 36),
        (84, 68, 60),
        2.6,
        0.5,
        "diffuse",
        0.2,
        figure=0.3,
    ),
    "maple": WoodLook(
        (228, 204, 164),
        (206, 172, 126),
        (236, 216, 182),
        (146, 98, 60),
        (116, 106, 96),
        2.4,
        0.4,
        "diffuse",
        0.1,
        figure=0.35,
        default_bark=6,
    ),
    "beech": WoodLook(
        (214, 174, 134),
        (188, 142, 102),
        (222, 188, 150),
        (134, 84, 54),
        (128, 124, 116),
        2.2,
        0.4,
        "diffuse",
        0.25,
        rays=0.7,
        default_bark=4,
    ),
    "sycamore": WoodLook(
        (232, 214, 182),
        (214, 188, 148),
        (238, 222, 194),
        (160, 116, 80),
        (132, 120, 108),
        2.8,
        0.35,
        "diffuse",
        0.1,
        figure=0.55,
        default_bark=4,
    ),
    "pine": WoodLook(
        (232, 200, 144),
        (186, 128, 70),
        (236, 210, 160),
        (132, 72, 36),
        (120, 78, 56),
        3.4,
        1.0,
        "softwood",
        0.0,
        drift=0.35,
        default_bark=12,
    ),
    "larch": WoodLook(
        (206, 150, 98),
        (146, 84, 50),
        (226, 194, 142),
        (108, 58, 34),
        (110, 74, 56),
        2.0,
        1.0,
        "softwood",
        0.0,
        default_bark=14,
    ),
    "cedar": WoodLook(
        (172, 110, 76),
        (120, 70, 48),
        (222, 192, 150),
        (92, 46, 32),
        (112, 88, 74),
        1.8,
        0.9,
        "softwood",
        0.0,
        drift=0.8,
        default_bark=6,
    ),
    "yew": WoodLook(
        (196, 128, 76),
        (150, 88, 52),
        (236, 212, 166),
        (84, 48, 32),
        (104, 70, 56),
        1.2,
        0.7,
        "softwood",
        0.0,
        wander=2.0,
        drift=0.9,
        default_bark=3,
    ),
    "plane": WoodLook(
        (204, 160, 122),
        (172, 126, 90),
        (220, 188, 150),
        (122, 78, 52),
        (140, 132, 112),
        3.0,
        0.45,
        "diffuse",
        0.2,
        rays=0.8,
    ),
}
