"""The stage: from a photo to its rectified view, in millimetres, with an error budget."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from crackmap.records import Datum, Photo, RectifiedPhoto, Reference, ScaleQuality, freeze, frozen_array
from crackmap.scale.advice import photo_advice, scale_notes
from crackmap.scale.budget import spread_at
from crackmap.scale.camera import Camera
from crackmap.scale.check import check_notes, demand_tape_agrees
from crackmap.scale.find import find_targets
from crackmap.scale.fit import Fit, fit_camera
from crackmap.scale.mapping import Mapping
from crackmap.scale.marks import MarkChoice, Marks, choose_marks, into_frame, marks_at
from crackmap.scale.plausible import shape_doubts
from crackmap.scale.resample import lay_out_raster, resample
from crackmap.scale.sources import known_lens, priors_for, taped_distances
from crackmap.scale.spread import scale_sigma_percent
from crackmap.scale.target import FloatArray, Target
from crackmap.settings import ScaleSettings


def rectify(photo: Photo, settings: ScaleSettings) -> RectifiedPhoto:
    """Find what lies on the slab for scale and resample the photo to millimetres.

    Parameters
    ----------
    photo : Photo
        Upright, sRGB.
    settings : ScaleSettings
        What was laid down, its size, and what is known of the camera.

    Raises
    ------
    ScaleError
        If nothing of known size is found, or if what is found contradicts itself or the settings.
    """
    height, width = photo.pixels.shape[:2]
    lens, lens_notes = known_lens(photo.facts, settings)
    targets = find_targets(photo, settings, lens)
    fit = fit_camera(targets, priors_for(photo.facts, settings, targets[0]), width, height, lens,
                     taped_distances(settings, targets))
    demand_tape_agrees(fit)
    choice = choose_marks(fit)
    marks = marks_at(choice, fit.places, fit.problem.print_stretch(fit.unknowns))
    mapping = fit.camera.mapping.moved(float(np.degrees(marks.turn)), marks.a)
    quality = _quality(fit, choice, mapping)
    notes = (*scale_notes(fit, quality.scale_sigma_percent), *lens_notes,
             *check_notes(fit, choice, settings.check_distances))
    raster = lay_out_raster(mapping, width, height)
    pixels, seen = resample(photo, mapping, raster)
    return RectifiedPhoto(freeze(pixels), freeze(seen), raster.mapping, mapping, photo.facts, _datum(marks),
                          _references(fit, mapping), replace(quality, notes=notes),
                          (*photo.notes, *shape_doubts(photo.facts), *photo_advice(fit, mapping)))


def _datum(marks: Marks) -> Datum:
    a, b = into_frame(marks, np.stack([marks.a, marks.b]))
    return Datum(frozen_array(a), frozen_array(b), marks.kind, marks.a_name, marks.b_name)


def _quality(fit: Fit, choice: MarkChoice, mapping: Mapping) -> ScaleQuality:
    """The error budget over the view."""
    width, height = fit.problem.width, fit.problem.height
    grids = _grid(width, height, 9, 7, 0.04), _grid(width, height, 9, 5, 0.1), mapping.to_pixels(np.zeros((1, 2)))
    field, middle, at_datum = spread_at(fit, choice, np.concatenate(grids)).parts([len(g) for g in grids])
    mm_per_px = float(mapping.mm_per_px_at(mapping.to_slab([[width / 2, height / 2]]))[0])
    blur = float(np.nan_to_num(np.median([t.blur_px for t in fit.problem.targets]), nan=USUAL_BLUR_PX))
    return ScaleQuality(
        mm_per_px, scale_sigma_percent(middle), float(at_datum.sigmas[0]), float(field.sigmas.max()),
        NARROWEST_CRACK_PX * max(1.0, blur / USUAL_BLUR_PX) * mm_per_px, fit.rms_px,
        frozen_array(np.c_[field.points, field.sigmas]), sigma_modes=frozen_array(field.modes))


# Narrowest crack found in strong grain with recall 0.96, at a blur of 0.8 px; measured by simulation.
NARROWEST_CRACK_PX = 0.75
USUAL_BLUR_PX = 0.8


def _grid(width: int, height: int, columns: int, rows: int, margin: float) -> FloatArray:
    x, y = np.meshgrid(np.linspace(margin, 1 - margin, columns) * (width - 1),
                       np.linspace(margin, 1 - margin, rows) * (height - 1))
    return np.stack([x.ravel(), y.ravel()], axis=1)


def _references(fit: Fit, mapping: Mapping) -> tuple[Reference, ...]:
    """Everything of known size in view, used or not, where the camera sees it on the show face."""
    used = [_reference(t, _corners_seen(fit, i), mapping) for i, t in enumerate(fit.problem.targets)]
    unused = [_reference(t, t.corners_px, mapping, why) for t, why in fit.left_out]
    return tuple(used + unused)


def _corners_seen(fit: Fit, index: int) -> FloatArray:
    camera: Camera = fit.camera
    target = fit.problem.targets[index]
    x, y, turn = fit.places[index]
    corners = target.corners * fit.problem.print_stretch(fit.unknowns)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return camera.see(np.c_[corners @ rotation.T + [x, y], np.full(4, target.height)])


def _reference(target: Target, corners_px: FloatArray, mapping: Mapping, why: str = "") -> Reference:
    return Reference(target.kind, target.id, frozen_array(mapping.to_slab(corners_px)), target.size_mm, target.height,
                     not why, why)
