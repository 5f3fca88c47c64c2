"""The plans to choose from, in words."""

from __future__ import annotations

import textwrap

from crackmap.records import OfferedPlan
from crackmap.sheets.words import counted
from crackmap.units import show_length

_COLUMNS = 100


def offer_lines(offered: tuple[OfferedPlan, ...], chosen: str, units: str) -> list[str]:
    """A paragraph for each plan, ready to print; `chosen` is the one that the files are drawn from."""
    lines = ["", "Plans to choose from, in plans.jpg:"]
    for plan in offered:
        is_drawn = " This one is drawn." if plan.name == chosen else f" Choose it with: --plan {plan.name}"
        holding = f" {plan.holding[:1].upper()}{plan.holding[1:]}." if plan.holding else ""
        said = (f"{plan.description} {counted(len(plan.placement.keys), 'key')}; longest stretch without one "
                f"{show_length(plan.longest_unheld, units, 0)}; costs {plan.objective:.1f} (lower is better by the "
                f"balanced weights).{holding}{is_drawn}")
        lines += textwrap.wrap(said, _COLUMNS, initial_indent=f"  {plan.name:<11}", subsequent_indent=" " * 13)
    return lines
