"""The slab as a place to cut: what is sound, what is not, and how to measure to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, STRtree

from crackmap.placement.crack_lines import CrackLine
from crackmap.placement.look_up import ROW_STEP, Cloud, boundary_rows, make_cloud
from crackmap.records import Edits, FloatArray, KeepOut, Survey
from crackmap.settings import PlacementSettings

_SIMPLIFY = 0.1  # an outline's vertices closer to a straight line than this cost time and say nothing [mm]
_PIECE = 12  # rows in each piece of boundary that the tree holds
_HULL_STEPS = 2  # steps of a line in one convex piece: 4 mm of a crack's wander is nothing a margin minds
_ATTACHED = 2.5  # a branch's root this near another line belongs to it, besides the crack's half width [mm]


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """Geometry that the rules measure to, in slab millimetres."""

    slab: Polygon
    slab_edge: Boundary
    top: Polygon | None  # finished top, where it will be trimmed
    top_edge: Boundary | None
    voids: tuple[Polygon, ...]
    void_edges: Boundary
    lines: tuple[CrackLine, ...]
    harmful: NDArray[np.bool_]  # (lines,) True where a wing must keep clear of it
    bodies: STRtree | None  # of every harmful line, as wide as it is, in short pieces
    discs: Cloud  # the same as discs along the lines; owners are lines
    attached: NDArray[np.bool_]  # (lines, lines) True where one is the other's branch
    keep_out: tuple[tuple[KeepOut, shapely.Geometry], ...]
    keep_out_edges: Boundary  # of those that keep pockets away, whatever their depth
    grain_deg: float
    thickness: float
    cutting_length: float
    crack_margin: float

    def is_on_top(self, points: FloatArray) -> NDArray[np.bool_]:
        """True where points lie on wood that stays: the slab and, if given, its finished top."""
        ok = shapely.contains_xy(self.slab, points)
        if self.top is not None:
            ok &= shapely.contains_xy(self.top, points)
        return np.asarray(ok)


def lay_out_site(survey: Survey, lines: tuple[CrackLine, ...], edits: Edits, thickness: float,
                 cutting_length: float, settings: PlacementSettings) -> Site:
    """Everything that keys must keep clear of, built once for a plan. `thickness` and `cutting_length` in mm."""
    slab = sound_polygon(survey.outline if edits.outline is None else edits.outline)
    top = None if edits.finished_top is None else sound_polygon(edits.finished_top)
    voids = tuple(sound_polygon(v.polygon) for v in survey.voids if len(v.polygon) >= 3)
    harmful = np.array([line.widest > settings.harmless_width for line in lines], bool)
    bodies = [piece for line, bad in zip(lines, harmful, strict=True) if bad for piece in crack_body(line)]
    keep_out = tuple((k, kept_out_area(k, settings)) for k in edits.keep_out)
    shapely.prepare(slab)
    if top is not None:
        shapely.prepare(top)
    return Site(slab, boundary_of(slab), top, None if top is None else boundary_of(top), voids,
                boundary_of(*voids), lines, harmful, STRtree(bodies) if bodies else None,
                _discs(lines, harmful), _attached(lines), keep_out,
                boundary_of(*(area for k, area in keep_out if k.from_face != "below" or k.depth is None)),
                survey.grain_deg, thickness, cutting_length, settings.crack_margin)


def kept_out_area(keep_out: KeepOut, settings: PlacementSettings) -> shapely.Geometry:
    """Where nothing may be cut: the area, or the screws alone of a plate that is screwed on."""
    if not len(keep_out.screws):
        return sound_polygon(keep_out.area)
    return shapely.union_all(shapely.buffer(shapely.points(keep_out.screws), settings.screw_radius))


def sound_polygon(rows: FloatArray) -> Polygon:
    """A valid polygon of `rows`; of a crossing outline, the largest part. `rows` has shape (N, 2)."""
    polygon = Polygon(rows).simplify(_SIMPLIFY)
    if not polygon.is_valid:
        polygon = shapely.make_valid(polygon, method="structure")
    if polygon.geom_type == "Polygon":
        return polygon
    parts = [g for g in getattr(polygon, "geoms", []) if g.geom_type == "Polygon"]
    return max(parts, key=lambda g: g.area, default=Polygon())


@dataclass(frozen=True, slots=True, eq=False)
class Boundary:
    """Edges of areas, exactly and as rows of points."""

    areas: tuple[Polygon, ...]
    tree: STRtree  # of short pieces of the edges
    points: Cloud

    def encloses(self, points: FloatArray) -> NDArray[np.bool_]:
        """True for points inside any of the areas, shape (N,)."""
        inside = np.zeros(len(points), bool)
        for area in self.areas:
            inside |= shapely.contains_xy(area, points)
        return inside


def boundary_of(*shapes: shapely.Geometry) -> Boundary:
    """The edges of polygons, holes included, and of the parts of multipolygons."""
    parts = tuple(p for p in shapely.get_parts(list(shapes)) if not p.is_empty) if shapes else ()
    shapely.prepare(list(parts))
    pieces: list[shapely.Geometry] = []
    for ring in (ring for part in parts for ring in (part.exterior, *part.interiors)):
        rows = np.asarray(ring.coords)
        pieces += [shapely.linestrings(rows[k:k + _PIECE]) for k in range(0, len(rows) - 1, _PIECE - 1)
                   if len(rows[k:k + _PIECE]) >= 2]
    return Boundary(parts, STRtree(pieces), make_cloud([row for part in parts for row in boundary_rows(part)]))


def _discs(lines: tuple[CrackLine, ...], harmful: NDArray[np.bool_]) -> Cloud:
    """Discs as wide as the harmful lines, close enough together that nothing passes between them unseen."""
    rows, radii = [], []
    for line, bad in zip(lines, harmful, strict=True):
        count = int(np.ceil(line.length / ROW_STEP)) + 1 if bad else 0
        at = np.linspace(0.0, line.length, count)
        rows.append(np.column_stack([np.interp(at, line.arc, line.points[:, k]) for k in (0, 1)]))
        radii.append(np.maximum(line.width_at(at), 0.02) / 2.0)
    return make_cloud(rows, radii)


def crack_body(line: CrackLine) -> list[shapely.Geometry]:
    """The crack as wide as it was measured, as overlapping pieces: convex hulls of circles at its points."""
    radius = np.maximum(line.width, 0.02) / 2.0
    circles = shapely.buffer(shapely.points(line.points), radius, quad_segs=3)
    starts = range(0, len(circles) - 1, _HULL_STEPS)
    return [shapely.convex_hull(shapely.geometrycollections(circles[k:k + _HULL_STEPS + 1])) for k in starts]


def _attached(lines: tuple[CrackLine, ...]) -> NDArray[np.bool_]:
    strings = [shapely.linestrings(line.points) for line in lines]
    attached = np.zeros((len(lines), len(lines)), bool)
    for a, line in enumerate(lines):
        for end, row in ((line.ends[0], 0), (line.ends[1], -1)):
            if end != "junction":
                continue
            for b, other in enumerate(lines):
                near = _ATTACHED + other.widest / 2.0
                if a != b and shapely.distance(shapely.points(line.points[row]), strings[b]) <= near:
                    attached[a, b] = attached[b, a] = True
    return attached
