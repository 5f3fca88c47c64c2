"""How likely each piece of a line is a piece of crack: a small fitted model.

A few small networks of two hidden layers, averaged, fitted on made pictures by
``python -m crackmap.survey.judge_training``; their coefficients lie beside this
file. Fitted by log loss, so that 0.9 means nine in ten (on the made pictures).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from crackmap.survey.judge_features import FEATURES

FloatArray = NDArray[np.float64]
MODEL_FILE = "judge_model.json"


@dataclass(frozen=True, slots=True, eq=False)
class Judge:
    """Networks as lists of (weights, bias) by layer, over features less `middle` over `spread`."""

    middle: FloatArray
    spread: FloatArray
    networks: tuple[tuple[tuple[FloatArray, FloatArray], ...], ...]

    def odds(self, features: FloatArray) -> FloatArray:
        """Log-odds that each row of `features`, shape (P, F), is a crack, shape (P,)."""
        scaled = np.clip((features - self.middle) / self.spread, -4, 4)
        return np.asarray(np.mean([forward(network, scaled)[-1][:, 0] for network in self.networks], axis=0))

    def as_json(self) -> str:
        """The form of the model file."""
        return json.dumps(
            {
                "features": list(FEATURES),
                "middle": _short(self.middle),
                "spread": _short(self.spread),
                "networks": [[[_short(w), _short(b)] for w, b in network] for network in self.networks],
            }
        )


def forward(layers: tuple[tuple[FloatArray, FloatArray], ...], rows: FloatArray) -> list[FloatArray]:
    """The outputs of all layers, the rows first."""
    outputs = [rows]
    for number, (weights, bias) in enumerate(layers):
        value = outputs[-1] @ weights + bias
        outputs.append(np.tanh(value) if number < len(layers) - 1 else value)
    return outputs


def _short(array: FloatArray) -> object:
    return json.loads(json.dumps(np.vectorize(lambda v: float(f"{v:.4g}"))(array).tolist()))


@cache
def fitted_judge() -> Judge:
    """The model that comes with the package."""
    stored = json.loads(files("crackmap.survey").joinpath(MODEL_FILE).read_text())
    if tuple(stored["features"]) != FEATURES:
        raise RuntimeError(f"{MODEL_FILE} was fitted on other features: fit it again.")
    networks = tuple(tuple((np.array(w), np.array(b)) for w, b in network) for network in stored["networks"])
    return Judge(np.array(stored["middle"]), np.array(stored["spread"]), networks)


def layer_sizes(judge: Judge) -> list[tuple[int, int]]:
    """Sizes of the first network's layers, for the record."""
    sizes = [len(judge.middle), *(len(bias) for _, bias in judge.networks[0])]
    return list(pairwise(sizes))
