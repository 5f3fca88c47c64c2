"""What the slab lies on: linear RGB reflectance of a dozen floors and benches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from crackmap.demo.lighting import ShadowMap, bench_light
from crackmap.demo.looks import linear
from crackmap.demo.noise import Float32, cells, dashes, fibre, fractal, sample, smoothstep, soft, wrapped
from crackmap.demo.scene import SlabScene

RGB = tuple[float, float, float]
Painter = Callable[[Float32, Float32, RGB, float], Float32]


def _noise(tile: Float32, x: Float32, y: Float32, px: float, py: float, shift: float = 0.0) -> Float32:
    return sample(
        tile, x * np.float32(1 / px) + np.float32(shift), y * np.float32(1 / py) + np.float32(1.7 * shift)
    )


def _flat(x: Float32, colour: RGB) -> Float32:
    return np.ones((*x.shape, 1), np.float32) * linear(colour)


def _concrete(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    cloud = _noise(fractal(0), x, y, 3.1, 3.1) + 0.6 * _noise(fractal(1), x, y, 0.9, 1.1)
    grit = _noise(soft(0), x, y, max(0.3, f), max(0.3, f))
    vein = np.abs(_noise(fractal(2), x, y, 4.3, 4.3, 90.0))
    line = np.exp(-((vein / 0.006) ** 2)) * (_noise(fractal(3), x, y, 7.0, 7.0) > 0.9)
    pits = smoothstep(2.2, 3.0, _noise(soft(1), x, y, 0.9, 0.9))
    tone = np.exp(0.16 * cloud + 0.06 * grit) * (1 - 0.5 * line) * (1 - 0.5 * pits)
    return _flat(x, colour) * tone[..., None]


def _plywood(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    sheet = y + 14 * _noise(fractal(0), x, y, 14.0, 1.6)
    rings = np.sin(sheet * np.float32(0.19)) + 0.6 * np.sin(sheet * np.float32(0.47) + 1)
    fibres = _noise(fibre(1), x, sheet, 1.6, 0.4)
    pore = _noise(dashes(0), x, sheet, 1.1, max(0.25, f))
    seam = np.exp(-(((wrapped(y + 300, 1220) - 600) / 0.9) ** 2))
    tone = np.exp(0.06 * rings + 0.07 * fibres) * (1 - 0.25 * pore) * (1 - 0.6 * seam)
    return np.asarray(_flat(x, colour) * tone[..., None], np.float32)


def _planks(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    wide = 118.0
    board = np.floor(y * np.float32(1 / wide))
    shift = board * 37.3
    ring = np.sin(
        (wrapped(y, wide) + 16 * _noise(fractal(1), x + shift * 9, y, 9.0, 1.5)) * np.float32(0.33) + shift
    )
    fibres = _noise(fibre(0), x + shift * 20, y, 1.4, 0.4)
    from_gap = wide / 2 - np.abs(wrapped(y, wide) - np.float32(wide / 2))
    gap = smoothstep(1.6, 0.8, from_gap)
    joint = smoothstep(1.2, 0.5, np.abs(wrapped(x + shift * 41, 1700) - 850))
    tone = np.exp(0.08 * ring + 0.09 * fibres + 0.18 * np.sin(board * 12.9)) * (
        1 - 0.85 * np.maximum(gap, joint)
    )
    return np.asarray(_flat(x, colour) * tone[..., None], np.float32)


def _strands(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    """Board of pressed wood strands: layers of pale and brown chips at all angles."""
    out = _flat(x, colour) * np.float32(0.55)
    for layer, angle in enumerate((0.4, 1.5, 2.6, 0.9, 2.1)):
        c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
        u, v = x * c + y * s, y * c - x * s
        warp = 1.5 * _noise(fractal(layer % 4), x, y, 6.0, 6.0)
        cell = sample(
            cells(0), u * np.float32(1 / 4.6) + 131 * layer, (v + warp) * np.float32(1 / 1.15) + 77 * layer
        )
        chosen = (cell[..., 1] * 7.3 + layer * 0.37) % 1 < 0.5
        grain = _noise(fibre(layer % 2), u, v, 0.9, 0.35, 50.0 * layer)
        tone = (
            (0.6 + 0.8 * cell[..., 1]) * np.exp(0.1 * grain) * (1 - 0.5 * smoothstep(1.0, 0.1, cell[..., 0]))
        )
        warm = np.stack([tone, tone * (0.9 + 0.1 * cell[..., 1]), tone * (0.75 + 0.3 * cell[..., 1])], -1)
        out = np.where(chosen[..., None], linear(colour) * warm, out)
    return np.asarray(out, np.float32)


def _painted(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    brush = _noise(fibre(1), x, y, 2.2, 0.7)
    cloud = _noise(fractal(3), x, y, 4.0, 4.0)
    blot = smoothstep(2.1, 2.25, _noise(fractal(0), x, y, 1.7, 1.7, 31.0))
    scratch = smoothstep(0.55, 0.8, _noise(dashes(0), 0.8 * x + 0.6 * y, 0.8 * y - 0.6 * x, 9.0, max(0.6, f)))
    tone = np.exp(0.035 * brush + 0.09 * cloud) * (1 - 0.35 * blot) * (1 + 0.25 * scratch)
    return np.asarray(_flat(x, colour) * tone[..., None], np.float32)


def _grass(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    out = _flat(x, colour) * np.float32(0.25)
    for layer in range(7):
        angle = 0.45 + layer * 0.9
        c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
        bend = 7 * _noise(soft(layer % 2), x, y, 9.0, 9.0, 40.0 * layer)
        u, v = x * c + y * s + 3 * bend, y * c - x * s + bend
        blade = smoothstep(0.25, 0.5, _noise(dashes(0), u, v, 3.4, max(0.75, f), 91.0 * layer))
        hue = _noise(fractal(layer % 4), x, y, 2.2, 2.2, 17.0 * layer)
        straw = smoothstep(0.9, 1.4, hue) * np.float32(0.6)
        tone = (0.5 + 0.12 * layer) * np.exp(0.2 * hue)
        green = linear(colour) * tone[..., None]
        dry = linear((196, 186, 116)) * (0.6 * tone)[..., None]
        out += (green + (dry - green) * straw[..., None] - out) * blade[..., None]
    return out


def _cardboard(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    flute = np.sin(x * np.float32(6.283 / 7.2)) if f < 2.4 else np.zeros_like(x)
    fleck = _noise(soft(1), x, y, max(0.35, f), max(0.35, f))
    cloud = _noise(fractal(1), x, y, 4.4, 4.4)
    fold = np.exp(-(((wrapped(y + 0.02 * x, 640) - 320) / 2.0) ** 2))
    tone = np.exp(0.02 * flute + 0.04 * fleck + 0.06 * cloud) * (1 - 0.3 * fold)
    return np.asarray(_flat(x, colour) * tone[..., None], np.float32)


def _mat(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    """A rubber or cutting mat with a faint printed grid of lines."""
    lines = np.zeros_like(x)
    for q in (x, y):
        m = np.abs(wrapped(q, 50) - 25)
        lines = np.maximum(lines, smoothstep(0.7, 0.3, m))
    scuff = _noise(fractal(2), x, y, 3.0, 3.0)
    dust = smoothstep(2.0, 3.0, _noise(soft(0), x, y, max(0.5, f), max(0.5, f)))
    tone = np.exp(0.1 * scuff) + 0.5 * lines + 1.2 * dust
    return np.asarray(_flat(x, colour) * tone[..., None], np.float32)


def _tiles(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    side = 298.0
    column, row = np.floor(x * np.float32(1 / side)), np.floor(y * np.float32(1 / side))
    hue = np.sin(column * 12.9898 + row * 78.233) * np.float32(43758.5)
    hue = (hue - np.floor(hue)) - np.float32(0.5)
    half = np.float32(side / 2)
    rim = half - np.maximum(np.abs(wrapped(x, side) - half), np.abs(wrapped(y, side) - half))
    grout = smoothstep(2.6, 1.8, rim)
    cloud = _noise(fractal(0), x + 90 * column, y + 70 * row, 2.6, 2.6)
    tone = np.exp(0.1 * cloud + 0.14 * hue)
    tile = _flat(x, colour) * tone[..., None]
    return np.asarray(tile + (linear((118, 112, 104)) - tile) * grout[..., None], np.float32)


def _gravel(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    cell = sample(cells(0), x * np.float32(1 / 0.8), y * np.float32(1 / 0.8))
    tone = (0.45 + 0.9 * cell[..., 1]) * smoothstep(0.2, 4.5, cell[..., 0])
    tone = tone * np.exp(0.12 * _noise(soft(0), x, y, max(0.5, f), max(0.5, f)))
    return np.asarray(_flat(x, colour) * np.maximum(tone, 0.05)[..., None], np.float32)


def _cloth(x: Float32, y: Float32, colour: RGB, f: float) -> Float32:
    """A dust sheet: pale cloth with folds."""
    fold = _noise(fractal(2), x, y, 5.0, 2.2) + 0.5 * _noise(
        fractal(1), 0.7 * x + 0.7 * y, 0.7 * y - 0.7 * x, 6.0, 1.5
    )
    weave = _noise(soft(0), x, y, max(0.4, f), max(0.4, f))
    return _flat(x, colour) * np.exp(0.17 * fold + 0.04 * weave)[..., None]


BENCHES: dict[str, tuple[Painter, tuple[RGB, ...]]] = {
    "concrete": (_concrete, ((138, 136, 130), (112, 110, 106), (168, 164, 154))),
    "plywood": (_plywood, ((206, 174, 126), (190, 152, 104))),
    "planks": (_planks, ((146, 112, 80), (178, 142, 104), (112, 96, 84))),
    "strands": (_strands, ((204, 164, 104), (190, 156, 110))),
    "painted": (_painted, ((150, 140, 128), (88, 104, 112), (192, 190, 184), (72, 84, 70))),
    "grass": (_grass, ((96, 132, 52), (116, 138, 66))),
    "cardboard": (_cardboard, ((178, 138, 92), (160, 122, 82))),
    "mat": (_mat, ((38, 40, 42), (32, 62, 54), (52, 54, 60))),
    "tiles": (_tiles, ((196, 184, 166), (142, 100, 78), (216, 214, 208))),
    "gravel": (_gravel, ((152, 144, 132), (128, 124, 120))),
    "cloth": (_cloth, ((214, 208, 196), (178, 176, 172))),
}


def bench_albedo(
    name: str, x: Float32, y: Float32, angle_deg: float, colour: RGB | None, footprint: float
) -> Float32:
    """Linear RGB reflectance of a bench at points on it.

    `x` and `y` may have any shape.

    Parameters
    ----------
    name : str
        A key of BENCHES.
    x, y : ndarray of float32
        Slab frame. [mm]
    angle_deg : float
        How the bench is turned against the slab.
    colour : tuple, optional
        sRGB 0 to 255; the bench's own first colour when None.
    footprint : float
        Distance between samples, so that nothing finer is drawn. [mm]
    """
    painter, colours = BENCHES[name]
    c, s = np.float32(np.cos(np.radians(angle_deg))), np.float32(np.sin(np.radians(angle_deg)))
    return painter(x * c + y * s, y * c - x * s, colour or colours[0], footprint)


@dataclass(frozen=True, slots=True, eq=False)
class LitBench:
    """The bench of a scene under its light, to be asked for any points."""

    scene: SlabScene
    shadow: ShadowMap
    footprint: float  # distance between samples, measured on the show face [mm]

    def seen_at(self, x: Float32, y: Float32) -> Float32:
        """Linear light (..., 3) that comes from points of the bench. [mm]"""
        scene = self.scene
        finest = self.footprint * (1 + scene.thickness_mm / scene.camera.height)
        colour = bench_albedo(scene.bench, x, y, scene.bench_angle_deg, scene.bench_colour, finest)
        colour *= bench_light(scene, self.shadow, x, y)
        return colour
