"""The bench sheet's part on set-ups: what is cut where, how the slab is found, what to measure."""

from __future__ import annotations

import numpy as np
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer

from crackmap.records import Plan, Setup, SetupMark, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.bench_tables import Rows, figure, tape_close
from crackmap.sheets.page_parts import TITLE, bullets, section, table_of
from crackmap.sheets.setup_drawing import on_machine
from crackmap.sheets.setup_figure import SetupFigure, figure_height
from crackmap.sheets.words import figure_turn
from crackmap.shop import Bed
from crackmap.units import show_length

MARK_HEAD = ["Mark", "On the wood by", "x", "y", "from A", "from B"]
_LEAST_OVERHANG = 1.0  # less is not worth a word [mm]


def setup_flowables(survey: Survey, plan: Plan, bed: Bed | None, settings: SheetSettings,
                    width: float) -> list[Flowable]:
    """A block a set-up; nothing where the shop has no bed. `width` is that of a column. [pt] Widths in PDF points."""
    if bed is None or not (plan.setups or plan.no_setup):
        return []
    flow: list[Flowable] = []
    if plan.setups:
        flow += section("Set-ups", general_sentences(plan, bed, settings))
    for setup in plan.setups:
        rows = [MARK_HEAD, *mark_rows(survey, setup, settings)]
        height = figure_height(survey, setup, bed, width)
        flow.append(KeepTogether([
            Paragraph(f"Set-up {setup.number}", TITLE),
            SetupFigure(survey, plan, setup, bed, height),
            table_of(rows, size=10, left=(0, 1)),
            Spacer(1, 3),
            *bullets(setup_sentences(survey, setup, settings)),
        ]))
    if plan.no_setup:
        flow += section("In no set-up", unreached_sentences(plan))
    return flow


def general_sentences(plan: Plan, bed: Bed, settings: SheetSettings) -> list[str]:
    """What holds for all set-ups."""
    size = " x ".join(show_length(each, settings.units, 0) for each in (bed.x, bed.y))
    sides = ", ".join(bed.open_sides) or "none"
    several = len(plan.setups) > 1
    return [
        f"Bed {size}, open sides: {sides}. Origin at its front left corner, as you stand before it.",
        "Lay the slab about as drawn, support what hangs over at the bed's height, clamp it clear of the pockets.",
        "Jog to the two marks and let crackmap align move the drawing"
        + (" (--setup with the set-up's number)" if several else "")
        + ". If the marks' distance is off by more than it allows, stop.",
    ]


def mark_rows(survey: Survey, setup: Setup, settings: SheetSettings) -> Rows:
    """Each mark of a set-up, those to drill last: where it comes from, where it lies on the bed, tape distances."""
    return [_mark_row(survey, mark, setup, settings) for mark in (*setup.marks, *setup.to_drill)]


def _mark_row(survey: Survey, mark: SetupMark, setup: Setup, settings: SheetSettings) -> list[str]:
    from_a, from_b = (float(np.hypot(*(np.array(mark.at) - at))) for at in (survey.datum.a, survey.datum.b))
    x, y = on_machine(mark, setup.matrix)
    if mark in setup.to_drill:
        how = "drilling now"
    elif mark.how == "marker":
        how = "pricking"
    else:
        how = f"set-up {mark.from_setup}" if mark.from_setup else "tape"
    return [mark.name, how, figure(x, settings.units), figure(y, settings.units),
            tape_close(from_a, settings.units), tape_close(from_b, settings.units)]


def setup_sentences(survey: Survey, setup: Setup, settings: SheetSettings) -> list[str]:
    """What to do and to measure in one set-up."""
    lines = [f"Cut {_listed(setup.keys)}.", _how_it_lies(survey, setup, settings.units)]
    if len(setup.marks) >= 2:
        a, b = setup.marks[:2]
        apart = show_length(float(np.hypot(*np.subtract(a.at, b.at))), settings.units)
        lines.append(f"Tape on the slab: {a.name} to {b.name} {apart}.")
    else:
        lines.append("No two marks can be had in reach: lay the drawing on by tape and check every pocket.")
    by_hand = [mark for mark in setup.marks if mark.how == "by hand"]
    if by_hand:
        on_line = all(abs(mark.at[1]) < 0.5 for mark in by_hand)
        where = "on a straight line through A and B" if on_line else "where the two distances meet"
        lines.append(f"Set out {_listed([m.name for m in by_hand])} by hand {where}, with a fine awl; half a "
                     "millimetre matters.")
    if setup.to_drill:
        drilled = _listed([mark.name for mark in setup.to_drill])
        lines.append(f"Before you unclamp: drill {drilled} 2 to 3 mm deep with a pointed bit.")
        stay = [mark.name for mark in setup.to_drill if not mark.in_pocket]
        lines += [f"The pocket of {mark.in_pocket} takes {mark.name} away again." for mark in setup.to_drill
                  if mark.in_pocket]
        lines += [f"{_listed(stay)}: to be filled when all is cut."] if stay else []
    return lines


def _how_it_lies(survey: Survey, setup: Setup, units: str) -> str:
    turn = (setup.turn_deg - figure_turn(survey) + 180.0) % 360.0 - 180.0
    if abs(turn) < 0.5:
        lies = "The slab lies as on page 1"
    elif abs(abs(turn) - 180.0) < 0.5:
        lies = "The slab lies turned end for end from page 1"
    else:
        lies = f"The slab lies turned {abs(turn):.0f}° {'anticlockwise' if turn > 0 else 'clockwise'} from page 1"
    over = [f"{show_length(far, units, 0)} over the {side}"
            for side, far in zip(("left", "right", "front", "back"), setup.overhang, strict=True)
            if far > _LEAST_OVERHANG]
    return lies + (f" and hangs {_listed(over)}." if over else ", all on the bed.")


def unreached_sentences(plan: Plan) -> list[str]:
    """Pockets that no set-up reaches, those with the same reason together."""
    reasons: dict[str, list[str]] = {}
    for key, why in plan.no_setup:
        reasons.setdefault(why, []).append(key)
    return [f"{_listed(keys)}: {why}." for why, keys in reasons.items()]


def _listed(names: list[str] | tuple[str, ...]) -> str:
    """K1, K2 and K3."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
