"""Wood that no camera saw: under a marker or sheet a crack may run on, and a key may stand on it."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from crackmap.keys.outline import to_points
from crackmap.records import Key, Reference, Survey

RIM = 0.15  # of its side: paper round a marker's black square, and the shadow at its rim (a choice) [-]
_CHORD = 0.1  # of arcs [mm]


def unseen_wood(survey: Survey, keys: Sequence[Key]) -> tuple[str, ...]:
    """A warning for each reference under which a crack runs, or on which a key's pocket lies.

    Parameters
    ----------
    survey : Survey
        Its references lie on the show face, or are seen before it.
    keys : sequence of Key
        Of the plan.
    """
    told = []
    for reference in survey.references:
        covered = shapely.Polygon(reference.corners_mm).buffer(RIM * min(reference.size_mm), join_style="mitre")
        cracks = [crack.id for crack in survey.cracks if not crack.drawn_by_user
                  and any(name in ("tip", "border") and covered.contains(shapely.Point(end))
                          for name, end in zip(crack.ends, crack.centreline[[0, -1]], strict=True))]
        pockets = [key.id for key in keys if covered.intersects(shapely.Polygon(to_points(key.pocket, _CHORD)))]
        if cracks:
            told.append(f"{_listed(cracks)} may run on under {_name(reference)}, where nothing is seen: look, and draw "
                        "the rest on the review page.")
        if pockets:
            told.append(f"The wood of {_listed(pockets)} was hidden by {_name(reference)}: look for cracks there "
                        "before cutting.")
    return tuple(told)


def _name(reference: Reference) -> str:
    return f"marker {reference.id}" if reference.kind == "marker" else f"the {reference.kind}"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
