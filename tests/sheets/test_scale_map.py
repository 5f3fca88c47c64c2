"""The error budget as a picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crackmap.records import frozen_array
from crackmap.settings import SheetSettings
from crackmap.sheets.palette import PAPER
from crackmap.sheets.scale_map import scale_map_picture
from tests.builders import a_survey


def test_the_unsure_end_is_darker_than_the_sure_one() -> None:
    survey = a_survey()
    low, high = survey.outline.min(axis=0), survey.outline.max(axis=0)
    x, y = np.meshgrid(np.linspace(low[0], high[0], 9), np.linspace(low[1], high[1], 7))
    sigma = np.linspace(0.1, 2.0, 9)[None, :].repeat(7, 0)
    field = frozen_array(np.c_[x.ravel(), y.ravel(), sigma.ravel()])
    scale = replace(survey.scale, sigma_worst_mm=2.0, sigma_field=field)
    picture = scale_map_picture(replace(survey, scale=scale), SheetSettings()).astype(float)
    inside = (np.abs(picture - PAPER).sum(axis=2) > 6)
    half = picture.shape[1] // 2
    left, right = picture[:, :half][inside[:, :half]], picture[:, half:][inside[:, half:]]
    assert left.mean() > right.mean() + 10


def test_sigma_between_grid_points_is_between_theirs() -> None:
    field = frozen_array([[0, 0, 1.0], [10, 0, 2.0], [0, 10, 1.0], [10, 10, 2.0]])
    quality = replace(a_survey().scale, sigma_field=field)
    assert quality.sigma_at([[5, 5]])[0] == pytest.approx(1.5)  # geometric: the middle of four points
    assert quality.sigma_at([[0, 0]])[0] == pytest.approx(1.0)
