"""The short summary in words that ends a run: what was found, how sure, what to look at."""

from __future__ import annotations

import textwrap
from collections import Counter
from pathlib import Path

from crackmap.records import Key, Plan, Survey
from crackmap.sheets.words import counted, over_all
from crackmap.shop import Shop
from crackmap.units import show_length

_WIDE_MM = 2.0  # cracks wider than this are named apart in the summary
_MOST_UNHELD = 6  # so many cracks without a key are listed one by one
_COLUMNS = 100


def summary_lines(survey: Survey, plan: Plan, shop: Shop, units: str, folder: Path) -> list[str]:
    """The summary as lines ready to print.

    Parameters
    ----------
    survey, plan, shop
        What was measured and decided, and by whose figures.
    units : {"mm", "in"}
        The user's unit.
    folder : Path
        Where the files were written.
    """
    parts = [
        ("Slab", [_slab(survey, plan, units)]),
        ("Scale", [_scale(survey, units)]),
        ("Found", [_found(survey, units)]),
        ("Keys", [_keys(plan, shop, units), *_unheld(plan)]),
        ("Resin", [_resin(plan)]),
        ("Look at", _look_at(survey, plan, shop)),
        ("Files", [f"{folder}: look at annotated.png first; slab.dxf and keys.dxf go to the CAM program, "
                   "setting-out.pdf to the bench."]),
    ]
    lines = [""]
    for title, sentences in parts:
        lead = f"{title:<8}"
        for sentence in sentences:
            lines += textwrap.wrap(sentence, _COLUMNS, initial_indent=lead, subsequent_indent=" " * 8)
            lead = " " * 8
    return lines


def _slab(survey: Survey, plan: Plan, units: str) -> str:
    across = " x ".join(show_length(side, units, 0) for side in over_all(survey))
    return f"{across} over all, {show_length(plan.thickness_mm, units)} thick."


def _scale(survey: Survey, units: str) -> str:
    q = survey.scale
    used = [r for r in survey.references if r.used]
    names = ", ".join(f"marker {r.id}" if r.kind == "marker" else f"the {r.kind}" for r in used)
    off = show_length(over_all(survey)[0] * q.scale_sigma_percent / 100, units)
    notes = "".join(f" {note}" for note in q.notes)
    return (f"from {names or 'the reference'}: sure to {q.scale_sigma_percent:.2g} % (one sigma), that is {off} over "
            f"the slab; the narrowest crack this photo can show is {show_length(q.narrowest_crack_mm, units)}.{notes}")


def _found(survey: Survey, units: str) -> str:
    cracks = survey.cracks
    if not cracks:
        return f"no cracks; {counted(len(survey.voids), 'void')}."
    wide = sum(c.widest > _WIDE_MM for c in cracks)
    longest = max(cracks, key=lambda c: c.length)
    return (f"{counted(len(cracks), 'crack')}, {wide} wider than {show_length(_WIDE_MM, units, 0)}; the longest, "
            f"{longest.id}, is {show_length(longest.length, units, 0)} long and up to "
            f"{show_length(longest.widest, units)} wide; {counted(len(survey.voids), 'void')}.")


def _keys(plan: Plan, shop: Shop, units: str) -> str:
    if not plan.keys:
        return "none suggested."
    sizes = Counter(k.size_name for k in plan.keys)
    depths = sorted({k.shape.depth for k in plan.keys})
    deep = " to ".join(show_length(d, units) for d in dict.fromkeys((depths[0], depths[-1])))
    by_size = ", ".join(f"{n} {name}" for name, n in sizes.items())
    figures = "built-in figures, no shop file" if not shop.source else f"figures from {shop.source}"
    return (f"{len(plan.keys)} ({by_size}), pockets {deep} deep, for a {show_length(shop.bit.diameter, units, 2)} bit "
            f"with {show_length(shop.fit.clearance, units, 2)} a side between key and pocket ({figures}).")


def _unheld(plan: Plan) -> list[str]:
    listed = [f"{u.crack} has no key: {u.why}" for u in plan.unheld[:_MOST_UNHELD]]
    more = len(plan.unheld) - _MOST_UNHELD
    return listed + ([f"{more} more cracks have no key; plan.json says why."] if more > 0 else [])


def _resin(plan: Plan) -> str:
    r = plan.resin
    if r.volume_ml <= 0:
        return "nothing to fill."
    pours = f", poured in {r.layers} layers" if r.layers > 1 else ""
    return (f"mix about {_ml(r.mix_ml)} ({_ml(r.part_a_ml)} resin and {_ml(r.part_b_ml)} hardener){pours}; the cracks "
            f"and voids take {_ml(r.least_ml)} to {_ml(r.most_ml)}, since their depth is not known from above.")


def _ml(volume: float) -> str:
    return f"{volume:.0f} ml" if volume >= 10 else f"{volume:.1f} ml"


def _look_at(survey: Survey, plan: Plan, shop: Shop) -> list[str]:
    sentences = [*_failing(plan.keys), *plan.warnings]
    doubtful = [c.id for c in survey.cracks if c.confidence < 0.7]
    if doubtful:
        sentences.append(f"{_listed(doubtful)} may be grain or a mark: check on the slab.")
    sentences.append(f"Before the paper comes off, prick {survey.datum.a_name} and {survey.datum.b_name} through into "
                     "the wood: they are marks A and B.")
    if shop.wood.moisture_percent is None:
        sentences.append("Measure the slab's moisture: one that is still drying goes on cracking past its keys.")
    return sentences


def _failing(keys: tuple[Key, ...]) -> list[str]:
    return [f"{key.id}: {check.name} is {_figure(check.value)}, limit "
            f"{f'{_figure(check.limit)} {check.unit}'.strip()}; {check.note}."
            for key in keys for check in key.checks if not check.ok]


def _figure(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
