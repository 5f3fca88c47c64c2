"""How likely each piece of a line is a piece of crack: a small fitted model.

A few small networks of two hidden layers, averaged, fitted on made pictures by
``python -m crackmap.survey.judge_training``; their coefficients lie beside this
file. Fitted by log loss, so that 0.9 means nine in ten (on the made pictures).
"""

from __future__ import annotations

from functools import cache

from crackmap.survey.judge_features import FEATURES
from crackmap.survey.network import FloatArray, Network, stored_network

MODEL_FILE = "judge_model.json"


def crack_odds(features: FloatArray) -> FloatArray:
    """Log-odds that each row of `features`, shape (P, F), is a crack, shape (P,)."""
    return _fitted().outputs(features)[:, 0]


@cache
def _fitted() -> Network:
    return stored_network(MODEL_FILE, FEATURES)
