"""What a photo's measures tell of a mistake in what was typed or laid down: warnings, not errors.

None of these can be decided by the photo alone; each names the figure that is
out of the ordinary, and what usually makes it so.
"""

from __future__ import annotations

from crackmap.records import PhotoFacts, Survey
from crackmap.scale.datum import lies_within
from crackmap.settings import MIRROR_ALIKE_IDS, ScaleSettings

# A phone held over a slab: from arm's length over a small offcut to the top of a ladder (choices). [mm]
LEAST_HEIGHT, MOST_HEIGHT = 300.0, 6000.0
# Slabs for table tops and benches (choices). [mm]
LEAST_THICKNESS, MOST_THICKNESS = 12.0, 200.0
THICK_FOR_WIDTH = 0.6  # of the width: thicker is a beam, or a length typed in the wrong unit (a choice) [-]
SAME_HEIGHT = 3.0  # by which a bench marker's depth may differ from the slab's thickness: paper, a crooked bench [mm]


def scale_doubts(survey: Survey, settings: ScaleSettings, thickness_mm: float) -> tuple[str, ...]:
    """Warnings on scale and references of a measured photo, given what the user said of both."""
    return (*_camera_doubts(survey), *_height_doubts(survey, settings, thickness_mm), *_mirror_doubts(survey))


def thickness_doubts(survey: Survey, thickness_mm: float) -> tuple[str, ...]:
    """A warning where the thickness given is unlike any slab's, or too much for this one's width."""
    sides = sorted(float(v) for v in survey.outline.max(axis=0) - survey.outline.min(axis=0))
    if LEAST_THICKNESS <= thickness_mm <= min(MOST_THICKNESS, THICK_FOR_WIDTH * sides[0]):
        return ()
    return (f"The thickness given is {thickness_mm:.1f} mm, for a slab {sides[1]:.0f} x {sides[0]:.0f} mm over all: "
            "are figure and unit right? Pocket depths and resin go by it.",)


def _camera_doubts(survey: Survey) -> list[str]:
    camera = survey.mapping.camera_matrix
    if camera is None:
        return []
    height = survey.scale.mm_per_px * float(camera[0, 0] + camera[1, 1]) / 2.0
    if LEAST_HEIGHT <= height <= MOST_HEIGHT:
        return []
    used = next((r for r in survey.references if r.used), None)
    size = "" if used is None else f" of {used.size_mm[0]:g} mm"
    return [f"By the size of the reference{size} the camera was {height:.0f} mm from the slab: are figure and unit of "
            "that size right? All lengths go by it."]


def _height_doubts(survey: Survey, settings: ScaleSettings, thickness_mm: float) -> list[str]:
    used = [r for r in survey.references if r.used]
    beside = [r for r in used if not lies_within(survey.outline, r.corners_mm.mean(axis=0))]
    if not beside:
        return []
    height = settings.marker_height
    if height > 0.0:
        return [f"The reference lies outside the slab's edge, but the height given is {height:g} mm above the show "
                f"face: for one on the bench it is minus the thickness, --marker-height -{thickness_mm:g}mm."]
    if height < 0.0 and abs(height + thickness_mm) > SAME_HEIGHT:
        return [f"The reference beside the slab was said to lie {-height:g} mm below the show face, and the slab to be "
                f"{thickness_mm:g} mm thick: if both lie on one bench, one of these figures is wrong."]
    return []


def _mirror_doubts(survey: Survey) -> list[str]:
    """Only a marker that reads differently in a mirror betrays a mirrored photo."""
    if any(r.kind == "marker" and r.id not in MIRROR_ALIKE_IDS for r in survey.references):
        return []
    return ["Nothing in view would betray a mirrored photo: see that the left end of the slab is at the left end of "
            "the picture. Printed markers (crackmap marker) make sure of it."]


# --- of the photo itself -----------------------------------------------------------------------------------

LONGEST_SHAPE = 2.0  # width over height: single exposures are at most 16:9, and phones' long sides 2:1 (a choice) [-]


def shape_doubts(facts: PhotoFacts) -> tuple[str, ...]:
    """A warning for a picture longer than a single exposure is."""
    sides = sorted((facts.width_px, facts.height_px))
    if sides[1] / sides[0] <= LONGEST_SHAPE:
        return ()
    return (f"The photo is {sides[1] / sides[0]:.1f} times as long as wide: a panorama bends straight lines and "
            "cannot be brought to scale, a crop has lost the middle of the lens; use a single photo as the camera made "
            "it.",)
