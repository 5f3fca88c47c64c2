"""The hard rules once more, written for the tests alone: no code of the placement is used.

Outlines with bulges are turned into points by the arc's own geometry, distances
are shapely's, cracks are unions of discs along their centrelines.
"""

from __future__ import annotations

import numpy as np
import shapely

from crackmap.records import Edits, Key, Placement, Survey
from crackmap.settings import PlacementSettings

TOLERANCE = 0.15  # outlines are simplified by 0.1 mm, chords stray by 0.02 mm [mm]


def polygon_of(rows: np.ndarray) -> shapely.Polygon:
    """Points on the arcs of a closed outline; the sagitta of a bulge b on a chord c is b c / 2."""
    points: list[np.ndarray] = []
    for (x0, y0, bulge), (x1, y1, _) in zip(rows, np.roll(rows, -1, axis=0), strict=True):
        start, end = np.array([x0, y0]), np.array([x1, y1])
        points.append(start)
        if bulge == 0.0:
            continue
        chord = end - start
        # Circle through start, end and the arc's middle point, which lies right of the chord for a left turn.
        middle = (start + end) / 2 + np.array([chord[1], -chord[0]]) * bulge / 2
        centre = _circumcentre(start, middle, end)
        angle = 4 * np.arctan(bulge)
        spoke = start - centre
        for share in np.linspace(0, 1, 24)[1:-1]:
            c, s = np.cos(angle * share), np.sin(angle * share)
            points.append(centre + np.array([c * spoke[0] - s * spoke[1], s * spoke[0] + c * spoke[1]]))
    return shapely.Polygon(points)


def _circumcentre(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    matrix = 2 * np.array([b - a, c - a])
    return np.linalg.solve(matrix, [b @ b - a @ a, c @ c - a @ a])


def faults(placement: Placement, survey: Survey, edits: Edits, thickness: float, floor: float,
           settings: PlacementSettings) -> list[str]:
    """Every hard rule that a suggested key breaks."""
    pockets = [polygon_of(k.pocket) for k in placement.keys]
    found = []
    for n, (key, pocket) in enumerate(zip(placement.keys, pockets, strict=True)):
        if key.origin != "suggested":
            continue
        others = [p for m, p in enumerate(pockets) if m != n]
        found += [f"{key.id}: {fault}" for fault in
                  [*_place_faults(key, pocket, others, survey, edits, thickness, floor, settings),
                   *_crack_faults(key, pocket, survey, settings)]]
    return found


def _place_faults(key: Key, pocket: shapely.Polygon, others: list[shapely.Polygon], survey: Survey,
                  edits: Edits,
                  thickness: float, floor: float, settings: PlacementSettings) -> list[str]:
    found = []
    for name, rows in (("slab", survey.outline), ("top", edits.finished_top)):
        if rows is None:
            continue
        area = shapely.Polygon(rows)
        if not area.contains(pocket) or area.exterior.distance(pocket) < settings.edge_margin - TOLERANCE:
            found.append(f"too near the {name}'s edge")
    for void in survey.voids:
        if shapely.Polygon(void.polygon).distance(pocket) < settings.void_margin - TOLERANCE:
            found.append(f"too near {void.id}")
    if any(other.distance(pocket) < settings.key_gap - TOLERANCE for other in others):
        found.append("too near another key")
    below = 0.0
    for area in edits.keep_out:
        shape = shapely.Polygon(area.area)
        if area.from_face == "below" and area.depth is not None:
            below = max(below, area.depth if shape.intersects(pocket) else 0.0)
        elif shape.distance(pocket) < settings.keep_out_margin - TOLERANCE:
            found.append("in an area kept out")
    if thickness - below - key.shape.depth < floor - 1e-6:
        found.append("too little floor")
    off_grain = abs((key.angle_deg - survey.grain_deg + 90) % 180 - 90)
    if off_grain < settings.least_grain_angle - 1e-6:
        found.append("along the grain")
    return found


def _crack_faults(key: Key, pocket: shapely.Polygon, survey: Survey,
                  settings: PlacementSettings) -> list[str]:
    found = []
    if not key.cracks:
        found.append("holds no crack")
    by_id = {c.id: c for c in survey.cracks}
    for name in key.cracks:
        if by_id[name].confidence < settings.least_confidence:
            found.append(f"holds {name}, which may be no crack")
        if not shapely.LineString(by_id[name].centreline).intersects(pocket):
            found.append(f"does not cross {name}")
    a = np.radians(key.angle_deg)
    along = np.array([np.cos(a), np.sin(a)])
    ends = [shapely.LineString([key.centre + side * along * settings.central_share * key.shape.length / 2,
                                key.centre + side * along * key.shape.length]).buffer(key.shape.width,
                                                                                      cap_style="flat")
            for side in (-1, 1)]
    wings = shapely.union_all([pocket.intersection(end) for end in ends])
    for crack in survey.cracks:
        if crack.confidence < settings.least_confidence or crack.widest <= settings.harmless_width:
            continue
        away = shapely.distance(shapely.points(crack.centreline), wings) - crack.width / 2
        # The pocket is a clearance larger than its nominal length, which the wing's start is reckoned from;
        # the crack's body is drawn as hulls over 4 mm, which a jag inside may leave by a few tenths.
        if away.min() < settings.crack_margin - 0.6:
            found.append(f"a wing meets {crack.id} ({away.min():.2f} mm)")
    return found
