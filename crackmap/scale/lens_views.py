"""The corners of the printed lens sheet in a photo.

A corner where two black and two white squares meet is found without bias from
the picture's tone curve or from printing: what white gains on one side of an
edge it gains on the other too. It is sought in linear light all the same,
because under perspective the two sides are not quite alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.errors import ScaleError
from crackmap.records import FloatArray, ImageArray, Photo
from crackmap.scale.edges import LINEAR_LIGHT
from crackmap.scale.lens_file import stored_pixels, stored_size
from crackmap.settings import LENS_BOARDS, LENS_DICTIONARY, LENS_MARKER_SHARE

LEAST_CORNERS = 8  # for the 6 unknowns of a view and enough over to see it misfit
# Half the side of the window in which a corner is sought. No marker may reach
# into it, nor its blur; but less than 4 px does not hold a blurred corner, and
# errs more than a marker's edge in it does. [px]
_LEAST_WINDOW, _MOST_WINDOW = 4, 12
_BLUR_MARGIN = 3.0  # [px]
# Smoothing of the light in which corners are sought: it halves what noise moves
# them, and moves none itself. [px]
_SMOOTHING = 1.0
_STOP = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)


@dataclass(frozen=True, slots=True, eq=False)
class BoardView:
    """The lens sheet in one photo. N corners."""

    file: str
    size_px: tuple[int, int]  # width and height of the picture as stored
    points: FloatArray  # (N, 2) on the sheet, x right, y down [mm]
    pixels: FloatArray  # (N, 2) in the picture as stored [px]
    focal_35mm: float | None = None  # from EXIF [mm]


def find_board(photo: Photo, square: float) -> BoardView:
    """Find the lens sheet, on whatever paper, and measure its corners.

    Parameters
    ----------
    photo : Photo
    square : float
        Side of a printed square. [mm]

    Raises
    ------
    ScaleError
        If the sheet is not seen, or fewer than 8 of its corners.
    """
    grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, LENS_DICTIONARY))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(grey)
    if ids is None:
        raise ScaleError(f"no lens sheet was found in {photo.facts.file}; print one with crackmap lens board "
                         "and photograph it sharp and whole.")
    board = _board_of(np.ravel(ids), square, dictionary)
    detector = cv2.aruco.CharucoDetector(board)
    found, numbers, _, _ = detector.detectBoard(grey, markerCorners=corners, markerIds=ids)
    count = 0 if found is None else len(found)
    if count < LEAST_CORNERS:
        raise ScaleError(f"only {count} corners of the lens sheet can be seen in {photo.facts.file}, and "
                         f"{LEAST_CORNERS} are needed; photograph it sharp, near and evenly lit.")
    points = np.asarray(board.getChessboardCorners(), float)[np.ravel(numbers), :2]
    pixels = _refined(grey, points, np.asarray(found, float).reshape(-1, 2), square)
    return BoardView(photo.facts.file, stored_size(photo.facts), points, stored_pixels(pixels, photo.facts),
                     photo.facts.focal_35mm)


def _board_of(
    ids: NDArray[np.int32], square: float, dictionary: cv2.aruco.Dictionary
) -> cv2.aruco.CharucoBoard:
    """The layout to which most of the ids belong."""

    def members(paper: str) -> range:
        layout = LENS_BOARDS[paper]
        return range(layout.first_id, layout.first_id + layout.columns * layout.rows // 2)

    paper = max(LENS_BOARDS, key=lambda name: sum(int(i) in members(name) for i in ids))
    layout = LENS_BOARDS[paper]
    return cv2.aruco.CharucoBoard((layout.columns, layout.rows), square, square * LENS_MARKER_SHARE,
                                  dictionary, np.array(members(paper)))


def _refined(grey: ImageArray, points: FloatArray, pixels: FloatArray, square: float) -> FloatArray:
    """Corners sought in linear light, each in a window that suits its square."""
    light = cv2.GaussianBlur(LINEAR_LIGHT[grey].astype(np.float32), (0, 0), _SMOOTHING)
    room = _room_to_markers(points, pixels, square) - _BLUR_MARGIN
    windows = np.clip(np.floor(room), _LEAST_WINDOW, _MOST_WINDOW)
    refined = pixels.astype(np.float32).reshape(-1, 1, 2)
    for window in np.unique(windows):
        chosen = np.flatnonzero(windows == window)
        reach = (int(window), int(window))
        start = np.ascontiguousarray(refined[chosen])
        refined[chosen] = cv2.cornerSubPix(light, start, reach, (-1, -1), _STOP)
    return refined.reshape(-1, 2).astype(float)


def _room_to_markers(points: FloatArray, pixels: FloatArray, square: float) -> FloatArray:
    """How far the window around each corner may reach before it meets a marker, shape (N,). [px]"""
    homography, _ = cv2.findHomography(points, pixels, cv2.RANSAC, 5.0)
    near, far = (1 - LENS_MARKER_SHARE) / 2 * square, square / 2
    along = np.linspace(near, far, 8)
    sides = np.vstack([np.c_[np.full(8, near), along], np.c_[along, np.full(8, near)]])
    all_round = np.vstack([sides * sign for sign in ((1, 1), (1, -1), (-1, 1), (-1, -1))])
    outlines = (points[:, None] + all_round).reshape(1, -1, 2)
    seen = cv2.perspectiveTransform(outlines, homography).reshape(len(points), -1, 2)
    here = cv2.perspectiveTransform(points[None], homography).reshape(-1, 1, 2)
    return np.asarray(np.abs(seen - here).max(axis=2).min(axis=1))
