"""Small fully connected networks: run, fit, keep. Numpy is enough for a few thousand coefficients."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Layers = tuple[tuple[FloatArray, FloatArray], ...]
LossGradient = Callable[[FloatArray, FloatArray], FloatArray]  # (outputs, targets) -> d loss / d outputs
CLIP = 4.0  # inputs farther than this many spreads from the middle count as this far


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """Layers with tanh between, on inputs less `middle` over `spread`; several are averaged.

    Parameters
    ----------
    names : tuple of str
        Names of the inputs, so that a model never meets inputs it was not fitted on.
    middle, spread : ndarray, shape (F,)
    members : tuple of Layers
        Each a tuple of (weights (A, B), bias (B,)).
    typical : ndarray, shape (F,), or empty
        Inputs of a typical case of what is asked for; for explanations alone.
    levels : ndarray, shape (2, K), or empty
        Rising log-odds as the members give them, and what they turned out to be on
        cases that the members were not fitted on.
    """

    names: tuple[str, ...]
    middle: FloatArray
    spread: FloatArray
    members: tuple[Layers, ...]
    typical: FloatArray = field(default_factory=lambda: np.zeros(0))
    levels: FloatArray = field(default_factory=lambda: np.zeros((2, 0)))

    def outputs(self, rows: FloatArray) -> FloatArray:
        """Mean output of the members for each row, shape (P, outputs)."""
        scaled = self.scaled(rows)
        return np.asarray(np.mean([forward(layers, scaled)[-1] for layers in self.members], axis=0))

    def true_odds(self, rows: FloatArray) -> FloatArray:
        """Log-odds of each row by the first output, set right by `levels` where there are any, shape (P,)."""
        odds = self.outputs(rows)[:, 0]
        return odds if not self.levels.size else np.interp(odds, *self.levels)

    def scaled(self, rows: FloatArray) -> FloatArray:
        """Inputs as the layers take them."""
        return np.asarray(np.clip((rows - self.middle) / self.spread, -CLIP, CLIP))

    def as_json(self) -> str:
        """The form of the model files."""
        members = [[[_short(w), _short(b)] for w, b in layers] for layers in self.members]
        return json.dumps(
            {
                "names": self.names,
                "middle": _short(self.middle),
                "spread": _short(self.spread),
                "members": members,
            }
            | ({"typical": _short(self.typical)} if len(self.typical) else {})
            | ({"levels": _short(self.levels)} if self.levels.size else {})
        )


def stored_network(file: str, names: tuple[str, ...]) -> Network:
    """The network in a file of the package, checked against the inputs' names.

    Raises
    ------
    RuntimeError
        If the file is for other inputs: the package is broken.
    """
    stored: dict[str, Any] = json.loads(files("crackmap.survey").joinpath(file).read_text())
    if tuple(stored["names"]) != names:
        raise RuntimeError(f"{file} was fitted on other inputs: fit it again.")
    members = tuple(tuple((np.array(w), np.array(b)) for w, b in layers) for layers in stored["members"])
    typical = np.array(stored.get("typical", []), float)
    levels = np.array(stored.get("levels", [[], []]), float)
    return Network(names, np.array(stored["middle"]), np.array(stored["spread"]), members, typical, levels)


def _short(array: FloatArray) -> Any:
    """Nested lists with four significant digits: more would be noise."""
    return json.loads(json.dumps(np.vectorize(lambda value: float(f"{value:.4g}"))(array).tolist()))


def forward(layers: Layers, rows: FloatArray) -> list[FloatArray]:
    """The outputs of all layers, the rows first. `rows` has shape (N, F)."""
    outputs = [rows]
    for number, (weights, bias) in enumerate(layers):
        value = outputs[-1] @ weights + bias
        outputs.append(np.tanh(value) if number < len(layers) - 1 else value)
    return outputs


def fit_layers(
    rows: NDArray[Any],
    targets: NDArray[Any],
    sizes: tuple[int, ...],
    gradient: LossGradient,
    rng: np.random.Generator,
    epochs: int,
    batch: int = 256,
    decay: float = 1e-5,
) -> Layers:
    """Layers of `sizes` fitted to scaled `rows` by Adam with a falling rate; `decay` pulls weights to nought.

    `rows` has shape (N, F), `targets` (N, ...); `decay` is a share a step. [-]

    References
    ----------
    .. [1] D. P. Kingma and J. Ba, "Adam: A method for stochastic optimization,"
       ICLR 2015, algorithm 1.
    """
    layers = [
        (rng.normal(0, 1 / np.sqrt(a), (a, b)).astype(rows.dtype), np.zeros(b, rows.dtype))
        for a, b in zip(sizes[:-1], sizes[1:], strict=True)
    ]
    moments = [[np.zeros_like(x) for x in (*layer, *layer)] for layer in layers]
    step = 0
    for epoch in range(epochs):
        rate = 3e-3 * 0.5 * (1 + np.cos(np.pi * epoch / epochs)) + 1e-5
        for part in np.array_split(rng.permutation(len(rows)), max(len(rows) // batch, 1)):
            step += 1
            _adam_step(layers, moments, _gradients(layers, rows[part], targets[part], gradient, decay), rate, step)
    return tuple((np.asarray(w, float), np.asarray(b, float)) for w, b in layers)


def _gradients(
    layers: list[tuple[FloatArray, FloatArray]],
    rows: FloatArray,
    targets: FloatArray,
    gradient: LossGradient,
    decay: float,
) -> list[tuple[FloatArray, FloatArray]]:
    outputs = forward(tuple(layers), rows)
    back = gradient(outputs[-1], targets) / len(rows)
    found = []
    for number in range(len(layers) - 1, -1, -1):
        weights, _ = layers[number]
        found.append((outputs[number].T @ back + decay * weights, back.sum(0)))
        if number:
            back = (back @ weights.T) * (1 - outputs[number] ** 2)
    return found[::-1]


def _adam_step(
    layers: list[tuple[FloatArray, FloatArray]],
    moments: list[list[FloatArray]],
    gradients: list[tuple[FloatArray, FloatArray]],
    rate: float,
    step: int,
) -> None:
    for layer, moment, slope in zip(layers, moments, gradients, strict=True):
        for k in (0, 1):
            moment[k] += 0.1 * (slope[k] - moment[k])
            moment[k + 2] += 0.001 * (slope[k] ** 2 - moment[k + 2])
            first, second = moment[k] / (1 - 0.9**step), moment[k + 2] / (1 - 0.999**step)
            layer[k][...] -= (rate * first / (np.sqrt(second) + 1e-8)).astype(layer[k].dtype)
