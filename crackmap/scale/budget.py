"""How sure the millimetres are: the fit's covariance carried to the slab."""

from __future__ import annotations

import numpy as np

from crackmap.scale.fit import Fit
from crackmap.scale.marks import MarkChoice, into_frame, marks_at
from crackmap.scale.spread import Spread
from crackmap.scale.target import FloatArray

_STEP = 1e-2  # of a mode's sigma; the coordinates bend little over a sigma
_LEAST_SHARE = 1e-3  # modes weaker than this share of the strongest are left out


def spread_at(fit: Fit, choice: MarkChoice, pixels: FloatArray) -> Spread:
    """How the slab coordinates of photo points move within the fit's covariance.

    The frame moves along: it hangs on the marks, which are real things on the
    slab, so that errors are those a maker meets who sets out from the marks.

    `pixels` has shape (N, 2). [px]
    """
    roots = _covariance_root(fit.covariance)
    start = _coordinates(fit, choice, fit.unknowns, pixels)
    modes = np.stack([(_coordinates(fit, choice, fit.unknowns + root * _STEP, pixels) - start) / _STEP
                      for root in roots.T], axis=-1)
    flat = modes.reshape(-1, modes.shape[-1])
    left, strength, _ = np.linalg.svd(flat, full_matrices=False)
    kept = strength > _LEAST_SHARE * strength[0]
    return Spread(start, (left * strength)[:, kept].reshape(len(pixels), 2, -1))


def _covariance_root(covariance: FloatArray) -> FloatArray:
    """A matrix whose product with its transpose is the covariance."""
    scale = np.sqrt(np.diag(covariance))
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    return np.asarray(scale[:, None] * vectors * np.sqrt(np.maximum(values, 0)))


def _coordinates(fit: Fit, choice: MarkChoice, unknowns: FloatArray, pixels: FloatArray) -> FloatArray:
    camera = fit.problem.camera(unknowns)
    marks = marks_at(choice, fit.problem.places(unknowns), fit.problem.print_stretch(unknowns))
    return into_frame(marks, camera.meet_plane(pixels))
