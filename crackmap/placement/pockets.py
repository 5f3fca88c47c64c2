"""Many pockets at once, as geometry that the rules can measure."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import Polygon

from crackmap.keys.family import KeySize
from crackmap.keys.outline import bounding_box, to_points
from crackmap.placement.look_up import Cloud, DistanceField, Nearby, distance_field, look_up
from crackmap.records import FloatArray, KeyShape, frozen_array
from crackmap.shop import Shop

# Pockets are measured so much larger than they are, by chords that stray no more:
# coarse enough to be quick, and never nearer to anything than measured. [mm]
_CHORD = 0.1
# How far distances are looked up where nobody asks for more, to the pocket and to
# its wings: over every usual margin, and for the wings over the half width of a
# crack that is 40 mm wide as well, for its points lie on its middle. [mm]
REACH, WING_REACH = 14.0, 24.0


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
    field: DistanceField  # of `outline`
    wing_field: DistanceField  # of `wings`
    # Circles on the axis that lie inside the wings: middle along the axis, radius. [mm]
    cores: tuple[tuple[float, float], ...]


@lru_cache(maxsize=64)
def shape_cutting(size: KeySize, shop: Shop, central_share: float, reach: float = REACH,
                  wing_reach: float = WING_REACH) -> Cutting:
    """The cutting of a size; cracks may cross within `central_share` of its length.

    `reach` and `wing_reach` are how far the look-up of distances goes. [mm]
    """
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
                   (frozen_array(wings[0], 2), frozen_array(wings[1], 2)), half_length, half_width, middle,
                   distance_field(body, reach),
                   distance_field(shapely.MultiPolygon([left, right]), wing_reach), _cores(left, right))


def _cores(*wings: Polygon) -> tuple[tuple[float, float], ...]:
    """Two circles in each wing, a third and two thirds along it."""
    cores = []
    for wing in wings:
        x0, _, x1, _ = wing.bounds
        for share in (1.0 / 3.0, 2.0 / 3.0):
            at = x0 + share * (x1 - x0)
            centre = shapely.Point(at, 0.0)
            cores.append((at, float(wing.exterior.distance(centre)) if wing.contains(centre) else 0.0))
    return tuple(cores)


@dataclass(frozen=True, slots=True, eq=False)
class Pockets:
    """A batch of placed pockets; arrays have one entry each."""

    cuttings: tuple[Cutting, ...]
    kind: NDArray[np.int64]  # index into `cuttings`
    centre: FloatArray  # (N, 2) [mm]
    angle_deg: FloatArray  # (N,)

    def __len__(self) -> int:
        return len(self.kind)

    def of_kind(self, name: str) -> FloatArray:
        """A field of each pocket's cutting, shape (N,). [mm]"""
        return np.array([getattr(c, name) for c in self.cuttings])[self.kind]

    @property
    def depth(self) -> FloatArray:
        """(N,) [mm]"""
        return np.array([c.size.depth for c in self.cuttings])[self.kind]

    @property
    def shapes(self) -> NDArray[np.object_]:
        """Polygons, made anew at each call; shape (N,)."""
        shapes = np.empty(len(self), object)
        for k, rows in self._by_kind():
            shapes[rows] = shapely.polygons(self._placed(self.cuttings[k].outline, rows))
        return shapes

    @property
    def wings(self) -> NDArray[np.object_]:
        """Both wings as multipolygons, made anew at each call; shape (N,)."""
        wings = np.empty(len(self), object)
        for k, rows in self._by_kind():
            sides = [shapely.polygons(self._placed(wing, rows)) for wing in self.cuttings[k].wings]
            wings[rows] = shapely.multipolygons(np.column_stack(sides))
        return wings

    def near(self, cloud: Cloud, wings: bool = False, within: float | None = None) -> Nearby:
        """Points of a cloud in reach of each pocket, or of its wings alone, by look-up; or `within` less. [mm]"""
        fields = [c.wing_field if wings else c.field for c in self.cuttings]
        return look_up(fields, self.kind, self.centre, self.angle_deg, cloud, within)

    def have_in_core(self, cloud: Cloud) -> NDArray[np.bool_]:
        """True for pockets with a point of a cloud in the middle of a wing, shape (N,)."""
        found = np.zeros(len(self), bool)
        if not len(cloud):
            return found
        a = np.radians(self.angle_deg)
        axis = np.column_stack([np.cos(a), np.sin(a)])
        for which in range(len(self.cuttings[0].cores)):
            at, radius = (np.array([c.cores[which][k] for c in self.cuttings])[self.kind] for k in (0, 1))
            away, _ = cloud.tree.query(self.centre + at[:, None] * axis, distance_upper_bound=float(radius.max()))
            found |= away < radius
        return found

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.int64]) -> Pockets:
        """The pockets at indices or where a mask is True."""
        return Pockets(self.cuttings, self.kind[chosen], self.centre[chosen], self.angle_deg[chosen])

    def and_also(self, more: Pockets) -> Pockets:
        """These and `more`, whose cuttings begin with these."""
        fields = ("kind", "centre", "angle_deg")
        return Pockets(more.cuttings, *(np.concatenate([getattr(self, f), getattr(more, f)]) for f in fields))

    def _by_kind(self) -> list[tuple[int, NDArray[np.int64]]]:
        every = ((k, np.flatnonzero(self.kind == k)) for k in range(len(self.cuttings)))
        return [(k, rows) for k, rows in every if len(rows)]

    def _placed(self, outline: FloatArray, rows: NDArray[np.int64]) -> FloatArray:
        """Outline (M, 2) at the places of some pockets: (rows, M, 2)."""
        a = np.radians(self.angle_deg[rows])
        cos, sin = np.cos(a)[:, None], np.sin(a)[:, None]
        x, y = outline[:, 0], outline[:, 1]
        centre = self.centre[rows]
        return np.stack([cos * x - sin * y + centre[:, :1], sin * x + cos * y + centre[:, 1:]], axis=2)


def lay_pockets(cuttings: tuple[Cutting, ...], kind: NDArray[np.int64], centre: FloatArray,
                angle_deg: FloatArray) -> Pockets:
    """Pockets of the given kinds, turned and put in place.

    `kind` and `angle_deg` have shape (K,), `centre` (K, 2). [mm]
    """
    return Pockets(cuttings, np.asarray(kind, np.int64), np.asarray(centre, float).reshape(-1, 2),
                   np.asarray(angle_deg, float))


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
