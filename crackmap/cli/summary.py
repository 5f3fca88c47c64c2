"""The short summary in words that ends a run: what was found, how sure, what to look at."""

from __future__ import annotations

import textwrap
from collections import Counter
from pathlib import Path

import numpy as np

from crackmap.records import CountOption, CountOptions, Plan, Survey
from crackmap.sheets.bench_tables import failing_checks, left_over_sentences
from crackmap.sheets.bench_words import unheld_sentences
from crackmap.sheets.setup_pages import unreached_sentences
from crackmap.sheets.words import counted, over_all
from crackmap.shop import Shop
from crackmap.units import in_words_for, show_length

_WIDE_MM = 2.0  # cracks wider than this are named apart in the summary
_MOST_COUNTS = 3  # so many cracks are shown with one key fewer and more
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
        ("Found", [_found(survey, units), *_below(survey)]),
        ("Keys", [_keys(plan, shop, units), *unheld_sentences(plan), *_counts(plan, units), *_holding(plan)]),
        ("Machine", _machine(plan)),
        ("Resin", [_resin(plan)]),
        ("Look at", _look_at(survey, plan, shop)),
        ("Files", [f"{folder}: look at annotated.png first, or move what you don't like with: crackmap review "
                   f"{folder}. The .dxf files of slab and keys go to the CAM program, setting-out.pdf to the bench."]),
    ]
    lines = [""]
    for title, sentences in parts:
        lead = f"{title:<8}"
        for sentence in sentences:
            said = in_words_for(sentence, units)
            lines += textwrap.wrap(said, _COLUMNS, initial_indent=lead, subsequent_indent=" " * 8)
            lead = " " * 8
    return lines


def _machine(plan: Plan) -> list[str]:
    """Time on the machine, set-ups, and keys for which there is no board or no set-up."""
    told = []
    if plan.time is not None:
        items = plan.time.items
        least, likely, most = (round(sum(getattr(i, of) for i in items)) for of in ("least", "likely", "most"))
        told.append(f"pockets and keys take about {likely} minutes ({least} to {most}).")
    if plan.setups:
        told.append(f"{counted(len(plan.setups), 'set-up')} on the bed; a drawing each, setting-out.pdf shows how the "
                    "slab lies.")
    told += unreached_sentences(plan)
    return told + (left_over_sentences(plan.stock) if plan.stock is not None else [])


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


def _below(survey: Survey) -> list[str]:
    """How the other face lies, and what comes out there."""
    other = survey.other_face
    if other is None:
        return []
    by = "common points" if other.method == "points" else "sawn ends, edges and openings"
    words = {word: [b.opening for b in other.below if b.word == word]
             for word in ("through", "partly through", "blind", "unknown")}
    told = "; ".join(f"{word}: {', '.join(names)}" for word, names in words.items() if names)
    return [f"The underside lies by {by}, {other.residual_mm:.1f} mm off on average (the edges less their bevel). "
            f"{told[:1].upper()}{told[1:]}."]


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


def _counts(plan: Plan, units: str) -> list[str]:
    """What one key fewer or more would do on the most heavily keyed cracks."""
    keyed = sorted((c for c in plan.counts if c.planned), key=lambda c: -c.planned)
    said = [count_line(each, units) for each in keyed[:_MOST_COUNTS]]
    more = len(keyed) - _MOST_COUNTS
    return said + ([f"The same for {counted(more, 'more crack')} stands in plan.json."] if more > 0 else [])


def count_line(counts: CountOptions, units: str) -> str:
    """One crack with as many keys as planned, one fewer, one more: what stays unheld, and what it costs."""
    def said(option: CountOption) -> str:
        words = f"{counted(option.keys, 'key')} leave{'s' if option.keys == 1 else ''}"
        relief = "" if option.relief is None else f", runs at {option.relief:.1f} times the pull"
        cost = "" if option.keys == counts.planned else f", cost {option.objective:+.1f}"
        return f"{words} at most {show_length(option.longest_unheld, units, 0)} unheld{relief}{cost}"

    return f"{'+'.join(counts.cracks)}: " + "; ".join(said(option) for option in counts.options) + "."


def _holding(plan: Plan) -> list[str]:
    """The caution that goes with the holding figures, where there are any."""
    if not plan.basis:
        return []
    return [f"{plan.basis[0]} What they assume, and which figures are from memory, stands in plan.json and on the "
            "bench sheet."]


def _resin(plan: Plan) -> str:
    r = plan.resin
    if r.volume_ml <= 0:
        return "nothing to fill."
    pours = f", poured in {r.layers} layers" if r.layers > 1 else ""
    unknown = any(item.depth_from in ("assumed", "blind", "partly through") for item in r.items)
    why = ", since not every depth is known" if unknown else ""
    dams = (f" {counted(len(r.dams), 'place')} to tape or dam first: tape-and-dams.png." if r.dams else "")
    first = " Pour before the keys are cut: the bench sheet says why." if r.resin_first else ""
    return (f"mix about {_ml(r.mix_ml)} ({_ml(r.part_a_ml)} resin and {_ml(r.part_b_ml)} hardener){pours}; the cracks "
            f"and voids take {_ml(r.least_ml)} to {_ml(r.most_ml)}{why}.{dams}{first}")


def _ml(volume: float) -> str:
    return f"{volume:.0f} ml" if volume >= 10 else f"{volume:.1f} ml"


def _look_at(survey: Survey, plan: Plan, shop: Shop) -> list[str]:
    sentences = [*failing_checks(plan), *plan.warnings]
    doubtful = [c.id for c in survey.cracks if c.confidence < 0.7]
    if doubtful:
        sentences.append(f"{_listed(doubtful)} may be grain or a mark: check on the slab.")
    sentences.append(f"Before the paper comes off, prick {survey.datum.a_name} and {survey.datum.b_name} through into "
                     f"the wood: they are marks A and B, {_apart(survey)} mm apart by the photo. Tape that before "
                     "cutting: a print that was fitted to the page shows there.")
    if shop.wood.moisture_percent is None:
        sentences.append("Measure the slab's moisture: one that is still drying goes on cracking past its keys.")
    return sentences


def _apart(survey: Survey) -> str:
    return f"{float(np.hypot(*(survey.datum.b - survey.datum.a))):.1f}"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
