"""What to do better next time, in one sentence each, with the figure."""

from __future__ import annotations

import numpy as np

from crackmap.records import PhotoFacts, Survey
from crackmap.scale.fit import Fit
from crackmap.scale.mapping import Mapping
from crackmap.settings import ScaleSettings


def photo_advice(fit: Fit, mapping: Mapping, facts: PhotoFacts) -> tuple[str, ...]:
    """Advice about the photo."""
    return ()


def scale_notes(fit: Fit, settings: ScaleSettings) -> tuple[str, ...]:
    """What the scale rests on."""
    return ()


def bench_marker_warnings(survey: Survey, settings: ScaleSettings) -> tuple[str, ...]:
    """Warn of markers whose image lies outside the slab while no height was given."""
    return ()
