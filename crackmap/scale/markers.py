"""Find the printed square markers and measure every straight edge in them.

A marker is a grid of 6 x 6 cells: a black border one cell wide round 4 x 4
bits of OpenCV's predefined 4x4_50 dictionary. Where black meets white, inside
the marker as well as round it, the edge is measured cell by cell.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.errors import ScaleError
from crackmap.scale.edges import EdgeOffsets, measure_edges
from crackmap.scale.flat import fit_homography, line_sigmas, photo_normals, project
from crackmap.scale.target import FloatArray, Target, rectangle_corners

CELLS = 6  # a side: four bits and a border of one cell on both sides
DICTIONARY = cv2.aruco.DICT_4X4_50
LOOK_PX = 1500  # a large photo is first looked at with its longer side halved to no less than this
PLAIN_PX = 40.0  # shortest side of a marker in such a copy: half of it can still be read
LAST_LOOK_PX = 9000  # no copy longer than this is looked at: the detector asks for sides of a two-hundredth of it
BLOOM_SIGMA = 0.3  # [px]; a tone curve or a spreading print moves edges by up to half a pixel

ImageArray = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Sighting:
    """A marker as detected, before its edges are measured."""

    id: int
    corners: FloatArray  # (4, 2) top left, top right, bottom right, bottom left as printed [px]


def find_markers(grey: ImageArray, size: float, height: float) -> list[Target]:
    """Detect the markers and measure their edges.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
        The photo's luma.
    size : float
        Side of the black square. [mm]
    height : float
        Of the markers' faces above the show face. [mm]

    Raises
    ------
    ScaleError
        If two markers bear the same id, or if the photo is mirrored.
    """
    seen = detect(grey)
    if not any(tells_mirror(s.id) for s in seen) and any(
            tells_mirror(s.id) for s in detect(np.ascontiguousarray(grey[:, ::-1]))):
        raise ScaleError("the photo is mirrored: its markers can be read only when it is flipped left to right; "
                         "save it again without mirroring.")
    ids = [s.id for s in seen]
    for doubled in sorted({i for i in ids if ids.count(i) > 1}):
        raise ScaleError(f"marker {doubled} is in view {ids.count(doubled)} times; every marker needs an id of its "
                         "own: take all but one away, or print others, and photograph again.")
    targets = [_measured(grey, s, size, height) for s in seen]
    return sorted((t for t in targets if t is not None), key=lambda t: t.id if t.id is not None else -1)


def detect(grey: ImageArray) -> list[Sighting]:
    """All markers of the dictionary that can be read without a single wrong bit.

    Looked for on a reduced copy of a large photo first. That is the last word where
    the smallest marker seen is so large there that any other of its size, farther
    off or tilted, would have been seen as well. Of a photo longer than `LAST_LOOK_PX` the last copy has the last word.

    `grey` has shape (H, W).
    """
    shrink = 2 ** max(int(np.log2(max(grey.shape) / LOOK_PX)), 0)
    while shrink > 1:
        size = (grey.shape[1] // shrink, grey.shape[0] // shrink)
        whole = grey[: size[1] * shrink, : size[0] * shrink]
        seen = _read_markers(np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), np.uint8))
        if seen and min(_shortest_side(s.corners) for s in seen) >= PLAIN_PX:
            return [Sighting(s.id, (s.corners + 0.5) * shrink - 0.5) for s in seen]
        if max(size) > LAST_LOOK_PX / 2:
            return [Sighting(s.id, (s.corners + 0.5) * shrink - 0.5) for s in seen]
        shrink //= 2
    return _read_markers(grey)


def _shortest_side(corners: FloatArray) -> float:
    return float(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).min())


def _read_markers(grey: ImageArray) -> list[Sighting]:
    """Markers as they are seen at this resolution."""
    settings = cv2.aruco.DetectorParameters()
    settings.errorCorrectionRate = 0.0  # wood grain must never pass for a marker with one bit mended
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.minMarkerPerimeterRate = 0.02
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARY), settings)
    corners, ids, _ = detector.detectMarkers(grey)
    if ids is None:
        return []
    return [Sighting(int(i), np.asarray(c, float).reshape(4, 2))
            for i, c in zip(np.ravel(ids), corners, strict=True)]


def marker_cells(marker_id: int) -> NDArray[np.bool_]:
    """True where a cell is white, shape (8, 8): the marker with one cell of its white surround."""
    drawn = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(DICTIONARY), marker_id, CELLS)
    return np.pad(np.asarray(drawn) > 127, 1, constant_values=True)


def tells_mirror(marker_id: int) -> bool:
    """True unless the marker looks the same in a mirror (8, 9, 17 and 47 do)."""
    white = marker_cells(marker_id)
    return not any(np.array_equal(np.rot90(white[:, ::-1], turns), white) for turns in range(4))


def edge_pieces(marker_id: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Every cell side where black meets white.

    Returns
    -------
    starts, ends : ndarray, shape (S, 2)
        Their ends in cells, origin at the marker's centre, y up. [cell]
    normals : ndarray, shape (S, 2)
        Unit vectors from black to white.

    Notes
    -----
    The four sides that meet at the very centre are left out: the cross to
    prick through is printed over them.
    """
    white = marker_cells(marker_id)
    pieces: list[tuple[tuple[float, float], tuple[float, float], tuple[float, float]]] = []
    middle = CELLS / 2
    for row in range(CELLS + 2):
        for col in range(CELLS + 2):
            x, y = col - 1 - middle, middle - (row - 1)  # the cell's upper left corner
            if col + 1 < CELLS + 2 and white[row, col] != white[row, col + 1] and 0 < row <= CELLS:
                pieces.append(((x + 1, y), (x + 1, y - 1), (1.0 if white[row, col + 1] else -1.0, 0.0)))
            if row + 1 < CELLS + 2 and white[row, col] != white[row + 1, col] and 0 < col <= CELLS:
                pieces.append(((x, y - 1), (x + 1, y - 1), (0.0, -1.0 if white[row + 1, col] else 1.0)))
    kept = [p for p in pieces if (0.0, 0.0) not in p[:2]]
    starts, ends, normals = (np.array([p[k] for p in kept], float) for k in range(3))
    return starts, ends, normals


def grid_lines(middles: FloatArray) -> NDArray[np.intp]:
    """Which line of the grid each piece lies on, given the pieces' middles in cells, shape (S,)."""
    upright = np.abs(middles[:, 0] % 1) < 0.25
    return np.where(upright, np.round(middles[:, 0]), 100 + np.round(middles[:, 1])).astype(np.intp)


def _measured(grey: ImageArray, sighting: Sighting, size: float, height: float) -> Target | None:
    """The marker's edge points, or None if they don't look like a printed marker's."""
    starts, ends, outward = edge_pieces(sighting.id)
    to_photo = cv2.getPerspectiveTransform(
        rectangle_corners(CELLS, CELLS).astype(np.float32), sighting.corners.astype(np.float32)).astype(float)
    cell_px = float(np.sqrt(cv2.contourArea(sighting.corners.astype(np.float32)))) / CELLS
    middles = (starts + ends) / 2
    for tolerance in (0.45, 0.4):  # the first pass starts from the detector's rough corners
        reach = float(np.clip(tolerance * cell_px, 1.8, 6.0))
        trim = float(np.clip(2.5 / cell_px, 0.12, 0.3))
        near, far = starts + (ends - starts) * trim, ends - (ends - starts) * trim
        normals = photo_normals(to_photo, middles, outward, ends - starts)
        found = measure_edges(grey, project(to_photo, near), project(to_photo, far), normals, reach)
        good = found.ok & (found.beyond > found.before)
        if good.sum() < max(12, 0.6 * len(starts)):
            return None
        seen_at = project(to_photo, middles) + normals * found.offset[:, None]
        to_photo, misfit = fit_homography(to_photo, middles[good], seen_at[good], normals[good])
    return _target(sighting.id, size, height, to_photo, middles, seen_at, normals, found, np.flatnonzero(good), misfit)


def _target(marker_id: int, size: float, height: float, to_photo: FloatArray, middles: FloatArray,
            seen_at: FloatArray, normals: FloatArray, found: EdgeOffsets, good: NDArray[np.intp], misfit: FloatArray
            ) -> Target:
    """The edge points that lie where the others say, with their sigmas."""
    spread = 1.4826 * float(np.median(np.abs(misfit)))
    kept = good[np.abs(misfit) < 4 * max(spread, 0.02)]
    lines = grid_lines(middles)[kept]
    sigmas = line_sigmas(found.sigma[kept], misfit[np.isin(good, kept)], lines)
    corners = project(to_photo, rectangle_corners(CELLS, CELLS))
    return Target("marker", marker_id, (size, size), height, middles[kept] * (size / CELLS), seen_at[kept],
                  normals[kept], sigmas, found.sigma[kept], lines, BLOOM_SIGMA, corners,
                  float(np.median(found.blur[kept])), float(np.median(found.beyond[kept])))
