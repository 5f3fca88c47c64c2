"""The rectified raster: layout, colours, and views that are turned or tilted far."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from crackmap.records import Photo, PhotoFacts, freeze
from crackmap.scale.mapping import Mapping
from crackmap.scale.resample import lay_out_raster, resample
from tests.scale.drawn import camera_above


def photo_of(values: np.ndarray) -> Photo:
    height, width = values.shape
    return Photo(freeze(np.repeat(values[..., None], 3, axis=2)), PhotoFacts("x.png", "", width, height))


def test_colours_land_where_the_mapping_says() -> None:
    """Geometric: a slope of light in the photo must be the same slope through the mapping, lens included."""
    camera = camera_above(800, 600, k1=-0.04)
    y, x = np.mgrid[:600, :800]
    photo = photo_of(np.round(40 + 0.1 * x + 0.15 * y).astype(np.uint8))
    mapping = camera.mapping.moved(17.0, [30.0, -20.0])
    raster = lay_out_raster(mapping, 800, 600)
    pixels, seen = resample(photo, mapping, raster)
    rows, cols = np.nonzero(seen)
    pick = np.random.default_rng(0).choice(len(rows), 400, replace=False)
    there = mapping.to_pixels(raster.mapping.to_slab(np.c_[cols[pick], rows[pick]]))
    inner = ((there > 3) & (there < [796, 596])).all(axis=1)
    expected = 40 + 0.1 * there[:, 0] + 0.15 * there[:, 1]
    assert np.abs(pixels[rows[pick], cols[pick], 0] - expected)[inner].max() < 1.6  # rounding twice


def test_coarse_grid_maps_are_exact_enough() -> None:
    """A strong lens: maps between the coarse points are off by less than 0.02 px."""
    from crackmap.scale.resample import _strip_map

    camera = camera_above(4000, 3000, k1=-0.05)
    raster = lay_out_raster(camera.mapping, 4000, 3000)
    left, photo_xy = _strip_map(camera.mapping, raster, 512, 64, (4000, 3000))
    rows, cols = np.mgrid[0:64:7, 0:photo_xy.shape[1]:31]
    exact = camera.mapping.to_pixels(raster.mapping.to_slab(np.c_[cols.ravel() + left, rows.ravel() + 512]))
    inner = ((exact > 0) & (exact < [3999, 2999])).all(axis=1)
    assert inner.sum() > 1000
    assert np.abs(photo_xy[rows, cols].reshape(-1, 2) - exact)[inner].max() < 0.02


@pytest.mark.parametrize("turn", [0.0, 45.0, 90.0, 200.0])
def test_turned_views_stay_within_bounds(turn: float) -> None:
    mapping = camera_above(1600, 1200).mapping.moved(turn, [0.0, 0.0])
    raster = lay_out_raster(mapping, 1600, 1200)
    assert raster.width * raster.height < 2.4 * 1600 * 1200
    corners = raster.mapping.to_pixels(mapping.to_slab([[0, 0], [1599, 0], [1599, 1199], [0, 1199]]))
    assert (corners > -1).all() and (corners < [raster.width, raster.height]).all()


def test_strips_of_a_turned_view_leave_nothing_out() -> None:
    """A white photo is white wherever the raster says it was seen."""
    mapping = camera_above(1600, 1200, k1=-0.03).mapping.moved(33.0, [0.0, 0.0])
    raster = lay_out_raster(mapping, 1600, 1200)
    pixels, seen = resample(photo_of(np.full((1200, 1600), 255, np.uint8)), mapping, raster)
    inner = cv2.erode(seen.astype(np.uint8), np.ones((7, 7))).astype(bool)
    assert inner.mean() > 0.3
    assert pixels[inner].min() == 255


def test_view_to_the_horizon_is_cut() -> None:
    mapping = camera_above(1600, 1200, tilt=(1.15, 0.0)).mapping  # 66 degrees: the upper border sees the sky
    raster = lay_out_raster(mapping, 1600, 1200)
    assert raster.width * raster.height < 2.4 * 1600 * 1200
    pixels, seen = resample(photo_of(np.full((1200, 1600), 90, np.uint8)), mapping, raster)
    assert 0.2 < seen.mean() <= 1.0
    assert np.isfinite(raster.mm_per_px)


def test_raster_axes() -> None:
    """x right, y up: raster rows count down from the largest y."""
    raster = lay_out_raster(Mapping(np.array([[2.0, 0, 0], [0, -2.0, 800], [0, 0, 1]])), 1000, 800)
    assert raster.mapping.to_pixels([[raster.x_least, raster.y_most]])[0] == pytest.approx([0, 0])
    right, up = raster.mapping.to_pixels([[raster.x_least + 10, raster.y_most], [raster.x_least, raster.y_most + 10]])
    assert right[0] == pytest.approx(10 / raster.mm_per_px) and up[1] == pytest.approx(-10 / raster.mm_per_px)
    assert raster.mm_per_px == pytest.approx(0.5, rel=1e-3)
