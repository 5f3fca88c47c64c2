"""How well a lens is measured, against OpenCV's own calibration on the same corners.

    python -m tests.benchmarks.bench_lens [--quick] [--trials 20] [--no-rendered]

Columns: error of k1 [%] and of the focal length [%], rms of the fit over the
noise put in [px], and the worst error that correcting a whole photo with the
lens would leave [px], a shift, turn and change of scale taken out, since those
are fitted to the slab's own markers. "claimed" is the worst place's own sigma.
"""

from __future__ import annotations

import argparse
import time

import cv2
import numpy as np

from crackmap.scale.lens_fit import calibrate_lens
from crackmap.scale.lens_views import BoardView, find_board
from tests.lens_scene import Renderer, TrueCamera, poses, seen_corners

LENSES = {
    "phone, k1 -0.03": (-0.03, 0, 0, 0, 0),
    "phone, k1 +0.05 k2 -0.03": (0.05, -0.03, 0, 0, 0),
    "wide, five terms": (-0.12, 0.08, 0.0005, -0.0004, -0.02),
}
VIEWS = 10
NOISE_PX = 0.1


def by_opencv(views: list[BoardView]) -> tuple[np.ndarray, np.ndarray, float]:
    """The reference: cv2.calibrateCamera with its defaults (independent)."""
    objects = [np.c_[v.points, np.zeros(len(v.points))].astype(np.float32) for v in views]
    pixels = [v.pixels.astype(np.float32) for v in views]
    rms, matrix, distortion, _, _ = cv2.calibrateCamera(objects, pixels, views[0].size_px, None, None)
    return matrix, np.ravel(distortion), rms / np.sqrt(2)  # its rms is of points, ours of coordinates


def worst_left(camera: TrueCamera, matrix: np.ndarray, distortion: np.ndarray) -> float:
    """Greatest distance between true and corrected rays over the picture, a similarity taken out. [px]"""
    u, v = np.meshgrid(np.linspace(0, camera.width - 1, 25), np.linspace(0, camera.height - 1, 19))
    pixels = np.stack([u.ravel(), v.ravel()], axis=1)[:, None]
    true = cv2.undistortPoints(pixels, camera.matrix, camera.distortion).reshape(-1, 2) * camera.matrix[0, 0]
    found = cv2.undistortPoints(pixels, matrix, distortion).reshape(-1, 2) * camera.matrix[0, 0]
    fit = cv2.estimateAffinePartial2D(found, true, method=cv2.LMEDS)[0]
    return float(np.hypot(*(found @ fit[:, :2].T + fit[:, 2] - true).T).max())


def figures(camera: TrueCamera, views: list[BoardView], noise: float) -> list[float]:
    """Our figures, then OpenCV's, for one set of views."""
    began = time.process_time()
    ours = calibrate_lens(views)
    seconds = time.process_time() - began
    matrix, distortion, rms = by_opencv(views)
    row = []
    both = ((ours.lens.camera_matrix, ours.lens.distortion, ours.rms_px), (matrix, distortion, rms))
    for k, d, fit_rms in both:
        row += [100 * abs(d[0] / camera.distortion[0] - 1), 100 * abs(k[0, 0] / camera.matrix[0, 0] - 1),
                fit_rms - noise, worst_left(camera, k, d)]
    return [*row, ours.correction_sigma_px, seconds]


HEAD = (f"{'':36}{'crackmap':^38}{'OpenCV':^38}\n{'median over trials':36}"
        + "  ".join(f"{h:>8}" for h in ("k1 %", "f %", "rms px", "worst px") * 2 + ("claimed", "cpu s")))


def print_row(name: str, rows: list[list[float]]) -> None:
    print(f"{name:36}" + "  ".join(f"{v:8.3f}" for v in np.median(rows, axis=0)))


def simulated(trials: int) -> None:
    """Corners by formula with Gaussian noise; true print, and one stretched by a fifth of a per cent."""
    for stretch in (1.0, 1.002):
        for name, distortion in LENSES.items():
            camera = TrueCamera.phone(4000, 3000, distortion)
            rows = []
            for trial in range(trials):
                rng = np.random.default_rng(trial)
                views = [seen_corners(camera, pose, NOISE_PX, rng, str(i), stretch)
                         for i, pose in enumerate(poses(camera, VIEWS, rng))]
                rows.append(figures(camera, views, NOISE_PX))
            print_row(name + (f", print {100 * (stretch - 1):+.1f} %" if stretch != 1 else ""), rows)


def rendered(width: int, lenses: int) -> None:
    """Photos of the printed sheet: found, measured and fitted; no noise figure is known, so rms is whole."""
    for name, distortion in list(LENSES.items())[:lenses]:
        camera = TrueCamera.phone(width, width * 3 // 4, distortion)
        renderer, rng = Renderer(camera), np.random.default_rng(5)
        views = [find_board(renderer.photo(pose, rng, str(i)), 30.0)
                 for i, pose in enumerate(poses(camera, VIEWS, rng))]
        print_row(f"rendered, {name}", [figures(camera, views, 0.0)])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="few trials, small pictures")
    parser.add_argument("--trials", type=int, default=20)
    parser.add_argument("--no-rendered", action="store_true")
    chosen = parser.parse_args()
    print(HEAD)
    simulated(3 if chosen.quick else chosen.trials)
    if not chosen.no_rendered:
        rendered(1200 if chosen.quick else 2400, 1 if chosen.quick else len(LENSES))


if __name__ == "__main__":
    main()
