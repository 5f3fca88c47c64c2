"""Flat things that lie about: printed markers, sheets, a card, a steel rule, a pencil.

Each is an upright bitmap in its own frame, fine enough that bilinear look-ups
put its edges within a few hundredths of a pixel, and laid down by `paint_thing`.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.demo.lens import Rays
from crackmap.demo.lighting import drift_per_depth, main_light, shade
from crackmap.demo.looks import linear
from crackmap.demo.noise import Float32, fractal, sample, smoothstep
from crackmap.demo.patch_grid import Grid
from crackmap.demo.scene import SlabScene, Thing
from crackmap.records import FloatArray, frozen_array

SHEETS_MM = {
    "a4": (297.0, 210.0),
    "letter": (279.4, 215.9),
    "card": (85.6, 53.98),
}  # ISO 216, ANSI Y14.1, ISO/IEC 7810
_CELLS = 6  # a 4 x 4 marker and its black border


def outer_size(thing: Thing) -> tuple[float, float]:
    """Width and height of the whole thing. [mm]"""
    return thing.size[0] + 2 * thing.margin, thing.size[1] + 2 * thing.margin


def corners(thing: Thing, size: tuple[float, float]) -> FloatArray:
    """Corners of a rectangle of `size` at the thing's place, clockwise from its own top left. [mm]"""
    a = np.radians(thing.angle_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(size) / 2
    return frozen_array(box @ turn.T + [thing.x, thing.y])


def level(scene: SlabScene, thing: Thing) -> float:
    """Depth of the thing's face below the show face, negative above it. [mm]"""
    return (scene.thickness_mm if thing.where == "bench" else 0.0) - thing.height


def _marker_bitmap(
    number: int, size: float, margin: float, texel: float
) -> tuple[NDArray[np.float32], float]:
    """Paper with a marker on it, linear RGB, and its texel. [mm]"""
    per_cell = max(round(size / _CELLS / texel), 4)
    texel = size / _CELLS / per_cell
    border = round(margin / texel)
    code = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    cells = cv2.aruco.generateImageMarker(code, number, _CELLS, borderBits=1)
    square = np.kron(cells, np.ones((per_cell, per_cell), np.uint8))
    page = np.full((square.shape[0] + 2 * border,) * 2, 255, np.uint8)
    page[border : -border or None, border : -border or None] = square
    middle = page.shape[0] / 2
    arm, thick = 4.0 / texel, max(0.12 / texel, 0.5)
    across = np.abs(np.arange(page.shape[0]) + 0.5 - middle)
    cross = (across[:, None] < arm) & (across[None, :] < thick) | (across[None, :] < arm) & (
        across[:, None] < thick
    )
    page[cross] = 160
    if margin > 6:
        text = f"marker {number}   {size:g} mm"
        cv2.putText(
            page,
            text,
            (border, page.shape[0] - border // 3),
            cv2.FONT_HERSHEY_SIMPLEX,
            1.8 / texel / 22,
            90,
            max(1, round(0.25 / texel)),
            cv2.LINE_AA,
        )
    ink, paper = linear((26, 26, 28)), linear((240, 240, 236))
    share = page[..., None].astype(np.float32) / 255
    return np.asarray(ink + (paper - ink) * share, np.float32), texel


def _plain_bitmap(thing: Thing, texel: float) -> NDArray[np.float32]:
    w, h = thing.size
    rows, columns = round(h / texel), round(w / texel)
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    x, y = (x + 0.5) * texel, (y + 0.5) * texel
    if thing.kind == "card":
        return _card_bitmap(x, y)
    if thing.kind == "rule":
        return _rule_bitmap(x, y, h)
    if thing.kind == "pencil":
        return _pencil_bitmap(x, y, w, h)
    return np.ones((rows, columns, 1), np.float32) * linear((242, 241, 236))


def _card_bitmap(x: Float32, y: Float32) -> NDArray[np.float32]:
    sweep = np.clip((x + 1.6 * y) / 172, 0, 1)[..., None]
    out = linear((44, 74, 128)) * (1 - sweep) + linear((70, 132, 140)) * sweep
    chip = (x > 9) & (x < 20.5) & (y > 17) & (y < 26)
    out[chip] = linear((206, 178, 108))
    for left in range(4):
        digits = (np.abs(y - 33) < 1.7) & (x > 9 + 17 * left) & (x < 22 + 17 * left) & (np.mod(x, 3.2) < 2.1)
        out[digits] = linear((214, 220, 226))
    return out.astype(np.float32)


def _rule_bitmap(x: Float32, y: Float32, h: float) -> NDArray[np.float32]:
    out = np.ones((*x.shape, 1), np.float32) * linear((178, 182, 186))
    nearest = np.round(x)
    long = np.where(nearest % 10 == 0, 0.42, np.where(nearest % 5 == 0, 0.3, 0.2)) * h
    tick = (np.abs(x - nearest) < 0.11) & ((y < long) | (y > h - 0.75 * long)) & (x > 0.5)
    out[tick] = linear((40, 40, 44))
    sheen = 1 + 0.22 * np.sin(y * np.float32(3.1 / h))
    return np.asarray((out * sheen[..., None]).astype(np.float32), np.float32)


def _pencil_bitmap(x: Float32, y: Float32, w: float, h: float) -> NDArray[np.float32]:
    facet = 0.72 + 0.5 * np.abs(np.sin(y * np.float32(np.pi * 1.5 / h)))
    out = np.ones((*x.shape, 1), np.float32) * linear((186, 52, 42)) * facet[..., None]
    out[x > w - 20] = linear((222, 186, 140))
    out[x > w - 5] = linear((44, 44, 46))
    return np.asarray(out.astype(np.float32), np.float32)


def _outside(thing: Thing, u: Float32, v: Float32) -> Float32:
    """How far outside the thing's own outline points of its frame lie. [mm]"""
    w, h = outer_size(thing)
    if thing.kind == "pencil":
        taper = np.clip((u - (w / 2 - 20)) / 20, 0, 1)
        return np.maximum(np.abs(v) - h / 2 * (1 - taper), np.abs(u) - w / 2)
    radius = 3.18 if thing.kind == "card" else 0.0  # ISO/IEC 7810 ID-1
    du, dv = np.abs(u) - (w / 2 - radius), np.abs(v) - (h / 2 - radius)
    corner = np.hypot(np.maximum(du, 0), np.maximum(dv, 0)) if radius else 0.0
    return np.asarray(
        np.minimum(np.maximum(du, dv), 0)
        + np.maximum(np.maximum(du, dv), 0) * (radius == 0)
        + corner
        - radius,
        np.float32,
    )


def _own_frame(thing: Thing, x: Float32, y: Float32) -> tuple[Float32, Float32]:
    c, s = np.float32(np.cos(np.radians(thing.angle_deg))), np.float32(np.sin(np.radians(thing.angle_deg)))
    dx, dy = x - np.float32(thing.x), y - np.float32(thing.y)
    return dx * c + dy * s, dy * c - dx * s


@lru_cache(maxsize=32)
def _filtered_bitmap(thing: Thing, footprint: float) -> tuple[NDArray[np.float32], float]:
    """The thing's bitmap, box-filtered over a sample's footprint, and its texel. [mm]"""
    finest = footprint / 5
    if thing.kind == "marker":
        assert thing.id is not None
        bitmap, texel = _marker_bitmap(thing.id, thing.size[0], thing.margin, finest)
    else:
        texel = max(finest, 0.05) if thing.kind in ("rule", "card", "pencil") else 2.0
        bitmap = _plain_bitmap(thing, texel)
    size = max(round(footprint / texel), 1) // 2 * 2 + 1
    return cv2.blur(bitmap, (size, size), borderType=cv2.BORDER_REPLICATE), texel


def _colour(thing: Thing, u: Float32, v: Float32, footprint: float) -> Float32:
    """Reflectance at points of the thing's frame."""
    bitmap, texel = _filtered_bitmap(thing, footprint)
    column = u * np.float32(1 / texel) + np.float32(bitmap.shape[1] / 2 - 0.5)
    row = v * np.float32(1 / texel) + np.float32(bitmap.shape[0] / 2 - 0.5)
    return sample(bitmap, column, row, wrap=False)


def paint_thing(
    scene: SlabScene,
    thing: Thing,
    rays: Rays,
    footprint: float,
    picture: Float32,
    cover: Float32,
    visible: Float32 | None = None,
) -> None:
    """Lay a thing and its small shadow over the picture, in place.

    `visible` is the share of each sample not hidden by the slab (for things on the bench).

    The picture has shape (H, W, 3), the others (H, W); `footprint` of a sample in mm.
    """
    z = level(scene, thing)
    x, y = rays.at(z)
    w, h = outer_size(thing)
    window = Grid(x, y, footprint).window(thing.x, thing.y, float(np.hypot(w, h)) / 2 + 8)
    if window is None:
        return
    x, y = x[window], y[window]
    u, v = _own_frame(thing, x, y)
    share = np.clip(0.5 - _outside(thing, u, v) / np.float32(footprint), 0, 1)
    if visible is not None:
        share = share * visible[window]
    part = picture[window]
    _cast_small_shadow(scene, thing, x, y, part, visible[window] if visible is not None else None)
    paper = (
        _colour(thing, u, v, footprint)
        * np.exp(0.015 * sample(fractal(2), u * np.float32(0.4), v * np.float32(0.4)))[..., None]
    )
    light = shade(scene.light, main_light(scene.light, x, y, z), np.ones_like(x))
    part += (paper * light - part) * share[..., None]
    picture[window] = part
    cover[window] = np.maximum(cover[window], share)


def _cast_small_shadow(
    scene: SlabScene, thing: Thing, x: Float32, y: Float32, part: Float32, visible: Float32 | None
) -> None:
    dx, dy = drift_per_depth(scene.light)
    h = thing.height * (0.6 if thing.kind == "pencil" else 1.0)
    u, v = _own_frame(thing, x - np.float32(h * dx), y - np.float32(h * dy))
    soft = max(scene.light.softness * h * float(np.hypot(dx, dy)), 0.25)
    dark = smoothstep(soft, -soft, _outside(thing, u, v)) * np.float32(0.5)
    contact = (
        np.exp(-np.maximum(_outside(thing, *_own_frame(thing, x, y)), 0) / np.float32(0.6 * h + 0.2)) * 0.3
    )
    total = np.maximum(dark, contact)
    part *= (1 - (total if visible is None else total * visible))[..., None]
