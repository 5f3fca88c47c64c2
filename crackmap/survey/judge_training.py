"""Fit the judge on made pictures and write its model file.

    python -m crackmap.survey.judge_training [--scenes 1000] [--workers 2] [--keep rows.npz]

No photograph takes part.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from crackmap.survey.candidates import candidates
from crackmap.survey.judge import MODEL_FILE, Judge, forward
from crackmap.survey.judge_scenes import Scene, make_scene

FloatArray = NDArray[np.float64]
NARROWEST_PX = 0.35  # narrower stretches of a made crack are neither crack nor not
HIDDEN = (28, 12)
NETWORKS = 4


def labelled_pieces(seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Features, labels (1 crack, 0 not) and picture number of the pieces of scene `seed`."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng(seed)
    scene = make_scene(rng, cracks=bool(rng.random() < 0.8))
    found = candidates(scene.image, scene.mm_per_px, scene.wood)
    if not found.paths:
        return np.zeros((0, 0)), np.zeros(0), np.zeros(0)
    pieces = found.pieces()
    share, doubt = _covered(scene, found.paths, pieces)
    sure = ((share > 0.7) | (share + doubt < 0.2)) & np.isfinite(pieces.features).all(1)
    return pieces.features[sure], (share[sure] > 0.5).astype(float), np.full(int(sure.sum()), float(seed))


def _covered(scene: Scene, paths: list, pieces) -> tuple[FloatArray, FloatArray]:  # type: ignore[no-untyped-def, type-arg]
    """Share of each piece's points on a true crack, and on one too narrow to ask for."""
    share, doubt = np.zeros(len(pieces.line)), np.zeros(len(pieces.line))
    if not scene.lines:
        return share, doubt
    points = np.concatenate([p for p, _ in scene.lines])
    widths = np.concatenate([w for _, w in scene.lines])
    tree = cKDTree(points)
    for k, (line, first, last) in enumerate(zip(pieces.line, pieces.first, pieces.last, strict=True)):
        distance, nearest = tree.query(paths[line].points[first:last])
        near = distance <= np.maximum(2.0, 0.5 * widths[nearest] + 0.5)
        plain = widths[nearest] >= NARROWEST_PX
        share[k], doubt[k] = (near & plain).mean(), (near & ~plain).mean()
    return share, doubt


def fit(features: FloatArray, labels: FloatArray, pictures: FloatArray, seed: int = 0) -> Judge:
    """Fit by log loss with Adam; each network stops at its best on pictures left out for it."""
    middle = np.median(features, axis=0)
    spread = np.maximum(np.std(features, axis=0), 1e-3)
    scaled = np.clip((features - middle) / spread, -4, 4)
    networks = []
    for number in range(NETWORKS):
        left_out = pictures % NETWORKS == number
        networks.append(_network(scaled, labels, left_out, np.random.default_rng(seed + number)))
    return Judge(middle, spread, tuple(networks))


def _network(
    rows: FloatArray, labels: FloatArray, left_out: NDArray[np.bool_], rng: np.random.Generator
) -> tuple[tuple[FloatArray, FloatArray], ...]:
    sizes = (rows.shape[1], *HIDDEN, 1)
    layers = [(rng.normal(0, 1 / np.sqrt(a), (a, b)), np.zeros(b)) for a, b in zip(sizes[:-1], sizes[1:], strict=True)]
    moments = [[np.zeros_like(x) for x in layer] + [np.zeros_like(x) for x in layer] for layer in layers]
    train = np.flatnonzero(~left_out)
    best, best_loss, step = tuple(layers), np.inf, 0
    epochs = 40
    for epoch in range(epochs):
        rate = 3e-3 * 0.5 * (1 + np.cos(np.pi * epoch / epochs)) + 1e-5
        for batch in np.array_split(rng.permutation(train), max(len(train) // 256, 1)):
            step += 1
            _adam(layers, moments, _gradients(layers, rows[batch], labels[batch]), rate, step)
        loss = log_loss(forward(tuple(layers), rows[left_out])[-1][:, 0], labels[left_out])
        if loss < best_loss:
            best, best_loss = tuple((w.copy(), b.copy()) for w, b in layers), loss
    print(f"left-out log loss {best_loss:.4f}", flush=True)
    return best


def log_loss(odds: FloatArray, labels: FloatArray) -> float:
    """Mean log loss of log-odds."""
    return float(np.mean(np.logaddexp(0, odds) - labels * odds))


def _gradients(layers: list, rows: FloatArray, labels: FloatArray) -> list:  # type: ignore[type-arg]
    outputs = forward(tuple(layers), rows)
    odds = outputs[-1][:, 0]
    back = ((1 / (1 + np.exp(-np.clip(odds, -30, 30))) - labels) / len(rows))[:, None]
    gradients = []
    for number in range(len(layers) - 1, -1, -1):
        weights, _ = layers[number]
        gradients.append((outputs[number].T @ back + 1e-5 * weights, back.sum(0)))
        if number:
            back = (back @ weights.T) * (1 - outputs[number] ** 2)
    return gradients[::-1]


def _adam(layers: list, moments: list, gradients: list, rate: float, step: int) -> None:  # type: ignore[type-arg]
    """One step of Adam (Kingma and Ba, 2015, algorithm 1), in place."""
    for layer, moment, gradient in zip(layers, moments, gradients, strict=True):
        for k in (0, 1):
            moment[k] *= 0.9
            moment[k] += 0.1 * gradient[k]
            moment[k + 2] *= 0.999
            moment[k + 2] += 0.001 * gradient[k] ** 2
            first, second = moment[k] / (1 - 0.9**step), moment[k + 2] / (1 - 0.999**step)
            layer[k][...] -= rate * first / (np.sqrt(second) + 1e-8)


def reliability(odds: FloatArray, labels: FloatArray) -> list[tuple[float, float, int]]:
    """Mean confidence, share of cracks and number of pieces in tenths of confidence."""
    confidence = 1 / (1 + np.exp(-odds))
    rows = []
    for low in np.arange(0, 1, 0.1):
        inside = (confidence >= low) & (confidence < low + 0.1 + 1e-9)
        if inside.any():
            rows.append((float(confidence[inside].mean()), float(labels[inside].mean()), int(inside.sum())))
    return rows


def main() -> None:
    """Make the rows, fit, print how it does on pictures left out, and write the model."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=1000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path)
    chosen = parser.parse_args()
    with ProcessPoolExecutor(chosen.workers) as pool:
        parts = [part for part in pool.map(labelled_pieces, range(chosen.scenes), chunksize=4) if len(part[1])]
    features, labels, pictures = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    if chosen.keep:
        np.savez_compressed(chosen.keep, features=features, labels=labels, pictures=pictures)
    print(f"{len(labels)} pieces, {labels.mean():.3f} of them crack")
    tested = pictures >= 0.9 * chosen.scenes
    judge = fit(features[~tested], labels[~tested], pictures[~tested])
    odds = judge.odds(features[tested])
    print(f"test log loss {log_loss(odds, labels[tested]):.4f}")
    for confidence, share, count in reliability(odds, labels[tested]):
        print(f"confidence {confidence:.2f}: {share:.2f} are cracks ({count})")
    Path(__file__).with_name(MODEL_FILE).write_text(judge.as_json())


if __name__ == "__main__":
    main()
