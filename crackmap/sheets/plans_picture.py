"""The plans to choose from in one picture, one above the other, each with its figures."""

from __future__ import annotations

import numpy as np

from crackmap.keys.outline import to_points
from crackmap.records import ImageArray, OfferedPlan, RectifiedPhoto, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.lettering import Lettering, wrapped
from crackmap.sheets.palette import EDGE, INK, KEY, PAPER, QUIET
from crackmap.sheets.picture_view import View, crop_to_slab, fill, stroke
from crackmap.sheets.signs import draw_crack, hatch, line_width, text_size
from crackmap.sheets.words import counted
from crackmap.units import show_length

_CHORD = 0.1  # of arcs [mm]
_LONGEST_SIDE = 2400  # of one plan's picture: three lie above each other [px]


def plans_picture(rectified: RectifiedPhoto, survey: Survey, offered: tuple[OfferedPlan, ...], chosen: str,
                  settings: SheetSettings) -> ImageArray:
    """Each offered plan on the photo, under a heading with its name and figures.

    Parameters
    ----------
    rectified : RectifiedPhoto
        The photo to scale.
    survey : Survey
    offered : tuple of OfferedPlan
        At least one.
    chosen : str
        Name of the plan that the job's files are drawn from.
    settings : SheetSettings
        The unit of the texts, and `picture_side` [px].

    Returns
    -------
    picture : ndarray of uint8, shape (H, W, 3)
        RGB.
    """
    longest = min(settings.picture_side, _LONGEST_SIDE)
    panels = [_panel(crop_to_slab(rectified, survey, longest, with_marks=False), survey, plan, plan.name == chosen,
                     settings) for plan in offered]
    return np.concatenate(panels)


def _panel(view: View, survey: Survey, plan: OfferedPlan, is_chosen: bool, settings: SheetSettings) -> ImageArray:
    size = text_size(view)
    image, to_pixels = view.pixels, view.mapping.to_pixels
    for void in survey.voids:
        hatch(image, to_pixels(void.polygon), size)
    stroke(image, to_pixels(survey.outline), EDGE, line_width(size), closed=True)
    for crack in survey.cracks:
        draw_crack(view, crack, size)
    for key in plan.placement.keys:
        pocket = to_pixels(to_points(key.pocket, _CHORD))
        fill(image, pocket, KEY, 0.5)
        stroke(image, pocket, KEY, line_width(size), closed=True)
    return np.concatenate([_heading(view.size[0], size, plan, is_chosen, settings), image])


def _heading(width: int, size: int, plan: OfferedPlan, is_chosen: bool, settings: SheetSettings) -> ImageArray:
    title = f"{plan.name}{' (the one that is drawn)' if is_chosen else ''}"
    longest = show_length(plan.longest_unheld, settings.units, 0)
    sentences = [plan.description,
                 f"{counted(len(plan.placement.keys), 'key')}; longest stretch without one {longest}; costs "
                 f"{plan.objective:.1f} by the balanced weights, lower is better.",
                 f"{plan.holding[:1].upper()}{plan.holding[1:]}." if plan.holding else ""]
    lines = [line for sentence in sentences for line in wrapped(sentence, width - 2 * size, size)]
    height = round((len(lines) + 1) * 1.5 * size + 1.4 * size)
    lettering = Lettering(np.full((height, width, 3), PAPER, np.uint8))
    lettering.line((size, 1.3 * size), title, round(1.25 * size), INK, True)
    for number, line in enumerate(lines):
        lettering.line((size, (2.9 + 1.5 * number) * size), line, size, QUIET)
    return lettering.done()
