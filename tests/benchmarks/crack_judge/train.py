"""Fit the judge of whole segments on made pictures.

    python -m tests.benchmarks.crack_judge.train [--scenes 900] [--patches 500] [--workers 2] [--keep DIR]

Flat pictures and pieces of the generator's photographs; no real photograph
takes part. Run it again after the network was fitted again: its chance of crack
is one of the things that the judge looks at. `--keep` holds the rendered pieces
for the next time. Prints how well confidence agrees with truth on pictures left out.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from scipy.spatial import cKDTree

from crackmap.survey.candidates import Candidates, candidates
from crackmap.survey.crack_chance import crack_chance
from crackmap.survey.graph import Branch
from crackmap.survey.judge import SEGMENT_MODEL
from crackmap.survey.judge_scenes import Scene, make_scene
from crackmap.survey.judge_training import log_loss, reliability
from crackmap.survey.network import CLIP, FloatArray, Network, fit_layers
from crackmap.survey.segments import SEGMENT_FEATURES, segment_features, segments_of
from tests.benchmarks.crack_judge.patches import patch_scene

FIRST_PATCH = 700_000
HIDDEN, EPOCHS, DECAY = 12, 60, 3e-3
MEMBERS, FOLDS = 4, 5
PACKAGE = Path(__file__).parents[3] / "crackmap" / "survey"


def scene_of(number: int, folder: Path | None) -> Scene:
    """Flat pictures have numbers from 0, pieces of photographs from `FIRST_PATCH`."""
    if number >= FIRST_PATCH:
        return patch_scene(number, folder)
    rng = np.random.default_rng(number)
    return make_scene(rng, cracks=bool(rng.random() < 0.75))


def candidates_of(scene: Scene) -> Candidates:
    """The lines of a made picture, as the finder sees them."""
    return candidates(scene.image, scene.mm_per_px, scene.wood, crack_chance(scene.image, scene.mm_per_px, scene.wood))


def segment_rows(number: int, folder: Path | None) -> list[FloatArray]:
    """Features, share on true cracks and picture number of the segments of one picture; none if it has none."""
    cv2.setNumThreads(1)
    scene = scene_of(number, folder)
    found = candidates_of(scene)
    segments = segments_of(found, found.branches)
    if not segments:
        return []
    share = np.array([_share_true(scene, branch) for branch in segments])
    return [segment_features(found, segments), share, np.full(len(share), float(number))]


def _share_true(scene: Scene, branch: Branch) -> float:
    """Share of a segment's points that lie on a true crack."""
    if not scene.lines:
        return 0.0
    points = np.concatenate([p for p, _ in scene.lines])
    widths = np.concatenate([w for _, w in scene.lines])
    distance, nearest = cKDTree(points).query(branch.points)
    return float(((distance <= np.maximum(2.5, 0.5 * widths[nearest] + 1.0)) & (widths[nearest] > 0.05)).mean())


def fitted(rows: FloatArray, targets: FloatArray) -> Network:
    """Several small networks by log loss; `targets` are shares, 0 to 1."""
    middle, spread = np.median(rows, axis=0), np.maximum(np.std(rows, axis=0), 1e-3)
    typical = np.median(rows[targets > 0.5], axis=0)
    scaled = np.clip((rows - middle) / spread, -CLIP, CLIP).astype(np.float32)
    wanted = targets[:, None].astype(np.float32)
    members = tuple(
        fit_layers(scaled, wanted, (rows.shape[1], HIDDEN, 1), _slope, np.random.default_rng(k), EPOCHS, decay=DECAY)
        for k in range(MEMBERS)
    )
    return Network(SEGMENT_FEATURES, middle, spread, members, typical)


def _slope(odds: FloatArray, targets: FloatArray) -> FloatArray:
    return np.asarray(1 / (1 + np.exp(-np.clip(odds, -30, 30))) - targets)


def _gathered(numbers: list[int], rows: partial, workers: int) -> list[FloatArray]:  # type: ignore[type-arg]
    with ProcessPoolExecutor(workers) as pool:
        parts = [part for part in pool.map(rows, numbers, chunksize=4) if part]
    return [np.concatenate(columns) for columns in zip(*parts, strict=True)]


def main() -> None:
    """Make the rows, fit on most pictures, try on the rest, write the models."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, default=900)
    parser.add_argument("--patches", type=int, default=500)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder for the rendered pieces")
    chosen = parser.parse_args()
    if chosen.keep:
        chosen.keep.mkdir(parents=True, exist_ok=True)
    numbers = [*range(chosen.scenes), *range(FIRST_PATCH, FIRST_PATCH + chosen.patches)]
    features, shares, pictures = _gathered(numbers, partial(segment_rows, folder=chosen.keep), chosen.workers)
    if chosen.keep:
        np.savez(chosen.keep / "segment_rows", features=features, shares=shares, pictures=pictures)
    print(f"{len(shares)} segments of {len(numbers)} pictures, {shares.mean():.3f} of them crack", flush=True)
    left_out = np.zeros(len(shares))
    for fold in range(FOLDS):  # every picture is tried by a model that was not fitted on it
        tried = pictures % FOLDS == fold
        left_out[tried] = fitted(features[~tried], shares[~tried]).outputs(features[tried])[:, 0]
    print(f"left-out log loss {log_loss(left_out, shares):.4f}")
    for confidence, share, count in reliability(left_out, shares):
        print(f"  confidence {confidence:.2f}: {share:.2f} are cracks ({count})", flush=True)
    (PACKAGE / SEGMENT_MODEL).write_text(fitted(features, shares).as_json())


if __name__ == "__main__":
    main()
