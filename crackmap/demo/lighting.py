"""Light on a level, shadows and the darkness inside openings: a cheap model of the real thing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.demo.edges import outline
from crackmap.demo.noise import Float32, sample, smoothstep
from crackmap.demo.scene import Light, SlabScene

_SHADOW_PITCH = 2.0  # of the map of distances round the slab [mm]


def towards_light(light: Light) -> tuple[float, float, float]:
    """Unit vector to the main light; z points down, so it is negative."""
    azimuth, elevation = np.radians([light.azimuth_deg, light.elevation_deg])
    return (
        float(np.cos(elevation) * np.cos(azimuth)),
        float(np.cos(elevation) * np.sin(azimuth)),
        -float(np.sin(elevation)),
    )


def drift_per_depth(light: Light) -> tuple[float, float]:
    """How far a ray from the light moves in x, y for each mm that it goes down. [-]"""
    lx, ly, lz = towards_light(light)
    return lx / lz, ly / lz


def main_light(light: Light, x: Float32, y: Float32, z: float) -> Float32:
    """Irradiance of the main light on a level face at depth z, with its falloff and cast bands.

    `x`, `y` and `z` in mm, arrays of any one shape.
    """
    gx, gy = light.gradient
    strength = np.exp((gx * x + gy * y) * np.float32(1e-3)) * np.float32(light.direct)
    dx, dy = drift_per_depth(light)
    for angle, offset, width, dark in light.bands:
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        away = np.abs((x - z * dx) * np.float32(s) - (y - z * dy) * np.float32(c) - np.float32(offset))
        soft = max(30 * light.softness, 1.0)
        strength *= 1 - np.float32(dark) * smoothstep(width / 2 + soft, width / 2 - soft, away)
    return np.asarray(strength, np.float32)


def shade(light: Light, direct: Float32, sky: Float32) -> Float32:
    """Coloured irradiance (..., 3) of a share of main light and of sky. `direct` and `sky` have any one shape."""
    main = direct[..., None] * np.array(light.colour, np.float32)
    return np.asarray(main + sky[..., None] * np.array(light.sky_colour, np.float32) * np.float32(light.sky))


@dataclass(frozen=True, slots=True, eq=False)
class ShadowMap:
    """Distance from the slab's outline on a coarse grid, negative inside."""

    distance: Float32
    x0: float
    y0: float

    def at(self, x: Float32, y: Float32) -> Float32:
        """Distance outside the slab. [mm]"""
        scale = np.float32(1 / _SHADOW_PITCH)
        return sample(
            self.distance, (x - np.float32(self.x0)) * scale, (y - np.float32(self.y0)) * scale, wrap=False
        )


@lru_cache(maxsize=4)
def map_shadow(scene: SlabScene) -> ShadowMap:
    """Distances round the show face, far enough for long shadows."""
    ring = outline(scene.edges)
    reach = 12 * scene.thickness_mm + 100
    low, high = ring.min(0) - reach, ring.max(0) + reach
    size = np.ceil((high - low) / _SHADOW_PITCH).astype(int) + 1
    mask = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(mask, [np.round((ring - low) / _SHADOW_PITCH).astype(np.int32)], 255)
    outside = cv2.distanceTransform(255 - mask, cv2.DIST_L2, 5)
    inside = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    return ShadowMap(((outside - inside) * _SHADOW_PITCH).astype(np.float32), float(low[0]), float(low[1]))


def bench_light(scene: SlabScene, shadow: ShadowMap, x: Float32, y: Float32) -> Float32:
    """Coloured irradiance on the bench, with the slab's shadow and the dark line beneath its edge.

    `x` and `y` have any one shape. [mm]
    """
    light, thickness = scene.light, scene.thickness_mm
    dx, dy = drift_per_depth(light)
    clear = np.ones_like(x)
    for share in (0.12, 0.3, 0.55, 0.8, 1.0):  # heights of the slab's side that cast the shadow
        h = thickness * share
        blur = max(light.softness * h * float(np.hypot(dx, dy)), 1.2)
        away = shadow.at(x - np.float32(h * dx), y - np.float32(h * dy))
        clear = np.minimum(clear, smoothstep(-blur, blur, away))
    near = shadow.at(x, y)
    sky = (
        1
        - 0.5 * np.exp(-np.maximum(near, 0) / np.float32(0.7 * thickness))
        - 0.25 * np.exp(-np.maximum(near, 0) / np.float32(0.12 * thickness))
    )
    return shade(light, main_light(light, x, y, thickness) * clear, sky.astype(np.float32))


def slot_sky(depth: Float32, width: Float32) -> Float32:
    """Share of the sky seen from the wall of a long slot, averaged with its floor. [-]

    A wall point of an endless slot of width w at depth z sees (1 - z / sqrt(z^2 + w^2)) / 2;
    light that bounces once between pale walls adds to it.

    Arrays of any one shape.
    """
    z2, w2 = depth * depth, width * width + np.float32(1e-6)
    direct = 0.5 * (1 - depth / np.sqrt(z2 + w2))
    return np.asarray(direct * (1 + 0.5 * (1 - 2 * direct)), np.float32)


def pit_sky(depth: Float32, radius: Float32) -> Float32:
    """Share of the sky seen from the floor of a round pit: r^2 / (r^2 + z^2). [-] Arrays of any one shape."""
    r2 = radius * radius
    return np.asarray(r2 / (r2 + depth * depth + np.float32(1e-6)), np.float32)


def glare(light: Light, x: Float32, y: Float32, sheen: Float32) -> NDArray[np.float32]:
    """Reflected light of a near lamp or flash, (..., 3), added to the wood's own.

    `x`, `y` and `sheen` have any one shape.
    """
    assert light.glare is not None
    gx, gy, radius, strength = light.glare
    d2 = ((x - np.float32(gx)) ** 2 + (y - np.float32(gy)) ** 2) * np.float32(1 / radius**2)
    spot = np.float32(strength) * np.exp(-d2) * (1 + 0.25 * sheen)
    return np.asarray(np.maximum(spot, 0)[..., None] * np.array(light.colour, np.float32))
