"""Why a segment was refused, in words: which group of features speaks most against it.

Each group of features in turn is set to what it is on a typical crack, and the
segment judged again; the group whose change helps most is the reason.
"""

from __future__ import annotations

import numpy as np

from crackmap.survey.judge import segment_judge
from crackmap.survey.network import FloatArray

NO_GAP = "does not look like an open gap"
GROUPS: dict[str, tuple[str, ...]] = {
    NO_GAP: ("chance", "chance_near", "chance_low", "chance_high"),
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
    # A chance of even odds or better is no reason against a segment: another one must be found.
    likely = features[:, judge.names.index("chance")] >= 0
    gains[words.index(NO_GAP)] = np.where(likely, -np.inf, gains[words.index(NO_GAP)])
    return [words[k] for k in np.argmax(np.array(gains), axis=0)]
