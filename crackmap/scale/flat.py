"""A flat thing seen through a homography, fitted to edges that are known only across."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.scale.camera import Lens
from crackmap.scale.target import FloatArray, Target


def project(homography: FloatArray, points: FloatArray) -> FloatArray:
    """Points through a homography, shape (N, 2)."""
    mapped = points @ homography[:, :2].T + homography[:, 2]
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def photo_normals(to_photo: FloatArray, middles: FloatArray, outward: FloatArray, along: FloatArray) -> FloatArray:
    """Unit vectors across the edges in the photo, on the side that `outward` shows.

    `to_photo` has shape (3, 3), the others (N, 2).
    """
    step = 0.05
    run = project(to_photo, middles + step * along) - project(to_photo, middles - step * along)
    turned = np.c_[-run[:, 1], run[:, 0]]
    side = project(to_photo, middles + step * outward) - project(to_photo, middles - step * outward)
    turned *= np.sign((turned * side).sum(axis=1))[:, None]
    return np.asarray(turned / np.hypot(*turned.T)[:, None])


def fit_homography(
    start: FloatArray, points: FloatArray, pixels: FloatArray, normals: FloatArray, with_bloom: bool = True
) -> tuple[FloatArray, FloatArray]:
    """Homography, and where the edges can tell it a common bloom, by least squares across the edges.

    Returns
    -------
    homography : ndarray, shape (3, 3)
        From the thing's own frame to the photo.
    misfit : ndarray, shape (N,)
        Of each edge point, across the edge. [px]
    """
    h = (start / start[2, 2]).ravel()[:8]
    bloom = 0.0
    homogeneous = np.c_[points, np.ones(len(points))]
    misfit = np.zeros(len(points))
    for _ in range(4):
        matrix = np.append(h, 1.0).reshape(3, 3)
        mapped = homogeneous @ matrix.T
        seen = mapped[:, :2] / mapped[:, 2:]
        misfit = ((pixels - seen) * normals).sum(axis=1) - bloom
        row = homogeneous / mapped[:, 2:]
        slopes = np.hstack([normals[:, :1] * row, normals[:, 1:] * row,
                            -(normals * seen).sum(axis=1, keepdims=True) * row[:, :2],
                            np.full((len(points), 1 if with_bloom else 0), 1.0)])
        # One round of Huber-like weighting keeps a stain or a curl at one corner from pulling the rest.
        spread = max(1.4826 * float(np.median(np.abs(misfit))), 1e-3)
        weight = np.minimum(1.0, 2.5 * spread / np.maximum(np.abs(misfit), 1e-12))
        size = np.linalg.norm(slopes, axis=0)
        step = np.linalg.lstsq(slopes / size * weight[:, None], misfit * weight, rcond=None)[0] / size
        h, bloom = h + step[:8], bloom + float(step[8:].sum())
    matrix = np.append(h, 1.0).reshape(3, 3)
    misfit = ((pixels - project(matrix, points)) * normals).sum(axis=1) - bloom
    return matrix, misfit


def line_sigmas(own: FloatArray, misfit: FloatArray, line: NDArray[np.intp]) -> FloatArray:
    """Sigmas of edge points that share their lines' errors, shape (N,). [px]

    What the pixels leave open of each point and how far the points lie from a
    flat thing's straight lines add up. Points on one line err together, for
    the line may lie off as a whole (print, curl, the grid of the compressed
    picture), so that all its points tell no more than one would.

    Parameters
    ----------
    own : ndarray, shape (N,)
        Sigma of each point by itself. [px]
    misfit : ndarray, shape (N,)
        Of the points from the best flat thing. [px]
    line : ndarray of int, shape (N,)
        Which line each point lies on.
    """
    _, index, sharing = np.unique(line, return_inverse=True, return_counts=True)
    spread = float(np.sqrt((misfit**2).mean()))
    # The homography's eight unknowns took up part of the lines' errors, two a line.
    taken_up = np.sqrt(1 / (1 - min(8 / (2 * len(sharing)), 0.5)))
    return np.asarray(np.hypot(own, spread * taken_up) * np.sqrt(sharing[index]))


def with_lens_taken_out(target: Target, lens: Lens) -> Target:
    """The target with sigmas from its straight lines as they are without the lens's bend.

    Before the lens is known its bend, some hundredths of a pixel over a
    marker, counts as error of the edges.
    """
    if len(target.points) < 12:
        return target
    k = lens.camera_matrix
    straight = lens.to_rays(target.pixels) @ k[:2, :2].T + k[:2, 2]
    corners = lens.to_rays(target.corners_px) @ k[:2, :2].T + k[:2, 2]
    start = cv2.getPerspectiveTransform(target.corners.astype(np.float32), corners.astype(np.float32)).astype(float)
    _, misfit = fit_homography(start, target.points, straight, target.normals, with_bloom=target.kind == "marker")
    return replace(target, sigmas=line_sigmas(target.pixel_sigmas, misfit, target.lines))
