"""Fit the width measure on made profiles and write its model file.

python -m crackmap.survey.width_training [--profiles 120000]
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from crackmap.survey.network import CLIP, FloatArray, Network, fit_layers
from crackmap.survey.width_model import MODEL_FILE, NAMES, RELATIVE, inputs_of, read_outputs, targets_of
from crackmap.survey.width_scenes import make_profile

HIDDEN = (48, 24)
MEMBERS = 2


def made_rows(count: int, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Inputs (P, F), (width, shift) (P, 2) and rough widths (P,) of made profiles."""
    rng = np.random.default_rng(seed)
    made = [make_profile(rng, RELATIVE) for _ in range(count)]
    light = np.array([profile for profile, _, _, _ in made])
    rough, width, shift = np.array([(r, w, s) for _, r, w, s in made]).T
    return inputs_of(light, rough), np.column_stack([width, shift]), rough


def gaussian_gradient(outputs: FloatArray, targets: FloatArray) -> FloatArray:
    """Slope of the Gaussian log loss; outputs: two means, two log variances.

    `outputs` has shape (N, 4), `targets` (N, 2).
    """
    mean, log_variance = outputs[:, :2], np.clip(outputs[:, 2:], -10, 2)
    error = mean - targets
    precision = np.exp(-log_variance)
    return np.column_stack([error * precision, 0.5 * (1 - error**2 * precision)])


def main() -> None:
    """Make the profiles, fit, print errors on profiles left out, and write the model."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--profiles", type=int, default=120000)
    count = parser.parse_args().profiles
    rows, truth, rough = made_rows(count, seed=1)
    middle, spread = rows.mean(0), np.maximum(rows.std(0), 1e-3)
    scaled = np.clip((rows - middle) / spread, -CLIP, CLIP).astype(np.float32)
    targets = targets_of(truth[:, 0], truth[:, 1], rough).astype(np.float32)
    sizes = (rows.shape[1], *HIDDEN, 4)
    members = tuple(
        fit_layers(scaled, targets, sizes, gaussian_gradient, np.random.default_rng(k), epochs=40)
        for k in range(MEMBERS)
    )
    network = Network(NAMES, middle, spread, members)
    rows, truth, rough = made_rows(count // 10, seed=2)
    width, sigma, shift = read_outputs(network.outputs(rows), rough)
    for low, high in ((0.3, 0.7), (0.7, 1.5), (1.5, 3), (3, 6), (6, 15), (15, 40)):
        k = (truth[:, 0] >= low) & (truth[:, 0] < high)
        error = width[k] - truth[k, 0]
        print(
            f"{low:4.1f} to {high:4.1f} px: median abs {np.median(np.abs(error)):.2f}, "
            f"bias {np.median(error):+.2f}, within two sigma {np.mean(np.abs(error) < 2 * sigma[k]):.2f}, "
            f"middle {np.median(np.abs(shift[k] - truth[k, 1])):.2f}"
        )
    Path(__file__).with_name(MODEL_FILE).write_text(network.as_json())


if __name__ == "__main__":
    main()
