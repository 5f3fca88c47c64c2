"""Take markers, sheets and cards out of a picture by laying wood from beside them over them."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.records import FloatArray, Survey
from crackmap.sheets.picture_view import View, coverage, lips

# A marker's paper reaches past the black square by its white border and a strip for the label.
_PAPER_SHARE = 0.75  # half side of what is covered over the square's side [-]
_SHIFTS = (1.0, 1.25, 1.5, 1.8, 2.2, 2.7)  # tried, in lengths of the thing along the grain


def clear_away(view: View, survey: Survey) -> None:
    """Cover every reference that lies on the slab, in place.

    The patch comes from along the grain, where the wood looks alike, and its
    edges are blended in gradients (Perez, Gangnet, Blake, Poisson image
    editing, ACM Transactions on Graphics 22(3), 2003), so that light and colour
    run through.
    """
    slab = coverage(view.pixels.shape, view.mapping.to_pixels(survey.outline)) > 127
    things = [_thing(view, reference.corners_mm) for reference in survey.references]
    taken = ~slab | _openings(view, survey)
    for thing in things:
        taken |= thing
    grain = _grain_step(view, survey)
    for thing in things:
        hidden = thing & slab
        if hidden.any():
            _cover(view, hidden, taken, grain)


def _thing(view: View, corners_mm: FloatArray) -> NDArray[np.bool_]:
    """The pixels that a reference and its paper cover."""
    middle = corners_mm.mean(axis=0)
    grown = middle + (corners_mm - middle) * (2.0 * _PAPER_SHARE)
    mask = coverage(view.pixels.shape, view.mapping.to_pixels(grown)) > 0
    return np.asarray(mask)


def _openings(view: View, survey: Survey) -> NDArray[np.bool_]:
    """Cracks and voids: no patch is cut from there."""
    mask = np.zeros(view.pixels.shape[:2], bool)
    for crack in survey.cracks:
        left, right = lips(crack.centreline, crack.width + 2.0)
        mask |= coverage(mask.shape, view.mapping.to_pixels(np.concatenate([left, right[::-1]]))) > 0
    for void in survey.voids:
        mask |= coverage(mask.shape, view.mapping.to_pixels(void.polygon)) > 0
    return mask


def _grain_step(view: View, survey: Survey) -> FloatArray:
    """One millimetre along the grain, in pixels."""
    a = np.radians(survey.grain_deg)
    start, end = view.mapping.to_pixels([[0.0, 0.0], [np.cos(a), np.sin(a)]])
    return np.asarray(end - start)


def _cover(view: View, hidden: NDArray[np.bool_], taken: NDArray[np.bool_], grain: FloatArray) -> None:
    """Lay the cleanest patch from along the grain over the hidden pixels."""
    rows, columns = np.nonzero(hidden)
    span = float(np.ptp(columns) * abs(grain[0]) + np.ptp(rows) * abs(grain[1])) / max(
        float(np.hypot(*grain)), 1e-9
    )
    ahead = grain / max(float(np.hypot(*grain)), 1e-9)
    best: tuple[float, NDArray[np.int64]] | None = None
    for share in _SHIFTS:
        for sign in (1.0, -1.0):
            shift = np.round(sign * share * (span + 6.0) * ahead).astype(int)
            bad = _bad_share(rows + shift[1], columns + shift[0], taken)
            if best is None or bad < best[0]:
                best = bad, shift
    assert best is not None
    if best[0] > 0.25:  # nowhere clean enough: smear over it rather than copy a crack
        view.pixels[:] = cv2.inpaint(view.pixels, hidden.astype(np.uint8), 5, cv2.INPAINT_TELEA)
        return
    source = np.roll(view.pixels, (-best[1][1], -best[1][0]), axis=(0, 1))
    y0, y1, x0, x1 = rows.min(), rows.max() + 1, columns.min(), columns.max() + 1
    middle = int((x0 + x1 - 1) // 2), int((y0 + y1 - 1) // 2)
    mask = hidden[y0:y1, x0:x1].astype(np.uint8) * 255
    view.pixels[:] = cv2.seamlessClone(
        np.ascontiguousarray(source[y0:y1, x0:x1]), view.pixels, mask, middle, cv2.NORMAL_CLONE
    )


def _bad_share(rows: NDArray[np.int64], columns: NDArray[np.int64], taken: NDArray[np.bool_]) -> float:
    """Share of pixels that lie outside the picture or where no patch may be cut."""
    height, width = taken.shape
    inside = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    clean = ~taken[rows[inside], columns[inside]]
    return 1.0 - float(clean.sum()) / len(rows)
