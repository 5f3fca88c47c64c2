"""A lens from several photos of the printed lens sheet.

Bundle adjustment (Zhang, "A flexible new technique for camera calibration,"
IEEE Trans. Pattern Analysis and Machine Intelligence 22(11), 2000, 1330-1334)
with three departures. Pixels are taken as square, as they are on every sensor
of today, and the sheet as perhaps not: printers stretch paper along its feed by
a few tenths of a per cent, which would otherwise pass for the camera's. The
distortion has as many terms as the photos can tell, by Schwarz's criterion
(Annals of Statistics 6(2), 1978, 461-464). And a corner or photo that does not
fit pulls less (Huber).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares

from crackmap.errors import ScaleError
from crackmap.records import FloatArray, frozen_array
from crackmap.scale.camera import Lens
from crackmap.scale.lens_file import LensFile, ViewFit
from crackmap.scale.lens_views import BoardView

LEAST_VIEWS = 3  # two planes just determine a central lens; a third shows a misfit
GOOD_VIEWS = 8
GOOD_COVERAGE = 0.7
GOOD_TILT_SPREAD_DEG = 20.0  # widest angle between two views of the sheet
GOOD_FOCAL_SIGMA = 0.3  # [%]
WORST_FOCAL_SIGMA = 3.0  # beyond it the photos say nothing that EXIF doesn't [%]
GOOD_CORRECTION_SHARE = 2e-4  # of the picture's width: 0.4 mm on a slab of 2 m [-]
NOTABLE_STRETCH = 0.0015  # 0.15 mm in a 100 mm marker, about what a rule can show
GRID = (8, 6)  # cells of the picture in which coverage is counted

_CENTRE_SIGMA = 0.03  # optical axis to the picture's middle, share of its width (a choice)
_STRETCH_SIGMA = 0.005  # of a printer (a choice)
_HUBER = 2.0  # residuals beyond so many sigma pull less
_STRAY_VIEW = 4.0  # a photo whose rms is so many times the others' is left out
# f, cx, cy, then k1, k2, p1, p2, k3 as in OpenCV, then the print's stretch.
_SHARED = 9
_TERMS = ((3,), (3, 4), (3, 4, 5, 6), (3, 4, 5, 6, 7))  # nested models of the distortion


@dataclass(frozen=True, slots=True, eq=False)
class _Solution:
    """A fit with one model. Shared unknowns first, then 6 a view."""

    shared: FloatArray  # (9,)
    poses: FloatArray  # (V, 6) rotation vector, translation [mm]
    covariance: FloatArray  # (9, 9) of the shared unknowns, per unit of corner variance
    cost: float  # Huber's, in squared pixels
    free: int  # unknowns that were fitted


def calibrate_lens(views: Sequence[BoardView]) -> LensFile:
    """Focal length, centre and distortion from several views of the lens sheet.

    Parameters
    ----------
    views : sequence of BoardView
        At least 3 photos by one camera, lens and zoom, of one picture size.

    Returns
    -------
    LensFile
        In the frame of the picture as stored. Its notes say what the photos
        are too few or too alike for.

    Raises
    ------
    ScaleError
        If there are fewer than 3 views, their sizes differ, or they do not
        determine a lens.
    """
    _check_views(views)
    size = views[0].size_px
    # Every term is let go at first, so that the corners' own spread can be told.
    loose = _solve(_first_guess(views), views, size, _TERMS[-1], np.inf)
    start = loose.shared, loose.poses
    sigma = max(_robust_sigma(np.concatenate(_misfits(loose, views))), 1e-3)
    solution = _best_model(start, views, size, sigma)
    misfits = _misfits(solution, views)
    spreads = np.array([_robust_sigma(m) for m in misfits])
    kept = spreads <= _STRAY_VIEW * max(float(np.median(spreads)), sigma)
    used = [v for v, fits in zip(views, kept, strict=True) if fits]
    if not kept.all() and len(used) >= LEAST_VIEWS:
        solution = _best_model((solution.shared, solution.poses[kept]), used, size, sigma)
        for number, misfit in zip(np.flatnonzero(kept), _misfits(solution, used), strict=True):
            misfits[number] = misfit
    else:
        used, kept = list(views), np.ones(len(views), bool)
    fits = tuple(ViewFit(v.file, len(v.points), _rms([m]), bool(k))
                 for v, m, k in zip(views, misfits, kept, strict=True))
    return _as_lens_file(used, fits, solution, size)


def _check_views(views: Sequence[BoardView]) -> None:
    if len(views) < LEAST_VIEWS:
        raise ScaleError(f"{len(views)} photo(s) of the lens sheet are too few; take at least {LEAST_VIEWS}, "
                         f"better {GOOD_VIEWS} to 12, with the sheet tilted differently in each.")
    first = views[0]
    for other in views[1:]:
        if other.size_px != first.size_px:
            raise ScaleError(
                f"{other.file} has {other.size_px[0]} x {other.size_px[1]} pixels and {first.file} "
                f"{first.size_px[0]} x {first.size_px[1]}; give photos of one camera at one setting.")
        if first.focal_35mm and other.focal_35mm and abs(first.focal_35mm - other.focal_35mm) > 1.0:
            raise ScaleError(f"{other.file} was taken at {other.focal_35mm:g} mm (35 mm equivalent) and "
                             f"{first.file} at {first.focal_35mm:g} mm; give photos of one lens at one zoom.")


def _first_guess(views: Sequence[BoardView]) -> tuple[FloatArray, FloatArray]:
    """OpenCV's calibration with two radial terms and a central axis."""
    flags = (cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_PRINCIPAL_POINT
             | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3)
    objects = [np.c_[v.points, np.zeros(len(v.points))].astype(np.float32) for v in views]
    pixels = [v.pixels.astype(np.float32) for v in views]
    try:
        _, matrix, distortion, turns, shifts = cv2.calibrateCamera(
            objects, pixels, views[0].size_px, np.eye(3), np.zeros(5), flags=flags)
    except cv2.error as problem:
        raise _undetermined() from problem
    k = np.asarray(matrix, float)
    width, height = views[0].size_px
    if not np.isfinite(k).all() or not 0.2 < k[0, 0] / max(width, height) < 20:
        raise _undetermined()
    shared = np.array([k[0, 0], k[0, 2], k[1, 2], float(np.ravel(distortion)[0]), 0, 0, 0, 0, 1.0])
    poses = np.array([np.r_[np.ravel(r), np.ravel(t)] for r, t in zip(turns, shifts, strict=True)])
    return shared, poses


def _undetermined() -> ScaleError:
    return ScaleError("the photos are too alike to tell the lens from the distance; take more, with the "
                      "sheet tilted by 20 to 40 degrees another way in each.")


def _project(
    shared: FloatArray, pose: FloatArray, points: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Pixels of sheet points and their slopes by the shared unknowns and by the pose.

    Returns shapes (N, 2), (2N, 9), (2N, 6).
    """
    f, cx, cy = shared[:3]
    matrix = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
    stretched = np.c_[points[:, 0], points[:, 1] * shared[8], np.zeros(len(points))]
    pixels, slopes = cv2.projectPoints(stretched, pose[:3], pose[3:], matrix, shared[3:8])
    turn, shift, focal, rest = slopes[:, :3], slopes[:, 3:6], slopes[:, 6:8], slopes[:, 8:15]
    # Stretching moves a point along the sheet's y axis, as seen from the camera.
    along = np.repeat(points[:, 1], 2)[:, None] * cv2.Rodrigues(pose[:3])[0][:, 1]
    stretch = (shift * along).sum(axis=1, keepdims=True)
    by_shared = np.hstack([focal.sum(axis=1, keepdims=True), rest, stretch])
    return np.asarray(pixels, float).reshape(-1, 2), by_shared, np.hstack([turn, shift])


def _inverse_normal(jacobian: FloatArray) -> FloatArray:
    """Inverse of J'J, exactly as ill as it is: no small singular value is dropped, or a lens that
    the photos leave open would look well known."""
    size = np.linalg.norm(jacobian, axis=0)
    _, singular, rows = np.linalg.svd(jacobian / size, full_matrices=False)
    scaled = rows.T / np.maximum(singular, 1e-15)
    return np.asarray(scaled @ scaled.T / np.outer(size, size))


def _misfits(solution: _Solution, views: Sequence[BoardView]) -> list[FloatArray]:
    """Seen less projected corners of each view, each of shape (N, 2). [px]"""
    return [v.pixels - _project(solution.shared, pose, v.points)[0]
            for v, pose in zip(views, solution.poses, strict=True)]


def _robust_sigma(misfits: FloatArray) -> float:
    """From the median, which a few wild corners leave alone. [px]"""
    return 1.4826 * float(np.median(np.abs(misfits)))


def _rms(misfits: Sequence[FloatArray]) -> float:
    """Root mean square, each coordinate. [px]"""
    return float(np.sqrt(np.mean(np.concatenate(misfits) ** 2)))


def _best_model(start: tuple[FloatArray, FloatArray], views: Sequence[BoardView], size: tuple[int, int],
                sigma: float) -> _Solution:
    """The nested model with the least Schwarz criterion."""
    count = 2 * sum(len(v.points) for v in views)
    best: tuple[float, _Solution] | None = None
    for terms in _TERMS:
        solution = _solve(start, views, size, terms, sigma)
        criterion = solution.cost / sigma**2 + solution.free * float(np.log(count))
        if best is None or criterion < best[0]:
            best = (criterion, solution)
    assert best is not None
    return best[1]


def _solve(start: tuple[FloatArray, FloatArray], views: Sequence[BoardView], size: tuple[int, int],
           terms: tuple[int, ...], sigma: float) -> _Solution:
    """Least squares over the lens with those distortion terms and every pose."""
    free = [0, 1, 2, *terms, 8]
    fixed = start[0].copy()
    fixed[[i for i in range(3, 8) if i not in terms]] = 0.0
    weight = 1.0 if np.isinf(sigma) else sigma  # of the priors against corners in pixels
    prior_at = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2, 1.0])
    prior_slope = weight / np.array([_CENTRE_SIGMA * size[0], _CENTRE_SIGMA * size[0], _STRETCH_SIGMA])
    prior_rows = [1, 2, len(free) - 1]

    def unpack(unknowns: FloatArray) -> tuple[FloatArray, FloatArray]:
        shared = fixed.copy()
        shared[free] = unknowns[: len(free)]
        return shared, unknowns[len(free) :].reshape(-1, 6)

    def misfits(unknowns: FloatArray) -> FloatArray:
        shared, poses = unpack(unknowns)
        corners = [(_project(shared, p, v.points)[0] - v.pixels).ravel()
                   for v, p in zip(views, poses, strict=True)]
        return np.concatenate([*corners, (unknowns[prior_rows] - prior_at) * prior_slope])

    def slopes(unknowns: FloatArray) -> FloatArray:
        shared, poses = unpack(unknowns)
        jacobian = np.zeros((2 * sum(len(v.points) for v in views) + 3, len(unknowns)))
        row = 0
        for number, (view, pose) in enumerate(zip(views, poses, strict=True)):
            _, by_shared, by_pose = _project(shared, pose, view.points)
            rows = slice(row, row + len(by_pose))
            jacobian[rows, : len(free)] = by_shared[:, free]
            jacobian[rows, len(free) + 6 * number : len(free) + 6 * number + 6] = by_pose
            row = rows.stop
        jacobian[range(row, row + 3), prior_rows] = prior_slope
        return jacobian

    first = np.r_[fixed[free], start[1].ravel()]
    robust = {} if np.isinf(sigma) else {"loss": "huber", "f_scale": _HUBER * sigma}
    fit = least_squares(misfits, first, slopes, x_scale="jac", xtol=1e-10, ftol=1e-10, gtol=1e-12,
                        max_nfev=100, **robust)
    shared, poses = unpack(fit.x)
    covariance = np.zeros((_SHARED, _SHARED))
    covariance[np.ix_(free, free)] = _inverse_normal(fit.jac)[: len(free), : len(free)]
    return _Solution(shared, poses, covariance, 2 * float(fit.cost), len(fit.x))


# --- how good it is ------------------------------------------------------------------------------------


def _as_lens_file(used: Sequence[BoardView], fits: tuple[ViewFit, ...], solution: _Solution,
                  size: tuple[int, int]) -> LensFile:
    rms = _rms(_misfits(solution, used))
    free_share = 1 - solution.free / (2 * sum(len(v.points) for v in used))
    if free_share <= 0:
        raise _undetermined()
    covariance = solution.covariance * rms**2 / free_share
    f, cx, cy = solution.shared[:3]
    focal_sigma = 100 * float(np.sqrt(covariance[0, 0])) / f
    if not focal_sigma < WORST_FOCAL_SIGMA:
        raise _undetermined()
    correction = _correction_sigma(solution.shared, covariance, size)
    coverage = _coverage(used, size)
    focals = [v.focal_35mm for v in used if v.focal_35mm]
    lens = Lens(frozen_array([[f, 0, cx], [0, f, cy], [0, 0, 1]]), frozen_array(solution.shared[3:8]))
    notes = _notes(fits, coverage, _tilt_spread(solution.poses), focal_sigma, correction, size[0],
                   solution.shared[8])
    return LensFile(size[0], size[1], lens, rms, focal_sigma, correction, coverage, float(solution.shared[8]),
                    float(np.median(focals)) if focals else None, fits, notes)


def _coverage(views: Sequence[BoardView], size: tuple[int, int]) -> float:
    """Share of the picture's cells in which a corner was seen."""
    pixels = np.vstack([v.pixels for v in views])
    cells = np.floor((pixels + 0.5) / size * GRID).astype(int)
    inside = ((cells >= 0) & (cells < GRID)).all(axis=1)
    return len({tuple(c) for c in cells[inside]}) / (GRID[0] * GRID[1])


def _correction_sigma(shared: FloatArray, covariance: FloatArray, size: tuple[int, int]) -> float:
    """Greatest sigma over the picture of what the distortion moves. [px]

    An error of the focal length, which passes for distance, and a shift of the
    whole picture are left out: the fit to the slab's own markers takes them up.
    """
    x, y = np.meshgrid(np.linspace(0, size[0] - 1, GRID[0] + 1), np.linspace(0, size[1] - 1, GRID[1] + 1))
    f, cx, cy = shared[:3]
    matrix = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
    grid = np.stack([x.ravel(), y.ravel()], axis=1)[:, None]
    rays = cv2.undistortPoints(grid, matrix, shared[3:8]).reshape(-1, 2)
    ahead = np.c_[rays, np.ones(len(rays))]
    _, slopes = cv2.projectPoints(ahead, np.zeros(3), np.zeros(3), matrix, shared[3:8])
    by_terms = slopes[:, 8:15].reshape(-1, 2, 7)
    by_terms = (by_terms - by_terms.mean(axis=0)).reshape(-1, 7)
    variance = ((by_terms @ covariance[1:8, 1:8]) * by_terms).sum(axis=1)
    return float(np.sqrt((variance[0::2] + variance[1::2]).max()))


def _tilt_spread(poses: FloatArray) -> float:
    """Widest angle between the planes of two views. [degree]"""
    normals = np.array([cv2.Rodrigues(p[:3])[0][:, 2] for p in poses])
    return float(np.degrees(np.arccos(np.clip((normals @ normals.T).min(), -1, 1))))


def _notes(fits: tuple[ViewFit, ...], coverage: float, tilt_spread: float, focal_sigma: float,
           correction: float, width: int, stretch: float) -> tuple[str, ...]:
    """What the maker should know or better, a sentence each."""
    used = [f for f in fits if f.used]
    notes = [f"{f.file} does not fit the others and was left out: blurred, or the sheet was bent."
             for f in fits if not f.used]
    if len(used) < GOOD_VIEWS:
        notes.append(f"{len(used)} photos were used; {GOOD_VIEWS} to 12 make a surer lens file.")
    if coverage < GOOD_COVERAGE:
        notes.append(f"The sheet was seen in {100 * coverage:.0f} % of the picture only; let it reach every "
                     "corner, where a lens bends most.")
    if tilt_spread < GOOD_TILT_SPREAD_DEG:
        notes.append(f"The photos are much alike: the sheet's tilt differs by {tilt_spread:.0f} degrees at "
                     "most; tilt it by 20 to 40 degrees, another way in each photo.")
    if focal_sigma > GOOD_FOCAL_SIGMA:
        notes.append(f"The focal length is known to {focal_sigma:.2f} % only; more tilt makes it surer.")
    if correction > GOOD_CORRECTION_SHARE * width:
        notes.append(f"The correction is sure to {correction:.1f} px only at its worst place; more photos "
                     "with the sheet in the picture's corners help.")
    if abs(stretch - 1) > NOTABLE_STRETCH:
        more = "longer" if stretch > 1 else "shorter"
        notes.append(f"The print is {100 * abs(stretch - 1):.2f} % {more} down than across; the lens was "
                     "freed of this, but markers from this printer carry it too.")
    return tuple(notes)
