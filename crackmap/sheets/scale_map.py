"""The error budget as a picture: how sure a place is, over the slab."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.records import FloatArray, ImageArray, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.lettering import DARK, LIGHT, Lettering, plate_size, wrapped
from crackmap.sheets.palette import INK, PAPER, QUIET
from crackmap.sheets.words import bare_length, scale_sentence
from crackmap.units import show_length

_WIDTH_PX = 1500
_MARGIN_PX = 60
_CELL_PX = 12  # the field is smooth: it is worked out on so coarse a grid and drawn out
_SURE, _UNSURE = np.array([236.0, 244.0, 250.0]), np.array([140.0, 62.0, 20.0])  # pale blue to rust, sRGB
_FIGURES = (6, 3)  # figures written across the slab, columns and rows


def scale_map_picture(survey: Survey, settings: SheetSettings) -> ImageArray:
    """Position sigma over the slab's outline, in shade and figures, with the datum marks.

    Parameters
    ----------
    survey : Survey
    settings : SheetSettings
        The unit of the texts.

    Returns
    -------
    picture : ndarray of uint8, shape (H, W, 3)
        RGB.
    """
    low, high = survey.outline.min(axis=0), survey.outline.max(axis=0)
    px_per_mm = (_WIDTH_PX - 2 * _MARGIN_PX) / (high - low).max()
    size = tuple(int(s) for s in np.ceil((high - low) * px_per_mm + 2 * _MARGIN_PX))

    def to_canvas(points: FloatArray) -> FloatArray:
        return np.stack([(points[:, 0] - low[0]) * px_per_mm + _MARGIN_PX,
                         (high[1] - points[:, 1]) * px_per_mm + _MARGIN_PX], axis=1)

    body = _shaded(survey, to_canvas, size, low, high, px_per_mm)
    lettering = Lettering(body)
    for place in _figure_places(survey):
        text = bare_length(float(survey.scale.sigma_at(place)[0]), settings.units)
        _plate(lettering, to_canvas(place[None])[0], text, 22)
    for name, mark in (("A", survey.datum.a), ("B", survey.datum.b)):
        _plate(lettering, to_canvas(np.asarray(mark)[None])[0], name, 30, dark=True)
    return np.concatenate([_heading(survey, settings, size[0]), lettering.done()])


def _shaded(survey: Survey, to_canvas: Callable[[FloatArray], FloatArray], size: tuple[int, ...], low: FloatArray,
            high: FloatArray, px_per_mm: float) -> ImageArray:
    """The slab shaded by sigma, unlettered."""
    columns, rows = max(size[0] // _CELL_PX, 2), max(size[1] // _CELL_PX, 2)
    x = low[0] + ((np.arange(columns) + 0.5) * size[0] / columns - _MARGIN_PX) / px_per_mm
    y = high[1] - ((np.arange(rows) + 0.5) * size[1] / rows - _MARGIN_PX) / px_per_mm
    sigma = survey.scale.sigma_at(np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)).reshape(rows, columns)
    share = cv2.resize(np.clip(sigma / max(survey.scale.sigma_worst_mm, 1e-9), 0, 1), size[:2],
                       interpolation=cv2.INTER_CUBIC).clip(0, 1)[..., None]
    shades = np.rint(_SURE + (_UNSURE - _SURE) * share).astype(np.uint8)
    ring = np.rint(to_canvas(survey.outline)).astype(np.int32)
    mask: NDArray[np.uint8] = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(mask, [ring], 1)
    canvas = np.full((size[1], size[0], 3), PAPER, np.uint8)
    canvas[mask > 0] = shades[mask > 0]
    cv2.polylines(canvas, [ring], True, INK, 2, cv2.LINE_AA)
    return canvas


def _figure_places(survey: Survey) -> list[FloatArray]:
    """Places on the slab where a figure is written, clear of the datum marks. [mm]"""
    low, high = survey.outline.min(axis=0), survey.outline.max(axis=0)
    shares = [((i + 0.5) / _FIGURES[0], (j + 0.5) / _FIGURES[1]) for j in range(_FIGURES[1])
              for i in range(_FIGURES[0])]
    places = [low + (high - low) * np.array(share) for share in shares]
    ring = survey.outline.astype(np.float32).reshape(-1, 1, 2)
    clear = 0.04 * float((high - low).max())
    marks = np.stack([survey.datum.a, survey.datum.b])
    return [p for p in places if cv2.pointPolygonTest(ring, (float(p[0]), float(p[1])), True) > clear / 2
            and np.hypot(*(marks - p).T).min() > clear]


def _plate(lettering: Lettering, at: FloatArray, text: str, size: int, dark: bool = False) -> None:
    width, height = plate_size(text, size, dark)
    x, y = (float(v) for v in at)
    box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
    lettering.plate(box, text, size, DARK if dark else LIGHT, dark)


def _heading(survey: Survey, settings: SheetSettings, width: int) -> ImageArray:
    """What the picture shows, in words."""
    q = survey.scale
    unit = "mm" if settings.units == "mm" else "in"
    told = [scale_sentence(survey, settings.units), *q.notes,
            f"At mark A {show_length(q.sigma_at_datum_mm, settings.units, 2)}. Palest is sure, darkest is "
            f"{show_length(q.sigma_worst_mm, settings.units)}, the worst place in the photo."]
    lines = [line for text in told for line in wrapped(text, width - 2 * _MARGIN_PX, 22)]
    strip = Lettering(np.full((86 + 32 * len(lines), width, 3), PAPER, np.uint8))
    strip.line((_MARGIN_PX, 34), f"How sure a place is: one sigma, {unit}", 30, INK, bold=True)
    for number, line in enumerate(lines):
        strip.line((_MARGIN_PX, 76 + 32 * number), line, 22, QUIET)
    return strip.done()
