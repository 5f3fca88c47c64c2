"""Fit the judge on made pictures and write its model file.

    python -m crackmap.survey.judge_training [--scenes 1000] [--workers 2] [--keep ROWS.npz | --rows ROWS.npz]

No photograph takes part.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import numpy as np
from scipy.spatial import cKDTree

from crackmap.survey.candidates import candidates
from crackmap.survey.judge import MODEL_FILE
from crackmap.survey.judge_features import FEATURES, Pieces
from crackmap.survey.judge_scenes import Scene, make_scene
from crackmap.survey.network import CLIP, FloatArray, Network, fit_layers, forward

NARROWEST_PX = 0.35  # narrower stretches of a made crack are neither crack nor not
HIDDEN = (28, 12)
NETWORKS = 4
EPOCHS = 20
DECAY = 1e-3  # best of 1e-5, 1e-3 and 4e-3 on pictures left out


def labelled_pieces(seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Features, labels (1 crack, 0 not) and picture number of the pieces of scene `seed`."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng(seed)
    scene = make_scene(rng, cracks=bool(rng.random() < 0.8))
    found = candidates(scene.image, scene.mm_per_px, scene.wood)
    if not found.paths:
        return np.zeros((0, 0)), np.zeros(0), np.zeros(0)
    pieces = found.pieces()
    share, doubt = covered(scene, [path.points for path in found.paths], pieces)
    sure = ((share > 0.7) | (share + doubt < 0.2)) & np.isfinite(pieces.features).all(1)
    return pieces.features[sure], (share[sure] > 0.5).astype(float), np.full(int(sure.sum()), float(seed))


def covered(scene: Scene, lines: list[FloatArray], pieces: Pieces) -> tuple[FloatArray, FloatArray]:
    """Share of each piece's points on a true crack, and on one too narrow to ask for.

    Each line has shape (N, 2). [px]
    """
    share, doubt = np.zeros(len(pieces.line)), np.zeros(len(pieces.line))
    if not scene.lines:
        return share, doubt
    points = np.concatenate([p for p, _ in scene.lines])
    widths = np.concatenate([w for _, w in scene.lines])
    tree = cKDTree(points)
    for k, (line, first, last) in enumerate(zip(pieces.line, pieces.first, pieces.last, strict=True)):
        distance, nearest = tree.query(lines[line][first:last])
        near = distance <= np.maximum(2.0, 0.5 * widths[nearest] + 0.5)
        plain = widths[nearest] >= NARROWEST_PX
        share[k], doubt[k] = (near & plain).mean(), (near & ~plain).mean()
    return share, doubt


def fit(features: FloatArray, labels: FloatArray, pictures: FloatArray, seed: int = 0) -> Network:
    """Fit by log loss; each network goes without its own quarter of the pictures, and is tried on it.

    `features` has shape (N, F), the others (N,).
    """
    middle = np.median(features, axis=0)
    spread = np.maximum(np.std(features, axis=0), 1e-3)
    scaled = np.clip((features - middle) / spread, -CLIP, CLIP).astype(np.float32)
    sizes = (features.shape[1], *HIDDEN, 1)
    members = []
    for number in range(NETWORKS):
        out = pictures % NETWORKS == number
        rng = np.random.default_rng(seed + number)
        targets = labels[~out, None].astype(np.float32)
        layers = fit_layers(scaled[~out], targets, sizes, _log_loss_slope, rng, EPOCHS, decay=DECAY)
        members.append(layers)
        print(
            f"left-out log loss {log_loss(forward(layers, scaled[out])[-1][:, 0], labels[out]):.4f}",
            flush=True,
        )
    return Network(FEATURES, middle, spread, tuple(members))


def _log_loss_slope(odds: FloatArray, labels: FloatArray) -> FloatArray:
    return np.asarray(1 / (1 + np.exp(-np.clip(odds, -30, 30))) - labels)


def log_loss(odds: FloatArray, labels: FloatArray) -> float:
    """Mean log loss of log-odds. Both have shape (N,). [-]"""
    return float(np.mean(np.logaddexp(0, odds) - labels * odds))


def reliability(odds: FloatArray, labels: FloatArray) -> list[tuple[float, float, int]]:
    """Mean confidence, share of cracks and number of pieces in tenths of confidence. Both have shape (N,)."""
    confidence = 1 / (1 + np.exp(-odds))
    rows = []
    for low in np.arange(0, 1, 0.1):
        inside = (confidence >= low) & (confidence < low + 0.1 + 1e-9)
        if inside.any():
            rows.append((float(confidence[inside].mean()), float(labels[inside].mean()), int(inside.sum())))
    return rows


def _made_rows(scenes: int, workers: int) -> list[FloatArray]:
    with ProcessPoolExecutor(workers) as pool:
        parts = [part for part in pool.map(labelled_pieces, range(scenes), chunksize=4) if len(part[1])]
    return [np.concatenate(columns) for columns in zip(*parts, strict=True)]


def main() -> None:
    """Make the rows, fit, print how it does on pictures left out, and write the model."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=1000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="also write the rows to this file")
    parser.add_argument("--rows", type=Path, help="fit on rows kept earlier")
    chosen = parser.parse_args()
    if chosen.rows:
        stored = np.load(chosen.rows)
        features, labels, pictures = stored["features"], stored["labels"], stored["pictures"]
    else:
        features, labels, pictures = _made_rows(chosen.scenes, chosen.workers)
    if chosen.keep:
        np.savez_compressed(chosen.keep, features=features, labels=labels, pictures=pictures)
    print(f"{len(labels)} pieces, {labels.mean():.3f} of them crack")
    tested = pictures >= 0.9 * pictures.max()
    judge = fit(features[~tested], labels[~tested], pictures[~tested])
    odds = judge.outputs(features[tested])[:, 0]
    print(f"test log loss {log_loss(odds, labels[tested]):.4f}")
    for confidence, share, count in reliability(odds, labels[tested]):
        print(f"confidence {confidence:.2f}: {share:.2f} are cracks ({count})")
    Path(__file__).with_name(MODEL_FILE).write_text(judge.as_json())


if __name__ == "__main__":
    main()
