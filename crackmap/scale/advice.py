"""What the photo could do better, and what the scale rests on: one sentence each, with the figure."""

from __future__ import annotations

import numpy as np

from crackmap.records import Reference, Survey
from crackmap.scale.camera import DIAGONAL_35MM
from crackmap.scale.datum import lies_within
from crackmap.scale.fit import ORDINARY_SIGMAS, Fit
from crackmap.scale.mapping import Mapping
from crackmap.settings import ScaleSettings

# Choices, each where the error budget or the eye starts to suffer.
MOST_TILT_DEG = 20.0  # depth of field and side faces suffer beyond; the maths would bear more
MOST_BLUR_PX = 1.6  # twice what a good phone photo shows
LEAST_LIGHT = 0.12  # linear light of white paper: three stops under its usual place
LEAST_MARKER_PX = 60.0  # ten pixels a cell
LEAST_SPAN = 0.4  # of the picture's width between the outermost markers' centres
CONTRADICTION = 1.75  # strain, see fit: from here on chance is no longer a reason


def photo_advice(fit: Fit, mapping: Mapping) -> tuple[str, ...]:
    """Advice about the photo, for the next one."""
    targets = fit.problem.targets
    sides = [_side_px(t.corners_px) for t in targets]
    blur, light = float(np.median([t.blur_px for t in targets])), float(np.median([t.light for t in targets]))
    tilt = fit.camera.tilt_deg
    advice = []
    if tilt > MOST_TILT_DEG:
        advice.append(f"The photo is tilted by {tilt:.0f} degrees; up to {MOST_TILT_DEG:.0f} keep side faces out of "
                      "view and the far end sharp.")
    if blur > MOST_BLUR_PX:
        fine = float(mapping.mm_per_px_at(mapping.to_slab(targets[0].corners_px))[0])
        advice.append(f"Edges are blurred by {blur:.1f} px ({blur * fine:.1f} mm); hold the camera still, focus on "
                      "the slab and use more light to see fine cracks.")
    if light < LEAST_LIGHT:
        advice.append(f"The photo is dark: white paper reaches {light:.0%} of full light; expose longer or add light.")
    if min(sides) < LEAST_MARKER_PX:
        small = targets[int(np.argmin(sides))]
        advice.append(f"{_capital(small.name)} is only {min(sides):.0f} px wide; from {LEAST_MARKER_PX:.0f} px on it "
                      "carries its weight: go nearer or print it larger.")
    span = _span(fit)
    if len(targets) > 1 and span < LEAST_SPAN:
        advice.append(f"The markers lie within {span:.0%} of the picture's width; put one at each end of the slab.")
    return tuple(advice) + tuple(f"{_capital(t.name)} was left out: it {why}." for t, why in fit.left_out)


def scale_notes(fit: Fit, claim_percent: float) -> tuple[str, ...]:
    """What the scale rests on, and what would better it."""
    targets, notes = fit.problem.targets, []
    if targets[0].kind == "rule":
        notes.append("Two points of a rule only: tilt and perspective cannot be taken out, so that the scale is sure "
                     f"to {claim_percent:.2g} % only; printed markers (crackmap marker) take them out.")
    elif len(targets) == 1:
        notes.append(f"One {'marker' if targets[0].kind == 'marker' else targets[0].kind} only: the scale is sure to "
                     f"{claim_percent:.2g} %; a marker at each end of the slab or a lens file (crackmap lens) would "
                     "better it several times.")
    if fit.problem.lens is None:
        notes.append(_lens_note(fit))
    size_share = 100 * fit.problem.priors.print_sigma
    if not fit.problem.distances and len(targets) > 1 and size_share > 0.7 * claim_percent:
        notes.append(f"Most of the doubt is the marker's size (sure to {size_share:.2g} %): a taped distance between "
                     "two marks betters it.")
    if len(targets) > 1 and fit.strain > CONTRADICTION:
        notes.append(f"Markers {', '.join(str(t.id) for t in targets)} contradict each other: only a camera unlike any "
                     "usual one would see them so; one is not flat on the show face, or not of the size given. The "
                     f"claim was widened {fit.strain:.1f} times; check them and photograph again.")
    return tuple(notes)


def _lens_note(fit: Fit) -> str:
    """How well the photo told its own lens."""
    problem = fit.problem
    if abs(fit.unknowns[6]) > ORDINARY_SIGMAS * CONTRADICTION * problem.priors.focal_sigma:
        told, found = (f * DIAGONAL_35MM / np.hypot(problem.width, problem.height)
                       for f in (problem.priors.focal_px, fit.camera.lens.camera_matrix[0, 0]))
        return (f"The markers suggest a focal length of {found:.0f} mm (35 mm equivalent) where {told:.0f} mm was "
                "expected: check the marker size, and give the lens's focal length or a lens file.")
    k1_sigma = float(np.sqrt(fit.covariance[7, 7]))
    if k1_sigma > 0.5 * fit.problem.priors.k1_sigma:
        return ("Lens unknown, and the markers don't tell it: straight lines far from them may bend by "
                f"{_bend_mm(fit, fit.problem.priors.k1_sigma):.1f} mm; the claim allows for that.")
    return f"Lens estimated from the markers: k1 {fit.unknowns[7]:+.4f}, give or take {k1_sigma:.4f}."


def _bend_mm(fit: Fit, k1: float) -> float:
    """How far that k1 moves a point at three quarters of the half diagonal. [mm]"""
    problem = fit.problem
    focal = fit.camera.lens.camera_matrix[0, 0]
    reach = 0.75 * np.hypot(problem.width, problem.height) / 2 / focal
    return float(k1 * reach**3 * fit.camera.distance)


def _span(fit: Fit) -> float:
    """Greatest distance between two targets' centres over the picture's width."""
    centres = np.array([t.corners_px.mean(axis=0) for t in fit.problem.targets])
    gaps = np.linalg.norm(centres[:, None] - centres[None], axis=2)
    return float(gaps.max() / fit.problem.width)


def _side_px(corners: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> float:
    return float(np.hypot(*(np.roll(corners, -1, axis=0) - corners).T).mean())


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def bench_marker_warnings(survey: Survey, settings: ScaleSettings) -> tuple[str, ...]:
    """Warn of references whose place, on or off the slab, doesn't go with the height given.

    Parameters
    ----------
    survey : Survey
        Measured with these settings.
    settings : ScaleSettings
        Its `marker_height` is what the user said.
    """
    used = [r for r in survey.references if r.used]
    beside = [r for r in used if not lies_within(survey.outline, r.corners_mm.mean(axis=0))]
    if settings.marker_height == 0 and beside:
        return (f"{_names(beside)} outside the slab's edge and no marker height was given: if that is the bench, all "
                "lengths read too long by the slab's thickness over the camera's height (45 mm under 1.8 m: 2.5 %); "
                "give --marker-height, minus the thickness.",)
    if settings.marker_height < 0 and len(beside) < len(used):
        on = [r for r in used if r not in beside]
        return (f"{_names(on)} on the slab as the photo shows it, but the marker height given is "
                f"{settings.marker_height:g} mm; leave --marker-height out for markers on the show face.",)
    return ()


def _names(references: list[Reference]) -> str:
    """'Marker 3 lies' or 'Markers 3 and 17 lie', for the start of a sentence."""
    if references[0].kind != "marker":
        return f"The {references[0].kind} lies"
    ids = [str(r.id) for r in references]
    return f"Marker {ids[0]} lies" if len(ids) == 1 else f"Markers {', '.join(ids[:-1])} and {ids[-1]} lie"
