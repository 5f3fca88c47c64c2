"""The small networks: fit, store, read."""

from __future__ import annotations

import json

import numpy as np
import pytest

from crackmap.survey.judge_features import FEATURES
from crackmap.survey.network import Network, fit_layers, forward, stored_network
from crackmap.survey.segments import SEGMENT_FEATURES


def test_a_network_learns_a_curve():
    rng = np.random.default_rng(0)
    rows = rng.uniform(-2, 2, (2000, 1))
    layers = fit_layers(rows, np.sin(rows), (1, 16, 1), lambda out, target: out - target, rng, 60)
    assert np.abs(forward(layers, rows)[-1] - np.sin(rows)).mean() < 0.1


def test_the_stored_form_gives_the_same_outputs():
    rng = np.random.default_rng(0)
    layers = ((rng.normal(size=(3, 4)), rng.normal(size=4)), (rng.normal(size=(4, 1)), rng.normal(size=1)))
    network = Network(("a", "b", "c"), np.zeros(3), np.ones(3), (layers,))
    stored = json.loads(network.as_json())
    again = Network(
        tuple(stored["names"]),
        np.array(stored["middle"]),
        np.array(stored["spread"]),
        tuple(tuple((np.array(w), np.array(b)) for w, b in member) for member in stored["members"]),
    )
    rows = rng.normal(size=(20, 3))
    assert np.allclose(network.outputs(rows), again.outputs(rows), atol=5e-3)  # four digits are kept


def test_log_odds_are_set_right_by_the_levels_and_never_change_their_order():
    layers = ((np.ones((1, 1)), np.zeros(1)),)
    plain = Network(("a",), np.zeros(1), np.ones(1), (layers,))
    right = Network(("a",), np.zeros(1), np.ones(1), (layers,), levels=np.array([[-2.0, 0.0, 2.0], [-3.0, -1.0, 1.0]]))
    rows = np.linspace(-3.9, 3.9, 41)[:, None]
    assert np.allclose(plain.true_odds(rows), rows[:, 0])
    assert np.allclose(right.true_odds(np.array([[-2.0], [1.0], [3.5]])), [-3.0, 0.0, 1.0])  # geometric: on the line
    assert (np.diff(right.true_odds(rows)) >= 0).all()
    assert json.loads(right.as_json())["levels"] == [[-2.0, 0.0, 2.0], [-3.0, -1.0, 1.0]]


def test_the_package_models_fit_the_code():
    assert stored_network("segment_model.json", SEGMENT_FEATURES).typical.shape == (len(SEGMENT_FEATURES),)
    assert stored_network("judge_model.json", FEATURES).outputs(np.zeros((2, len(FEATURES)))).shape == (2, 1)
    with pytest.raises(RuntimeError, match="fit it again"):
        stored_network("judge_model.json", ("something", "else"))
