"""A small picture of the photographed face on the bench sheet, by which the slab is known again."""

from __future__ import annotations

import io
from xml.sax.saxutils import escape

import numpy as np
from reportlab.platypus import Flowable, Image, KeepTogether, Paragraph, Spacer

from crackmap.keys.outline import to_points
from crackmap.records import ImageArray, Plan, RectifiedPhoto, Survey
from crackmap.sheets.lettering import LIGHT, Lettering, plate_size
from crackmap.sheets.page_parts import TEXT, TITLE
from crackmap.sheets.palette import EDGE, KEY
from crackmap.sheets.picture_file import as_jpeg
from crackmap.sheets.picture_view import View, crop_to_slab, stroke
from crackmap.sheets.signs import draw_target

_SIDE = 1500  # enough to know knots and cracks by on paper [px]
_TALLEST = 0.62  # of the column's width: a nearly square slab leaves room for the words [-]


def face_flowables(rectified: RectifiedPhoto, survey: Survey, plan: Plan, width: float) -> list[Flowable]:
    """The picture with what to compare it for, `width` points wide at most. Widths in PDF points."""
    picture = face_picture(rectified, survey, plan)
    rows, columns = picture.shape[:2]
    factor = min(width / columns, _TALLEST * width / rows)
    words = (f"This is the face to cut, as it was photographed. If knots, cracks and ends of the slab on the machine "
             f"do not look so, it is another slab, the wrong face, or the photo was mirrored: do not cut. Photo "
             f"{survey.photo.file}, {survey.photo.width_px} x {survey.photo.height_px}, {survey.photo.sha256[:12]}.")
    return [KeepTogether([
        Paragraph("Is this the slab?", TITLE), Paragraph(escape(words), TEXT), Spacer(1, 4),
        Image(io.BytesIO(as_jpeg(picture)), width=columns * factor, height=rows * factor, hAlign="LEFT"),
    ])]


def face_picture(rectified: RectifiedPhoto, survey: Survey, plan: Plan) -> ImageArray:
    """The slab with its edge, pockets and marks A and B, nothing else; RGB, shape (H, W, 3)."""
    view = crop_to_slab(rectified, survey, _SIDE)
    size = max(18, round(_SIDE / 45))
    stroke(view.pixels, view.mapping.to_pixels(survey.outline), EDGE, 3, closed=True)
    for key in plan.keys:
        stroke(view.pixels, view.mapping.to_pixels(to_points(key.pocket, 0.1)), KEY, 3, closed=True)
    return _with_marks(view, survey, size)


def _with_marks(view: View, survey: Survey, size: int) -> ImageArray:
    places = view.mapping.to_pixels(np.array([survey.datum.a, survey.datum.b]))
    for at in places:
        draw_target(view.pixels, at, size)
    lettering = Lettering(view.pixels)
    for name, (x, y) in zip("AB", places.tolist(), strict=True):
        wide, tall = plate_size(name, size, True)
        lettering.plate((round(x + size), round(y - size - tall), round(x + size + wide), round(y - size)), name, size,
                        LIGHT, True)
    return lettering.done()
