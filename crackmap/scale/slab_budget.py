"""The error budget over the slab itself, once its outline is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from crackmap.records import FloatArray, RectifiedPhoto, ScaleQuality, Survey, frozen_array
from crackmap.scale.spread import Spread, scale_sigma_percent


def budget_over_slab(rectified: RectifiedPhoto, survey: Survey) -> tuple[RectifiedPhoto, Survey]:
    """Both records with the error budget of the slab instead of the whole view.

    Scale sigma over the rectangle round the outline, worst position sigma on
    the outline, millimetres a pixel and narrowest crack at the slab's middle.
    Unchanged where the budget's modes are not at hand (a survey from a file).
    """
    quality = survey.scale
    if quality.sigma_modes.size == 0:
        return rectified, survey
    field = Spread(quality.sigma_field[:, :2], quality.sigma_modes)
    low, high = survey.outline.min(axis=0), survey.outline.max(axis=0)
    x, y = np.meshgrid(np.linspace(low[0], high[0], 9), np.linspace(low[1], high[1], 5))
    over_slab = field.at(np.stack([x.ravel(), y.ravel()], axis=1))
    mm_per_px = float(survey.mapping.mm_per_px_at((low + high) / 2)[0])
    settled = replace(
        quality, mm_per_px=mm_per_px, scale_sigma_percent=scale_sigma_percent(over_slab),
        sigma_worst_mm=float(field.at(survey.outline).sigmas.max()),
        narrowest_crack_mm=quality.narrowest_crack_mm * mm_per_px / quality.mm_per_px)
    return replace(rectified, scale=settled), replace(survey, scale=settled)


def moved_budget(quality: ScaleQuality, a: FloatArray, b: FloatArray, new_points: ArrayLike, turn_deg: float
                 ) -> ScaleQuality:
    """The budget for a frame that hangs on other marks.

    Parameters
    ----------
    a, b : ndarray, shape (2,)
        The new marks in the old frame. [mm]
    new_points : array_like, shape (G, 2)
        The field's points in the new frame. [mm]
    turn_deg : float
        Direction of the new x axis in the old frame. [degree]
    """
    if quality.sigma_modes.size == 0:
        sigmas = quality.sigma_field[:, 2]
        return replace(quality, sigma_field=frozen_array(np.c_[new_points, sigmas], 3))
    about = Spread(quality.sigma_field[:, :2], quality.sigma_modes).about(a, b)
    turn = np.radians(turn_deg)
    old_to_new = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    sigmas = about.sigmas
    return replace(
        quality, sigma_at_datum_mm=float(about.at(a[None]).sigmas[0]), sigma_worst_mm=float(sigmas.max()),
        sigma_field=frozen_array(np.c_[new_points, sigmas], 3),
        sigma_modes=frozen_array(np.einsum("ij,gjk->gik", old_to_new, about.modes)))
