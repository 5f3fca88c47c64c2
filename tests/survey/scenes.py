"""Drawn slabs whose outline and openings are known by construction; grey bench, striped wood."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.records import (
    Datum,
    PhotoFacts,
    RectifiedPhoto,
    Reference,
    ScaleQuality,
    freeze,
    frozen_array,
)
from crackmap.scale.mapping import Mapping

FloatArray = NDArray[np.float64]
WOOD, SAPWOOD, BARK, BENCH, PAINT, HOLE = (
    (176, 128, 84),
    (222, 200, 150),
    (58, 48, 40),
    (118, 118, 116),
    (84, 104, 122),
    (16, 13, 11),
)


@dataclass(frozen=True)
class Scene:
    """A drawn picture at 1 mm a pixel; the slab frame's origin is its lower left pixel, y up."""

    pixels: NDArray[np.uint8]
    outline: FloatArray  # of the show face [px]

    @property
    def mapping(self) -> Mapping:
        """Slab mm <-> pixels: one to one, y turned."""
        return Mapping(np.array([[1.0, 0, 0], [0, -1.0, self.pixels.shape[0] - 1], [0, 0, 1]]))

    def rectified(self, marker_at: tuple[float, float] | None = None) -> RectifiedPhoto:
        """As the scale stage would hand it over, with a 60 mm marker on the slab if asked for."""
        pixels = self.pixels.copy()
        references = []
        if marker_at is not None:
            x, y = marker_at
            for half, colour in ((40, (235, 235, 235)), (30, (30, 30, 30)), (10, (235, 235, 235))):
                cv2.rectangle(
                    pixels, (int(x - half), int(y - half)), (int(x + half), int(y + half)), colour, -1
                )
            corners = np.array([[x - 30, y - 30], [x + 30, y - 30], [x + 30, y + 30], [x - 30, y + 30]])
            corners_mm = frozen_array(self.mapping.to_slab(corners), 2)
            references.append(Reference("marker", 1, corners_mm, (60.0, 60.0)))
        seen = np.ones(pixels.shape[:2], bool)
        facts = PhotoFacts("scene.png", "", pixels.shape[1], pixels.shape[0])
        datum = Datum(frozen_array([0, 0]), frozen_array([1, 0]), "markers")
        scale = ScaleQuality(1.0, 0.1, 0.1, 0.1, 1.5, 0.1)
        return RectifiedPhoto(
            freeze(pixels), freeze(seen), self.mapping, self.mapping, facts, datum, tuple(references), scale
        )


def striped_wood(shape: tuple[int, int], colour: tuple[int, int, int] = WOOD) -> NDArray[np.float32]:
    """Wood with its grain along x: rows of varying brightness, a little noise."""
    rng = np.random.default_rng(3)
    rows = cv2.GaussianBlur(rng.normal(0, 1, (shape[0], 1)), (1, 9), 1.5)
    stripes = 1 + 0.10 * rows / rows.std() + rng.normal(0, 0.02, shape)
    return (np.array(colour) * stripes[..., None]).astype(np.float32)


def wavy_outline(left: float, right: float, top: float, bottom: float, wave: float = 8.0) -> FloatArray:
    """A slab with two live sides, as a polygon. [px]"""
    x = np.linspace(left, right, 200)
    upper = top + wave * np.sin(x / 60)
    lower = bottom + wave * np.sin(x / 45 + 1)
    return np.concatenate([np.stack([x, upper], 1), np.stack([x, lower], 1)[::-1]])


def scene(
    outline: FloatArray,
    size: tuple[int, int] = (760, 460),
    bark: float = 0.0,
    paint: float = 0.0,
    holes: tuple[tuple[float, float, float], ...] = (),
    discs: tuple[tuple[float, float, float, tuple[int, int, int]], ...] = (),
    shadow: bool = False,
) -> Scene:
    """A slab on a bench, drawn at four times the size and averaged, softly blurred.

    `bark` mm of bark lie outside the long sides, `paint` mm of end paint on the
    right end; `holes` are (x, y, radius), `discs` (x, y, radius, colour) stains.
    """
    fine = 4
    shape = (size[1], size[0])
    rng = np.random.default_rng(5)
    picture = np.array(BENCH) * (1 + rng.normal(0, 0.04, shape))[..., None]
    share = _share(outline, size, fine)
    if bark:
        rim = _share(_widened(outline, bark), size, fine) * (1 - share)
        rough = np.array(BARK) * (1 + rng.normal(0, 0.25, shape))[..., None]
        picture = picture * (1 - rim[..., None]) + rough * rim[..., None]
    wood = striped_wood(shape)
    for x, y, radius, colour in discs:
        stain = _disc_share(x, y, radius, size)[..., None]
        wood = wood * (1 - stain) + np.array(colour) * stain
    if paint:
        strip = np.zeros(shape)
        strip[:, int(outline[:, 0].max() - paint) :] = 1
        wood = wood * (1 - strip[..., None]) + np.array(PAINT) * strip[..., None]
    for x, y, radius in holes:
        hole = _disc_share(x, y, radius, size)[..., None]
        wood = wood * (1 - hole) + np.array(HOLE) * hole
    picture = picture * (1 - share[..., None]) + wood * share[..., None]
    if shadow:
        band = 1 / (1 + np.exp((np.abs(np.arange(size[0]) - size[0] * 0.55) - 50) / 4))
        picture = picture * (1 - 0.4 * band[None, :, None])
    return Scene(np.clip(cv2.GaussianBlur(picture, (0, 0), 0.7), 0, 255).astype(np.uint8), outline)


def _share(polygon: FloatArray, size: tuple[int, int], fine: int) -> FloatArray:
    """Share of each pixel inside a polygon."""
    big = np.zeros((size[1] * fine, size[0] * fine), np.uint8)
    cv2.fillPoly(big, [np.round(((polygon + 0.5) * fine - 0.5) * 16).astype(np.int32)], 1, shift=4)
    return cv2.resize(big.astype(np.float64), size, interpolation=cv2.INTER_AREA)


def _disc_share(x: float, y: float, radius: float, size: tuple[int, int]) -> FloatArray:
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    return _share(np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], 1), size, 4)


def _widened(outline: FloatArray, by: float) -> FloatArray:
    """The long sides moved outward."""
    middle = outline[:, 1].mean()
    return outline + np.stack([np.zeros(len(outline)), by * np.sign(outline[:, 1] - middle)], 1)
