"""How likely a piece of line, or a whole segment, is a crack: small fitted models.

A few small networks each, averaged, fitted by log loss on made pictures, so that
0.9 means nine in ten (there); their coefficients lie beside this file.

- Where the network's chance of crack is known: a model of whole segments, by
  ``python -m tests.benchmarks.crack_judge.train``. Its log-odds are then set
  right on whole made photos by ``python -m tests.benchmarks.crack_judge.calibrate``,
  for the pieces that it is fitted on hold more that is hard to tell than a slab does.
- Without it: a model of pieces of lines, by ``python -m crackmap.survey.judge_training``.
"""

from __future__ import annotations

from functools import cache

from crackmap.survey.judge_features import FEATURES
from crackmap.survey.network import FloatArray, Network, stored_network
from crackmap.survey.segments import SEGMENT_FEATURES

MODEL_FILE = "judge_model.json"
SEGMENT_MODEL = "segment_model.json"


def crack_odds(features: FloatArray) -> FloatArray:
    """Log-odds that each piece of line, `FEATURES` of shape (P, F), is a crack, shape (P,)."""
    return _piece_judge().outputs(features)[:, 0]


def segment_odds(features: FloatArray) -> FloatArray:
    """Log-odds that each whole segment, `SEGMENT_FEATURES` of shape (S, F), is a crack, shape (S,)."""
    return segment_judge().true_odds(features)


@cache
def _piece_judge() -> Network:
    return stored_network(MODEL_FILE, FEATURES)


@cache
def segment_judge() -> Network:
    """The model of whole segments."""
    return stored_network(SEGMENT_MODEL, SEGMENT_FEATURES)
