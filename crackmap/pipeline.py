"""The straight line, once, for the command line, the review page and a script.

    photo file -read-> Photo -rectify-> RectifiedPhoto -survey-> Survey -plan-> Plan -draw-> files

Each function takes records and settings and returns records, or bytes by file
name. None of them touches the job folder; `crackmap.job` does that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from crackmap.agreement import edits_warnings, shop_digests
from crackmap.jsonform import digest_of
from crackmap.records import Crack, Edits, FloatArray, OfferedPlan, Photo, Plan, RectifiedPhoto, Survey
from crackmap.settings import (
    CuttingSettings,
    PlacementSettings,
    ResinSettings,
    ScaleSettings,
    SheetSettings,
    SurveySettings,
    UndersideSettings,
)
from crackmap.shop import Shop

if TYPE_CHECKING:
    from crackmap.scale.resample import Raster


@dataclass(frozen=True, slots=True)
class StageSettings:
    """One settings object a stage, and the slab's thickness."""

    thickness_mm: float
    scale: ScaleSettings = field(default_factory=ScaleSettings)
    survey: SurveySettings = field(default_factory=SurveySettings)
    placement: PlacementSettings = field(default_factory=PlacementSettings)
    resin: ResinSettings = field(default_factory=ResinSettings)
    sheets: SheetSettings = field(default_factory=SheetSettings)
    cutting: CuttingSettings = field(default_factory=CuttingSettings)
    underside: UndersideSettings = field(default_factory=UndersideSettings)


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
    from crackmap.scale.datum import lies_within, slab_corner_datum
    from crackmap.scale.plausible import scale_doubts
    from crackmap.scale.slab_budget import budget_over_slab
    from crackmap.survey.survey import survey

    # Edits are in the final frame, which is this one if a reference lies on the slab.
    outline = edits.outline
    is_final = outline is not None and any(
        r.used and lies_within(outline, r.corners_mm.mean(axis=0)) for r in rectified.references)
    measured = survey(rectified, settings.survey, Edits(outline=outline) if is_final else Edits())
    told = (*rectified.advice, *measured.warnings, *bench_marker_warnings(measured, settings.scale),
            *scale_doubts(measured, settings.scale, settings.thickness_mm))
    measured = replace(measured, warnings=told)
    rectified, measured = budget_over_slab(*slab_corner_datum(rectified, measured))
    return rectified, apply_edits(measured, settings, edits, lambda points: trace_crack(rectified, measured, points))


def apply_edits(survey: Survey, settings: StageSettings, edits: Edits,
                tracer: Callable[[FloatArray], Crack]) -> Survey:
    """The survey with the user's outline and cracks in it, in place of any earlier word of theirs.

    `tracer` follows a crack through points on the slab [mm], as `trace_crack` does.

    Points have shape (N, 2).
    """
    from crackmap.survey.user_edits import with_user_edits

    return look_below_again(with_user_edits(survey, edits, tracer, settings.survey), settings)


def trace_crack(rectified: RectifiedPhoto, survey: Survey, points_mm: FloatArray) -> Crack:
    """The crack through points on the slab, followed in the picture. `points_mm` has shape (N, 2)."""
    from crackmap.survey import user_edits

    return user_edits.trace_crack(rectified, survey, points_mm)


def add_underside(survey: Survey, under: Survey, settings: StageSettings) -> Survey:
    """The survey with the other face's, measured from its own photo, brought together with it."""
    from crackmap.underside.join import join_faces

    other = join_faces(survey, under, settings.thickness_mm, settings.underside)
    return replace(survey, other_face=other, warnings=(*survey.warnings, *other.notes))


def look_below_again(survey: Survey, settings: StageSettings) -> Survey:
    """The survey with its openings matched anew to the other face's, after cracks were drawn or refused."""
    from crackmap.underside.join import looked_at_again

    return looked_at_again(survey, settings.thickness_mm, settings.underside)


def explain_cracks(rectified: RectifiedPhoto, settings: StageSettings, edits: Edits) -> dict[str, bytes]:
    """Pictures of why lines were taken for cracks or refused, by name; the cracks are looked for once more."""
    from crackmap.sheets.picture_file import as_png
    from crackmap.survey.explain import explain

    why = explain(rectified, settings.survey, edits.outline)
    return {"why-likelihood.png": as_png(why.chance), "why-lines.png": as_png(why.lines)}


def lines_of_cracks(survey: Survey, settings: StageSettings) -> tuple[frozenset[str], ...]:
    """Ids of the cracks that a maker sees as one, for each such line."""
    from crackmap.placement.crack_lines import join_cracks

    keyed = tuple(c for c in survey.cracks
                  if c.confidence >= settings.placement.least_confidence or c.drawn_by_user)
    return tuple(frozenset(line.cracks) for line in join_cracks(keyed, settings.placement.join_gap))


def redraw_ground(photo: Photo, survey: Survey) -> RectifiedPhoto:
    """The rectified photo of a survey, resampled by the survey's own mapping."""
    from crackmap.scale.resample import resample_by_survey

    return resample_by_survey(photo, survey)


def ground_size(survey: Survey) -> Raster:
    """Size and mapping of the rectified photo that `redraw_ground` makes, known before it is made."""
    from crackmap.scale.resample import lay_out_raster

    return lay_out_raster(survey.mapping, survey.photo.width_px, survey.photo.height_px)


def make_plan(survey: Survey, shop: Shop, settings: StageSettings, edits: Edits, last: Plan | None = None,
              choice: str | None = None, weigh_counts: bool = False) -> Plan:
    """Place the keys and reckon the resin.

    With `last`, its keys stay where they are but for what the edits touch;
    keys that the user moved or reshaped must have been left out of it.
    `choice` names one of the offered plans; where left out, the last one's.
    `weigh_counts` says with `last`, too, what one key fewer or more would do on
    each crack, which takes longer than the rest.
    """
    from crackmap.placement.offers import weights_of
    from crackmap.placement.place import place
    from crackmap.placement.revise import revise
    from crackmap.placement.unseen import unseen_wood
    from crackmap.resin.estimate import estimate_resin
    from crackmap.scale.plausible import thickness_doubts

    choice = choice or (last.choice if last is not None else "balanced")
    weights = weights_of(choice, settings.placement)
    if last is None:
        placement = place(survey, shop, settings.thickness_mm, edits, weights)
    else:
        placement = revise(survey, shop, settings.thickness_mm, edits, weights, last.keys, weigh_counts=weigh_counts)
    resin = estimate_resin(survey, placement.keys, shop, settings.thickness_mm, edits, settings.resin)
    told = (*survey.warnings, *thickness_doubts(survey, settings.thickness_mm), *edits_warnings(survey, edits),
            *unseen_wood(survey, placement.keys), *placement.warnings)
    return Plan(placement.keys, placement.unheld, resin, settings.thickness_mm, (), told, basis=placement.basis,
                objective=placement.objective, counts=placement.counts, choice=choice,
                photo_sha256=survey.photo.sha256, edits_digest=digest_of(edits),
                shop_digests=shop_digests(shop))


def offer_plans(survey: Survey, shop: Shop, settings: StageSettings, edits: Edits) -> tuple[OfferedPlan, ...]:
    """Up to three plans to choose from; `make_plan` with the name of one makes it the job's."""
    from crackmap.placement.offers import offered_plans

    return offered_plans(survey, shop, settings.thickness_mm, edits, settings.placement)


def draw_plans(rectified: RectifiedPhoto, survey: Survey, offered: tuple[OfferedPlan, ...], chosen: str,
               settings: SheetSettings) -> dict[str, bytes]:
    """The picture of the plans to choose from, by name."""
    from crackmap.sheets.picture_file import as_jpeg
    from crackmap.sheets.plans_picture import plans_picture

    return {"plans.jpg": as_jpeg(plans_picture(rectified, survey, offered, chosen, settings))}


def plan_cutting(survey: Survey, plan: Plan, shop: Shop, settings: StageSettings) -> Plan:
    """The plan with what follows from its keys: boards for them, set-ups on the bed, machine time."""
    from crackmap.machining.estimate import estimate_time
    from crackmap.setups.divide import divide_into_setups
    from crackmap.stock.lay_out import lay_out_keys

    units = settings.sheets.units
    stock = lay_out_keys(plan.keys, shop, settings.cutting, units)
    division = divide_into_setups(survey, plan.keys, shop.bed, settings.cutting, units)
    return replace(plan, stock=stock, setups=division.setups, no_setup=division.no_setup,
                   time=estimate_time(plan.keys, stock, shop))


def _cut_ready(survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings) -> Plan:
    """A plan that nobody has prepared for cutting yet is prepared in the usual way."""
    if plan.stock is not None:
        return plan
    return plan_cutting(survey, plan, shop, StageSettings(plan.thickness_mm, sheets=settings))


def draw_for_machine(survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings) -> dict[str, bytes]:
    """The files for the CAM program, by name."""
    from crackmap.sheets.drawing import TURNED_OVER
    from crackmap.sheets.dxf import drawing_file, keys_dxf, setup_dxf, slab_dxf
    from crackmap.sheets.svg import keys_svg, setup_svg, slab_svg

    plan = _cut_ready(survey, plan, shop, settings)
    files = {
        drawing_file("slab", settings): slab_dxf(survey, plan, settings),
        drawing_file("keys", settings): keys_dxf(plan, shop, settings),
        "slab.svg": slab_svg(survey, plan, settings),
        "keys.svg": keys_svg(plan, shop, settings),
    }
    if settings.with_underside:
        files[drawing_file("slab-underside", settings)] = slab_dxf(survey, plan, settings, TURNED_OVER)
        files["slab-underside.svg"] = slab_svg(survey, plan, settings, TURNED_OVER)
    for setup in plan.setups:
        files[drawing_file(f"setup-{setup.number}", settings)] = setup_dxf(survey, plan, setup, shop.bed, settings)
        files[f"setup-{setup.number}.svg"] = setup_svg(survey, plan, setup, shop.bed, settings)
    return files


def draw_for_bench(survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings,
                   rectified: RectifiedPhoto | None = None) -> dict[str, bytes]:
    """The sheets for the bench, by name; with `rectified`, a small picture of the face on them."""
    from crackmap.sheets.setting_out import setting_out_pdf
    from crackmap.sheets.template import template_pdf

    plan = _cut_ready(survey, plan, shop, settings)
    return {"setting-out.pdf": setting_out_pdf(survey, plan, shop, settings, rectified),
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


def draw_dams(under: RectifiedPhoto | None, survey: Survey, plan: Plan, settings: SheetSettings) -> dict[str, bytes]:
    """The map of where to tape and dam, seen from below, by name; none where nothing is poured.

    `under` is the underside's photo to scale, where there is one.
    """
    from crackmap.sheets.dam_map import dam_map_picture
    from crackmap.sheets.picture_file import as_png

    if not plan.resin.dams:
        return {}
    return {"tape-and-dams.png": as_png(dam_map_picture(under, survey, plan, settings))}


def finished_look(rectified: RectifiedPhoto, survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings,
                  as_photographed: bool = False) -> bytes:
    """The slab with keys and resin as a JPEG, or just as it was photographed; both show the same part."""
    from crackmap.sheets.finished import finished_view, photographed_view
    from crackmap.sheets.picture_file import as_jpeg

    if as_photographed:
        return as_jpeg(photographed_view(rectified, survey, settings))
    return as_jpeg(finished_view(rectified, survey, plan, shop, settings))
