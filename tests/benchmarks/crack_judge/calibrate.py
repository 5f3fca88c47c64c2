"""Set the judge's log-odds right on whole made photos that nothing was fitted on.

    python -m crackmap.demo.batch OUT --seed 61001 --count 40 --size 2400x1800     # and some --sound, --look-alikes
    python -m tests.benchmarks.crack_judge.calibrate OUT [OUT ...]

Run it after the judge was fitted (`crack_judge.train`). The pieces that the judge
is fitted on lie where it is hard to tell; on a whole slab the same looks mean
something else. A rising curve from the judge's log-odds to the log-odds found on
the photos' segments is stored with the model [1]_. Each photo in turn is judged
by the curve of the others before it is written, and that is what is printed.

References
----------
.. [1] B. Zadrozny and C. Elkan, "Transforming classifier scores into accurate
   multiclass probability estimates," KDD 2002, section 3.2: isotonic regression.
"""

from __future__ import annotations

import argparse
import dataclasses
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression

from crackmap.survey.judge import SEGMENT_MODEL, segment_judge
from tests.benchmarks.crack_confidence import HEADER, reliability, segments_of_photo
from tests.benchmarks.crack_judge.train import PACKAGE
from tests.truth import Truth, truths_in

FloatArray = NDArray[np.float64]
FOLDS = 5
A_KNOT = 60  # segments: about as many as tell a share to a twentieth


def rising_curve(odds: FloatArray, is_crack: FloatArray) -> FloatArray:
    """Log-odds as judged and as found, (2, K), both rising: isotonic means of neighbouring segments."""
    order = np.argsort(odds)
    parts = np.array_split(order, max(len(order) // A_KNOT, 2))
    count = np.array([len(part) for part in parts])
    share = np.array([(is_crack[part].sum() + 0.5) / (len(part) + 1) for part in parts])
    level = np.asarray(isotonic_regression(share, weights=count).x)
    return np.array([[odds[part].mean() for part in parts], np.log(level / (1 - level))])


def _rows(truth: Truth) -> tuple[FloatArray, FloatArray]:
    """The judge's own log-odds and whether it is a crack, for each segment of a photo."""
    cv2.setNumThreads(1)
    features, _, shares = segments_of_photo(truth)
    if not len(shares):
        return np.zeros(0), np.zeros(0)
    return segment_judge().outputs(features)[:, 0], (shares >= 0.5).astype(float)


def main() -> None:
    """Judge the photos' segments, print how well the curve holds, write it into the model."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args()
    truths = [truth for folder in chosen.folders for truth in truths_in(folder)]
    with ProcessPoolExecutor(chosen.workers) as pool:
        rows = list(pool.map(_rows, truths))
    odds, is_crack = (np.concatenate(column) for column in zip(*rows, strict=True))
    fold = np.repeat(np.arange(len(rows)) % FOLDS, [len(row[0]) for row in rows])
    left_out = np.zeros(len(odds))
    for k in range(FOLDS):
        left_out[fold == k] = np.interp(odds[fold == k], *rising_curve(odds[fold != k], is_crack[fold != k]))
    for name, values in (("before", odds), ("after, photos left out", left_out)):
        print(f"{name}: {len(values)} segments of {len(truths)} photos\n{HEADER}")
        print("\n".join(reliability(1 / (1 + np.exp(-values)), is_crack)), flush=True)
    judge = dataclasses.replace(segment_judge(), levels=rising_curve(odds, is_crack))
    (PACKAGE / SEGMENT_MODEL).write_text(judge.as_json())


if __name__ == "__main__":
    main()
