"""Advice about the photo: each sentence appears when its cause is there, with the figure, and not otherwise."""

from __future__ import annotations

import numpy as np
import pytest

from crackmap.scale.rectify import rectify
from crackmap.settings import ScaleSettings
from tests.scale.drawn import board, camera_above, develop, lay, marker

FAR_APART = {3: (-280.0, 60.0, 0.3), 5: (270.0, -90.0, 2.0)}


def advice(places: dict[int, tuple[float, float, float]], size: float = 60.0, tilt: tuple[float, float] = (0.05, 0.0),
           blur: float = 0.6, exposure: float = 1.0, heights: dict[int, float] | None = None) -> tuple[str, ...]:
    camera = camera_above(tilt=tilt)
    light = board(camera, 1600, 1200)
    for marker_id, place in places.items():
        lay(light, camera, place, size * 1.1, marker(marker_id, size), (heights or {}).get(marker_id, 0.0))
    seen = rectify(develop(light * exposure, blur_px=blur, noise=0.004), ScaleSettings(marker_size=size))
    return seen.advice + seen.scale.notes


def test_good_photo_gets_no_advice() -> None:
    said = " ".join(advice(FAR_APART))
    for word in ("tilted by", "blurred", "dark", "px wide", "within", "contradict", "left out"):
        assert word not in said


@pytest.mark.parametrize(("changes", "words"), [
    ({"tilt": (0.45, 0.0)}, "tilted by 26 degrees"),
    ({"blur": 2.5}, "blurred by 2.5 px"),
    ({"exposure": 0.1}, "dark: white paper reaches"),
    ({"size": 40.0}, "px wide"),
    ({"places": {3: (-60.0, 0.0, 0.3), 5: (60.0, 10.0, 2.0)}}, "lie within"),
    ({"heights": {5: 25.0}}, "contradict each other"),
    ({"places": {**FAR_APART, 11: (0.0, 150.0, 1.0), 12: (0.0, -180.0, 0.0)}, "heights": {11: 25.0}},
     "Marker 11 was left out: it reads"),
])
def test_each_cause_is_named(changes: dict[str, object], words: str) -> None:
    said = advice(**{"places": FAR_APART, **changes})  # type: ignore[arg-type]
    assert any(words in sentence for sentence in said), said
    assert all(sentence.endswith(".") for sentence in said)


def test_twenty_markers_are_fitted_together() -> None:
    places = {i: (-280.0 + 140 * (i % 5), -180.0 + 120 * (i // 5), 0.4 * i) for i in range(20)}
    camera = camera_above(k1=-0.02)
    light = board(camera, 1600, 1200)
    for marker_id, place in places.items():
        lay(light, camera, place, 66.0, marker(marker_id, 60.0))
    seen = rectify(develop(light), ScaleSettings(marker_size=60.0))
    assert sum(r.used for r in seen.references) == 20
    assert np.isclose(seen.datum.b[0], np.hypot(560, 360), rtol=5e-4)  # geometric: opposite corners of the grid
