"""A small mixture of Gaussians that learns what a material looks like in one picture."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.survey.light import FloatImage

_MOST_SAMPLES = 4000  # enough for five components in six dimensions
_LEAST_SAMPLES = 12  # a component with fewer is noise
_LEAST_SPREAD = 0.25  # of a yardstick: two cells closer than this are not told apart
_VANISHING = 1e-37  # density below which two colours are equally far off; keeps the logarithm finite
_SEED = 7  # the draw of samples is the same in every run


@dataclass(frozen=True, slots=True)
class Relit:
    """The same material in other light: shade moved by `shift`, spread by `spread`, `weight` of it."""

    shift: float
    spread: float
    weight: float


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """Weights (K,), means (K, D) and covariances (K, D, D) of Gaussians."""

    weights: NDArray[np.float64]
    means: NDArray[np.float64]
    covariances: NDArray[np.float64]

    def log_density(self, features: FloatImage, relit: Relit | None = None) -> FloatImage:
        """Log density of each cell, shape of `features` without its last axis.

        With `relit`, each component is joined by a copy under other light.
        """
        planes = np.ascontiguousarray(features.reshape(-1, features.shape[-1]).T)
        total = np.full((1, planes.shape[1]), _VANISHING, np.float32)
        for weight, mean, covariance in zip(self.weights, self.means, self.covariances, strict=True):
            total += cv2.exp(_log_gaussian(planes, mean, covariance) + np.float32(np.log(weight)))
            if relit is not None:
                moved, wider = mean.copy(), covariance.copy()
                moved[0] += relit.shift
                wider[0, 0] += relit.spread**2
                log = _log_gaussian(planes, moved, wider) + np.float32(np.log(weight * relit.weight))
                total += cv2.exp(log)
        return np.asarray(cv2.log(total), np.float32).reshape(features.shape[:-1])


def _log_gaussian(planes: FloatImage, mean: NDArray[np.float64], covariance: NDArray[np.float64]) -> FloatImage:
    """Log density (1, N) up to the constant that every component shares.

    `planes` (D, N) holds one feature a row: long rows are what makes the product fast.
    """
    root = np.linalg.cholesky(covariance)
    whiten = np.linalg.inv(root)
    white = whiten.astype(np.float32) @ planes
    white -= (whiten @ mean).astype(np.float32)[:, None]
    squares = np.einsum("dn,dn->n", white, white)[None]
    squares *= np.float32(-0.5)
    squares -= np.float32(np.log(np.diag(root)).sum())
    return np.asarray(squares, np.float32)


def fit_mixture(samples: FloatImage, components: int) -> Mixture:
    """Mixture of at most `components` Gaussians, by k-means, with covariances kept off zero.

    Parameters
    ----------
    samples : ndarray of float32, shape (N, D)
        In yardsticks; N at least `_LEAST_SAMPLES`.
    components : int
    """
    samples = np.ascontiguousarray(samples, np.float32)
    if len(samples) > _MOST_SAMPLES:
        chosen = np.random.default_rng(_SEED).choice(len(samples), _MOST_SAMPLES, replace=False)
        samples = samples[chosen]
    wanted = max(1, min(components, len(samples) // (3 * _LEAST_SAMPLES)))
    cv2.setRNGSeed(_SEED)
    stop = (cv2.TERM_CRITERIA_MAX_ITER | cv2.TERM_CRITERIA_EPS, 20, 1e-3)
    _, labels, _ = cv2.kmeans(samples, wanted, None, stop, 1, cv2.KMEANS_PP_CENTERS)
    groups = [samples[labels.ravel() == k] for k in range(wanted)]
    groups = [g for g in groups if len(g) >= _LEAST_SAMPLES] or [samples]
    floor = _LEAST_SPREAD**2 * np.eye(samples.shape[1])
    weights = np.array([len(g) for g in groups], float)
    return Mixture(
        weights / weights.sum(),
        np.array([g.mean(axis=0) for g in groups], float),
        np.array([np.cov(g.T) + floor for g in groups], float),
    )
