"""Why a segment was refused, in words: which group of features speaks most against it.

Each group of features in turn is set to what it is on a typical crack, and the
segment judged again; the group whose change helps most is the reason.
"""

from __future__ import annotations

import numpy as np

from crackmap.survey.judge import segment_judge
from crackmap.survey.network import FloatArray

GROUPS: dict[str, tuple[str, ...]] = {
    "does not look like an open gap": ("chance", "chance_near", "chance_low", "chance_high"),
    "runs off the grain": ("to_grain", "to_grain_high", "coherence"),
    "winds like a drawn or stained line": ("turning", "bend", "straightness", "closed", "roughness"),
    "parts two tones of wood: the rim of a stain or of the heartwood": ("step",),
    "keeps beside the slab's edge": ("border_near", "border_along", "border"),
    "one of many such lines": (
        "company_to_grain", "company_density", "company_chance", "others", "others_chance", "others_to_grain",
    ),
    "too short, or ends nowhere": ("length_px", "length_mm", "loose_ends"),
}  # fmt: skip


def reasons_against(features: FloatArray) -> list[str]:
    """The chief reason against each of the rows of `SEGMENT_FEATURES`, shape (S, F): a key of `GROUPS`."""
    judge = segment_judge()
    base = judge.outputs(features)[:, 0]
    gains = []
    for names in GROUPS.values():
        changed = features.copy()
        columns = [judge.names.index(name) for name in names]
        changed[:, columns] = judge.typical[columns]
        gains.append(judge.outputs(changed)[:, 0] - base)
    words = list(GROUPS)
    return [words[k] for k in np.argmax(np.array(gains), axis=0)]
