"""The finished look: keys in their wood, cracks filled with resin; before and after in one picture."""

from __future__ import annotations

import zlib
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from crackmap.errors import SheetError
from crackmap.keys.outline import to_points
from crackmap.records import FloatArray, ImageArray, Key, Plan, RectifiedPhoto, Survey
from crackmap.settings import SheetSettings, nearest_hint
from crackmap.sheets.clear_away import clear_away
from crackmap.sheets.lettering import Lettering
from crackmap.sheets.palette import INK, PAPER, QUIET, Colour
from crackmap.sheets.picture_view import SUBPIXEL_BITS, View, coverage, crop_to_slab, fixed_point, lips
from crackmap.sheets.signs import text_size
from crackmap.sheets.wood_look import wood_colour, wood_texture
from crackmap.shop import Shop

RESIN_LOOKS = ("black", "clear", "tinted")
_BLACK: Colour = (22, 21, 20)
_AMBER = np.array([0.50, 0.40, 0.28])  # what is left of the light that comes back through clear resin
_CLOSED_BELOW = 0.25  # a crack no wider than this takes no resin that shows [mm]
_OVERFILL = 0.3  # resin stands over the lips by this [mm]
_OILED = 1.14  # oil deepens colours: the exponent of the picture's values on the slab
_LIGHT_REACH = 60.0  # shadows and uneven light are wider than this, grain is finer [mm]
_MOST_LIGHT = 1.15  # over the slab's mean; brighter than this is glare
_GLARE = 110.0  # what a doubling by glare adds, of 255
_GLINT = 42.0  # how much lighter the glint is, of 255
_GAP = 6  # between the two pictures [px]
_SCREEN = 2000  # long side of a view for the screen [px]


def finished_picture(
    rectified: RectifiedPhoto, survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings
) -> ImageArray:
    """What the slab may look like when it is done, beside what it looks like now.

    Parameters
    ----------
    rectified, survey, plan, shop
        The photo to scale, what was measured and decided; the shop names the
        keys' wood.
    settings : SheetSettings
        `resin_look` and `resin_colour`, and `picture_side` [px].

    Returns
    -------
    picture : ndarray of uint8, shape (H, W, 3)
        RGB; no side is longer than `picture_side`.

    Raises
    ------
    SheetError
        If the resin's look is unknown.
    """
    look = settings.resin_look
    if look not in RESIN_LOOKS:
        raise SheetError(f"unknown resin look {look!r}{nearest_hint(look, list(RESIN_LOOKS))}")
    before = crop_to_slab(rectified, survey, settings.picture_side, with_marks=False)
    wide = before.size[0] >= before.size[1]
    longest = int(settings.picture_side * min(1.0, 0.46 * max(before.size) / min(before.size)))
    before = crop_to_slab(rectified, survey, longest, with_marks=False)
    after = View(before.pixels.copy(), before.mapping)
    slab_colour = _finish(after, survey, plan, shop, settings)
    wood = shop.keys.key_wood or (
        "keys in a darker wood" if np.mean(slab_colour) > 110 else "keys in a paler wood"
    )
    words = [wood if wood.startswith("keys") else f"{wood} keys"] if plan.keys else []
    words += [f"{look} resin"] if plan.resin.volume_ml > 0 else []
    size = text_size(before)
    halves = [
        _captioned(before.pixels, "As photographed", "", size),
        _captioned(
            after.pixels, "Finished", f"{', '.join(words)}: an impression, wood and resin will differ", size
        ),
    ]
    gap = np.full((_GAP, halves[0].shape[1], 3) if wide else (halves[0].shape[0], _GAP, 3), PAPER, np.uint8)
    return np.concatenate([halves[0], gap, halves[1]], axis=0 if wide else 1)


def finished_view(
    rectified: RectifiedPhoto, survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings
) -> ImageArray:
    """The finished slab alone, without captions; parameters as for `finished_picture`."""
    view = crop_to_slab(rectified, survey, min(settings.picture_side, _SCREEN), with_marks=False)
    _finish(view, survey, plan, shop, settings)
    return view.pixels


def photographed_view(rectified: RectifiedPhoto, survey: Survey, settings: SheetSettings) -> ImageArray:
    """The same part of the slab as `finished_view` shows, as it was photographed."""
    return crop_to_slab(rectified, survey, min(settings.picture_side, _SCREEN), with_marks=False).pixels


def _finish(view: View, survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings) -> Colour:
    """Clear the slab, oil it, fill it and set the keys, in place; returns the slab's own colour."""
    clear_away(view, survey)
    slab = coverage(view.pixels.shape, view.mapping.to_pixels(survey.outline))
    red, green, blue, _ = (round(v) for v in cv2.mean(view.pixels, slab))
    light = _light(view, slab)
    oiled = cv2.LUT(view.pixels, (255.0 * np.linspace(0, 1, 256) ** _OILED).round().astype(np.uint8))
    np.copyto(view.pixels, oiled, where=slab[..., None] > 127)
    if plan.resin.volume_ml > 0:
        _pour(view, survey, light, settings)
    colour = wood_colour(shop.keys.key_wood, (red, green, blue))
    for key in plan.keys:
        _set_key(view, key, colour, light)
    return red, green, blue


def _light(view: View, slab: ImageArray) -> FloatArray:
    """How light each place of the slab is over its mean: shadows and the lamp's fall-off, not the grain."""
    grey = cv2.cvtColor(view.pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    inside = (slab > 127).astype(np.float32)
    shrink = max(1, round(_LIGHT_REACH * view.px_per_mm() / 12.0))
    small = (max(1, grey.shape[1] // shrink), max(1, grey.shape[0] // shrink))
    weighted, weight = (
        cv2.GaussianBlur(cv2.resize(each, small, interpolation=cv2.INTER_AREA), (0, 0), 6.0)
        for each in (grey * inside, inside)
    )
    smooth = cv2.resize(weighted / np.maximum(weight, 1e-3), grey.shape[::-1], interpolation=cv2.INTER_LINEAR)
    mean = float(grey[slab > 127].mean()) if (slab > 127).any() else 1.0
    return np.asarray(np.clip(smooth / max(mean, 1.0), 0.35, 1.6))


def _pour(view: View, survey: Survey, light: FloatArray, settings: SheetSettings) -> None:
    """Fill cracks and voids with resin, with a glint along the lip that faces the light."""
    polygons = [view.mapping.to_pixels(polygon) for polygon in _filled(survey)]
    mask = np.zeros(view.pixels.shape[:2], np.uint8)
    for polygon in polygons:
        np.maximum(mask, coverage(mask.shape, polygon), out=mask)
    dry = view.pixels.copy()  # branches overlap their stems: each place is filled from the wood, not twice
    reach = max(1.0, 0.8 * view.px_per_mm())
    for polygon in polygons:
        rows, columns = _window(view, polygon, round(3.0 * reach) + 2)
        if settings.resin_look == "clear":
            resin = dry[rows, columns] * _AMBER + 8.0
        else:
            colour = settings.resin_colour if settings.resin_look == "tinted" else _BLACK
            resin = _lit(np.array(colour, np.float32), light[rows, columns])
        # The surface is a meniscus: its slope shows the sky on one side, shade on the other.
        level = cv2.GaussianBlur(mask[rows, columns].astype(np.float32) / 255.0, (0, 0), reach)
        slope = np.gradient(level, axis=0) + np.gradient(level, axis=1)
        glint = np.clip(-8.0 * slope * reach, 0.0, 1.0)[..., None] * _GLINT
        own = coverage(level.shape, polygon - [columns.start, rows.start])
        _blend(view.pixels[rows, columns], np.clip(resin + glint, 0, 255), own / 255.0)


def _filled(survey: Survey) -> list[FloatArray]:
    """Outlines of what takes resin. [mm]"""
    polygons = [void.polygon for void in survey.voids]
    for crack in survey.cracks:
        width = np.where(crack.width > _CLOSED_BELOW, crack.width + _OVERFILL, crack.width * 0.5)
        left, right = lips(crack.centreline, width)
        polygons.append(np.concatenate([left, right[::-1]]))
    return polygons


def _window(view: View, points_px: FloatArray, margin: int) -> tuple[slice, slice]:
    """Rows and columns round points, inside the picture."""
    width, height = view.size
    x0, y0 = (int(v) for v in np.clip(np.floor(points_px.min(axis=0)) - margin, 0, [width - 2, height - 2]))
    x1, y1 = (
        int(v) for v in np.clip(np.ceil(points_px.max(axis=0)) + margin, [x0 + 2, y0 + 2], [width, height])
    )
    return slice(y0, y1), slice(x0, x1)


def _set_key(view: View, key: Key, colour: Colour, light: FloatArray) -> None:
    """A key in its pocket, its grain along its length, with the joint as a fine dark line."""
    outline = view.mapping.to_pixels(to_points(key.pocket, 0.02))
    rows, columns = _window(view, outline, 3)
    ys, xs = np.mgrid[rows, columns]
    local = view.mapping.to_slab(np.column_stack([xs.ravel(), ys.ravel()])) - key.centre
    a = np.radians(key.angle_deg)
    along = (local @ np.array([np.cos(a), np.sin(a)])).reshape(xs.shape)
    across = (local @ np.array([-np.sin(a), np.cos(a)])).reshape(xs.shape)
    wood = wood_texture(along, across, colour, zlib.crc32(key.id.encode()))
    wood = _lit(cv2.GaussianBlur(wood, (0, 0), 0.7), light[rows, columns])
    part = view.pixels[rows, columns]
    inside = outline - [columns.start, rows.start]
    _blend(part, np.clip(wood, 0, 255), coverage(part.shape, inside) / 255.0)
    joint = np.zeros(part.shape[:2], np.uint8)
    cv2.polylines(
        joint,
        [fixed_point(inside)],
        True,
        255,
        max(1, round(0.5 * view.px_per_mm())),
        cv2.LINE_AA,
        SUBPIXEL_BITS,
    )
    _blend(part, part * 0.35, joint * (0.75 / 255.0))


def _lit(colours: NDArray[Any], light: NDArray[Any]) -> NDArray[Any]:
    """Colours (H, W, 3) under the slab's own light (H, W).

    Light up to a point falls on the wood; what is more is the lamp's glare, which
    is white whatever lies under it.
    """
    glare = np.maximum(light - _MOST_LIGHT, 0.0)[..., None] * _GLARE
    return np.asarray(colours * np.minimum(light, _MOST_LIGHT)[..., None] + glare)


def _blend(below: ImageArray, above: NDArray[Any], share: NDArray[Any]) -> None:
    """Lay `above` over `below`, in place, as far as `share` (H, W) says."""
    weight = share.astype(np.float32)[..., None]
    under = below.astype(np.float32)
    np.rint(under + (above.astype(np.float32) - under) * weight, out=under)
    below[:] = under.astype(np.uint8)


def _captioned(picture: ImageArray, title: str, words: str, size: int) -> ImageArray:
    strip = Lettering(np.full((round(size * 2.0), picture.shape[1], 3), PAPER, np.uint8))
    strip.line((size * 0.6, size), title, size, INK, bold=True)
    strip.line((size * (1.6 + 0.75 * len(title)), size), words, size, QUIET)
    return np.concatenate([strip.done(), picture])
