"""Many pockets at once, as geometry that the rules can measure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import Polygon

from crackmap.keys.family import KeySize
from crackmap.keys.outline import bounding_box, to_points
from crackmap.records import FloatArray, KeyShape, frozen_array
from crackmap.shop import Shop

# Pockets are measured so much larger than they are, by chords that stray no more:
# coarse enough to be quick, and never nearer to anything than measured. [mm]
_CHORD = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Cutting:
    """One size, shaped: what a pocket of it looks like in its own frame."""

    size: KeySize
    shape: KeyShape
    outline: FloatArray  # (M, 2) points along the pocket [mm]
    wings: tuple[FloatArray, FloatArray]  # the pocket beyond its middle share [mm]
    half_length: float  # of the pocket as cut [mm]
    half_width: float  # [mm]
    middle: float  # half of the middle share, where cracks may cross [mm]


def shape_cutting(size: KeySize, shop: Shop, central_share: float) -> Cutting:
    """The cutting of a size; cracks may cross within `central_share` of its length."""
    shape = size.key_shape(shop)
    grown = Polygon(to_points(shape.pocket, _CHORD)).buffer(_CHORD, join_style="mitre")
    outline = np.asarray(grown.exterior.coords)[:-1]
    _, _, half_length, half_width = bounding_box(shape.pocket)
    middle = central_share * half_length
    body = Polygon(outline)
    right = body.intersection(shapely.box(middle, -half_width - 1.0, half_length + 1.0, half_width + 1.0))
    left = body.intersection(shapely.box(-half_length - 1.0, -half_width - 1.0, -middle, half_width + 1.0))
    wings = tuple(np.asarray(wing.exterior.coords)[:-1] for wing in (left, right))
    return Cutting(size, shape, frozen_array(outline, 2),
                   (frozen_array(wings[0], 2), frozen_array(wings[1], 2)), half_length, half_width, middle)


@dataclass(frozen=True, slots=True, eq=False)
class Pockets:
    """A batch of placed pockets; arrays have one entry each."""

    cuttings: tuple[Cutting, ...]
    kind: NDArray[np.int64]  # index into `cuttings`
    centre: FloatArray  # (N, 2) [mm]
    angle_deg: FloatArray  # (N,)
    shapes: NDArray[np.object_]  # (N,) polygons
    wings: NDArray[np.object_]  # (N,) multipolygons of two wings

    def __len__(self) -> int:
        return len(self.kind)

    def of_kind(self, name: str) -> FloatArray:
        """A field of each pocket's cutting, shape (N,). [mm]"""
        return np.array([getattr(c, name) for c in self.cuttings])[self.kind]

    @property
    def depth(self) -> FloatArray:
        """(N,) [mm]"""
        return np.array([c.size.depth for c in self.cuttings])[self.kind]

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.int64]) -> Pockets:
        """The pockets at indices or where a mask is True."""
        return Pockets(self.cuttings, self.kind[chosen], self.centre[chosen], self.angle_deg[chosen],
                       self.shapes[chosen], self.wings[chosen])

    def and_also(self, more: Pockets) -> Pockets:
        """These and `more`, whose cuttings begin with these."""
        fields = ("kind", "centre", "angle_deg", "shapes", "wings")
        return Pockets(more.cuttings, *(np.concatenate([getattr(self, f), getattr(more, f)]) for f in fields))


def lay_pockets(cuttings: tuple[Cutting, ...], kind: NDArray[np.int64], centre: FloatArray,
                angle_deg: FloatArray) -> Pockets:
    """Pockets of the given kinds, turned and put in place."""
    shapes = np.empty(len(kind), object)
    wings = np.empty(len(kind), object)
    for k, cutting in enumerate(cuttings):
        rows = np.flatnonzero(kind == k)
        if not len(rows):
            continue
        shapes[rows] = shapely.polygons(_placed(cutting.outline, centre[rows], angle_deg[rows]))
        sides = [shapely.polygons(_placed(wing, centre[rows], angle_deg[rows])) for wing in cutting.wings]
        wings[rows] = shapely.multipolygons(np.column_stack(sides))
    return Pockets(cuttings, np.asarray(kind, np.int64), np.asarray(centre, float).reshape(-1, 2),
                   np.asarray(angle_deg, float), shapes, wings)


def _placed(outline: FloatArray, centre: FloatArray, angle_deg: FloatArray) -> FloatArray:
    """Outline (M, 2) at N places: (N, M, 2)."""
    a = np.radians(angle_deg)
    cos, sin = np.cos(a)[:, None], np.sin(a)[:, None]
    x, y = outline[:, 0], outline[:, 1]
    return np.stack([cos * x - sin * y + centre[:, :1], sin * x + cos * y + centre[:, 1:]], axis=2)


def gaps_of_pairs(pockets: Pockets, a: NDArray[np.int64], b: NDArray[np.int64]) -> FloatArray:
    """Wood between pockets `a` and `b` pair by pair, shape (M,); negative where they overlap. [mm]

    Measured between the rectangles round them, along the best of the four
    sides' normals (separating axes): never more than the true distance, and
    equal to it for heads that face each other.
    """
    apart = pockets.centre[b] - pockets.centre[a]
    half_length, half_width = pockets.of_kind("half_length"), pockets.of_kind("half_width")
    best = np.full(len(a), -np.inf)
    for one, other in ((a, b), (b, a)):
        for quarter, own in ((0.0, half_length), (90.0, half_width)):
            normal = np.radians(pockets.angle_deg[one] + quarter)
            turned = np.radians(pockets.angle_deg[other]) - normal
            reach = half_length[other] * np.abs(np.cos(turned)) + half_width[other] * np.abs(np.sin(turned))
            distance = np.abs(apart[:, 0] * np.cos(normal) + apart[:, 1] * np.sin(normal))
            best = np.maximum(best, distance - own[one] - reach)
    return best


def touching_pairs(pockets: Pockets, key_gap: float) -> NDArray[np.bool_]:
    """True for pairs with less than `key_gap` of wood between them, shape (N, N). [mm]"""
    touching = np.zeros((len(pockets), len(pockets)), bool)
    if len(pockets) < 2:
        return touching
    reach = 2.0 * max(float(np.hypot(c.half_length, c.half_width)) for c in pockets.cuttings) + key_gap
    pairs = cKDTree(pockets.centre).query_pairs(reach, output_type="ndarray")
    for some in np.array_split(pairs, max(1, len(pairs) // 200_000)):
        near = gaps_of_pairs(pockets, some[:, 0], some[:, 1]) < key_gap
        touching[some[near, 0], some[near, 1]] = True
    return touching | touching.T
