"""The straight line, once, for the command line, the review page and a script.

    photo file -read-> Photo -rectify-> RectifiedPhoto -survey-> Survey -plan-> Plan -draw-> files

Each function takes records and settings and returns records, or bytes by file
name. None of them touches the job folder; `crackmap.job` does that.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from crackmap.records import Edits, Photo, Plan, RectifiedPhoto, Survey
from crackmap.settings import PlacementSettings, ResinSettings, ScaleSettings, SheetSettings, SurveySettings
from crackmap.shop import Shop


@dataclass(frozen=True, slots=True)
class StageSettings:
    """One settings object a stage, and the slab's thickness."""

    thickness_mm: float
    scale: ScaleSettings = field(default_factory=ScaleSettings)
    survey: SurveySettings = field(default_factory=SurveySettings)
    placement: PlacementSettings = field(default_factory=PlacementSettings)
    resin: ResinSettings = field(default_factory=ResinSettings)
    sheets: SheetSettings = field(default_factory=SheetSettings)


def rectify_photo(photo: Photo, settings: StageSettings) -> RectifiedPhoto:
    """Find the references and bring the photo to scale."""
    from crackmap.scale.rectify import rectify

    return rectify(photo, settings.scale)


def measure(rectified: RectifiedPhoto, settings: StageSettings, edits: Edits) -> tuple[RectifiedPhoto, Survey]:
    """Measure the slab; both records come back in the final slab frame.

    With the reference off the slab the frame hangs on two corners of the slab,
    which are known only now, so that the rectified photo moves with it.
    """
    from crackmap.scale.advice import bench_marker_warnings
    from crackmap.scale.datum import slab_corner_datum
    from crackmap.scale.slab_budget import budget_over_slab
    from crackmap.survey.survey import survey

    measured = survey(rectified, settings.survey, edits)
    told = rectified.advice + measured.warnings + bench_marker_warnings(measured, settings.scale)
    measured = replace(measured, warnings=told)
    return budget_over_slab(*slab_corner_datum(rectified, measured))


def make_plan(survey: Survey, shop: Shop, settings: StageSettings, edits: Edits) -> Plan:
    """Place the keys and reckon the resin."""
    from crackmap.placement.place import place
    from crackmap.resin.estimate import estimate_resin

    placement = place(survey, shop, settings.thickness_mm, edits, settings.placement)
    resin = estimate_resin(survey, placement.keys, shop, settings.thickness_mm, edits, settings.resin)
    return Plan(placement.keys, placement.unheld, resin, settings.thickness_mm, (),
                survey.warnings + placement.warnings)


def draw_for_machine(survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings) -> dict[str, bytes]:
    """The files for the CAM program, by name."""
    from crackmap.sheets.dxf import drawing_file, keys_dxf, slab_dxf
    from crackmap.sheets.svg import keys_svg, slab_svg

    return {
        drawing_file("slab", settings): slab_dxf(survey, plan, settings),
        drawing_file("keys", settings): keys_dxf(plan, shop, settings),
        "slab.svg": slab_svg(survey, plan, settings),
        "keys.svg": keys_svg(plan, shop, settings),
    }


def draw_for_bench(survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings) -> dict[str, bytes]:
    """The sheets for the bench, by name."""
    from crackmap.sheets.setting_out import setting_out_pdf
    from crackmap.sheets.template import template_pdf

    return {"setting-out.pdf": setting_out_pdf(survey, plan, shop, settings),
            "template.pdf": template_pdf(survey, plan, settings)}


def draw_pictures(
    rectified: RectifiedPhoto, survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings
) -> dict[str, bytes]:
    """The pictures to review, by name."""
    from crackmap.sheets.annotated import annotated_picture
    from crackmap.sheets.finished import finished_picture
    from crackmap.sheets.picture_file import as_jpeg, as_png
    from crackmap.sheets.scale_map import scale_map_picture

    return {
        "annotated.png": as_png(annotated_picture(rectified, survey, plan, settings)),
        "scale.png": as_png(scale_map_picture(survey, settings)),
        "finished.jpg": as_jpeg(finished_picture(rectified, survey, plan, shop, settings)),
    }
