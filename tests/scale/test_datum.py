"""Datum on the slab's own corners, and the error budget over the slab."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.records import (
    Crack,
    Datum,
    PhotoFacts,
    RectifiedPhoto,
    Reference,
    ScaleQuality,
    Survey,
    Void,
    frozen_array,
)
from crackmap.scale.advice import bench_marker_warnings
from crackmap.scale.datum import foot_corners, slab_corner_datum
from crackmap.scale.mapping import Mapping
from crackmap.scale.slab_budget import budget_over_slab
from crackmap.settings import ScaleSettings

FACTS = PhotoFacts("slab.jpg", "0" * 64, 1000, 800)
# Slab millimetres to photo pixels: half a millimetre a pixel, y turned over.
MAPPING = Mapping(np.array([[2.0, 0, 100], [0, -2.0, 700], [0, 0, 1]]))


def slab(turn: float, corner: tuple[float, float]) -> np.ndarray:
    """A 400 x 150 mm slab with straight ends and wavy long sides, from its lower left corner."""
    x = np.linspace(0, 400, 81)
    lower = np.c_[x, -6 * np.sin(x / 400 * np.pi * 3) * (x > 0) * (x < 400)]
    upper = np.c_[x[::-1], 150 + 5 * np.sin(x / 60)]
    outline = np.concatenate([lower, upper])
    cos, sin = np.cos(turn), np.sin(turn)
    return outline @ np.array([[cos, sin], [-sin, cos]]) + corner


def surveyed(turn: float = 0.1, corner: tuple[float, float] = (20.0, 60.0),
             marker_at: tuple[float, float] = (200.0, 20.0), height: float = -40.0) -> tuple[RectifiedPhoto, Survey]:
    outline = frozen_array(slab(turn, corner))
    x, y = np.meshgrid(np.linspace(0, 450, 9), np.linspace(0, 350, 7))
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    stretch = points[:, :, None] * 0.002  # one mode: everything 0.2 % too long
    quality = ScaleQuality(0.5, 0.3, 0.0, 1.0, 0.4, 0.05, frozen_array(np.c_[points, np.hypot(*stretch[..., 0].T)]),
                           sigma_modes=frozen_array(stretch))
    square = np.array([[-30, 30], [30, 30], [30, -30], [-30, -30.0]]) + marker_at
    marker = Reference("marker", 8, frozen_array(square), (60.0, 60.0), height)
    datum = Datum(frozen_array([0, 0]), frozen_array([30, 0]), "marker")
    crack = Crack("C1", frozen_array([[150, 120], [190, 130]]), frozen_array([2, 1]), ("edge", "tip"), 0.9)
    void = Void("V1", frozen_array([[220, 120], [230, 120], [225, 130]]))
    survey = Survey(FACTS, MAPPING, quality, datum, (marker,), outline, (void,), (crack,), float(np.degrees(turn)))
    pixels, seen = np.zeros((10, 10, 3), np.uint8), np.ones((10, 10), bool)
    return RectifiedPhoto(pixels, seen, MAPPING, MAPPING, FACTS, datum, (marker,), quality), survey


def test_reference_on_the_slab_changes_nothing() -> None:
    rectified, survey = surveyed(marker_at=(180.0, 150.0), height=0.0)
    assert slab_corner_datum(rectified, survey) == (rectified, survey)


@settings(max_examples=30, deadline=None)
@given(st.floats(-0.7, 0.7), st.floats(0, 60), st.floats(60, 120))
def test_frame_moves_to_the_foot_corners(turn: float, x: float, y: float) -> None:
    """Geometric: lengths stay; A is the origin; B lies on +x 400 mm away; a void keeps its photo pixels."""
    rectified, survey = surveyed(turn, (x, y), marker_at=(-500.0, -500.0))
    moved_photo, moved = slab_corner_datum(rectified, survey)
    assert moved.datum.kind == "slab corners"
    assert moved.datum.a == pytest.approx([0, 0], abs=1e-9)
    assert moved.datum.b == pytest.approx([400, 0], abs=1.0)  # [mm]; the wave ends at the corner
    assert moved.mapping.to_pixels(moved.voids[0].polygon) == pytest.approx(
        survey.mapping.to_pixels(survey.voids[0].polygon), abs=1e-6)
    assert moved_photo.mapping.to_pixels(moved.outline) == pytest.approx(
        rectified.mapping.to_pixels(survey.outline), abs=1e-6)
    assert moved.cracks[0].length == pytest.approx(survey.cracks[0].length)
    assert moved.grain_deg == pytest.approx(0, abs=0.3)  # the grain ran along the slab


def test_foot_is_the_side_nearest_to_the_photographer() -> None:
    outline = slab(0.0, (0.0, 0.0))
    a, b = foot_corners(outline, MAPPING)
    assert a == pytest.approx([0, 0], abs=1e-9) and b == pytest.approx([400, 0], abs=1e-9)
    upside_down = MAPPING.moved(180, [400, 150])
    a, b = foot_corners(outline, upside_down)
    assert a[0] > 390 and b[0] < 10 and a[1] > 140


def test_budget_moves_with_the_marks() -> None:
    """Geometric: with a pure stretch of 0.2 %, the error at a point is 0.2 % of its distance from mark A."""
    _, moved = slab_corner_datum(*surveyed(marker_at=(-500.0, -500.0)))
    field = moved.scale.sigma_field
    assert field[:, 2] == pytest.approx(0.002 * np.hypot(field[:, 0], field[:, 1]), abs=1e-6)
    assert moved.scale.sigma_at_datum_mm == pytest.approx(0, abs=1e-6)


def test_budget_over_the_slab() -> None:
    """Geometric: one mode of 0.2 % stretch is a claim of 0.2 %, times what makes one sigma of |normal|: 1."""
    rectified, survey = budget_over_slab(*surveyed())
    assert survey.scale.scale_sigma_percent == pytest.approx(0.2, rel=0.08)  # 500 draws
    farthest = np.hypot(*survey.outline.T).max()
    assert survey.scale.sigma_worst_mm == pytest.approx(0.002 * farthest, rel=1e-6)
    assert rectified.scale == survey.scale


def test_bench_marker_without_height_is_warned_of() -> None:
    _, survey = surveyed(height=0.0)
    warned = bench_marker_warnings(survey, ScaleSettings())
    assert len(warned) == 1 and "Marker 8 lies outside" in warned[0] and "--marker-height" in warned[0]
    assert bench_marker_warnings(survey, ScaleSettings(marker_height=-40.0)) == ()


def test_height_given_for_a_marker_on_the_slab_is_warned_of() -> None:
    _, survey = surveyed(marker_at=(180.0, 150.0))
    assert "Marker 8 lies on the slab" in bench_marker_warnings(survey, ScaleSettings(marker_height=-40.0))[0]
    assert bench_marker_warnings(survey, ScaleSettings()) == ()


def test_budget_without_modes_is_left_alone() -> None:
    rectified, survey = surveyed()
    bare = replace(survey, scale=replace(survey.scale, sigma_modes=frozen_array([]).reshape(0, 2, 0)))
    assert budget_over_slab(rectified, bare)[1] is bare
