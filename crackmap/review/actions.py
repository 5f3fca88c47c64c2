"""Every action of the page: a pure function from the edits, and the state they were made in, to new edits."""

from __future__ import annotations

from collections.abc import Callable

from crackmap.errors import ReviewError, quoted
from crackmap.review import area_actions, crack_actions, key_actions
from crackmap.review.ask import Ask, Change
from crackmap.settings import nearest_hint

_ACTIONS: dict[str, tuple[Callable[[Ask], Change], tuple[str, ...]]] = {
    "add_key": (key_actions.add_key, ("at",)),
    "move_key": (key_actions.move_key, ("key", "centre", "angle_deg")),
    "resize_key": (key_actions.resize_key, ("key", "size", "length", "width", "waist", "depth")),
    "shape_key": (key_actions.shape_key, ("key", "shape")),
    "refuse_key": (key_actions.refuse_key, ("key",)),
    "fix_key": (key_actions.fix_key, ("key", "fixed")),
    "count_keys": (key_actions.count_keys, ("crack", "keys")),
    "refuse_crack": (crack_actions.refuse_crack, ("crack",)),
    "draw_crack": (crack_actions.draw_crack, ("points",)),
    "end_crack": (crack_actions.end_crack, ("crack", "end", "at")),
    "probe_depth": (crack_actions.probe_depth, ("at", "depth")),
    "finished_top": (area_actions.finished_top, ("outline",)),
    "outline": (area_actions.outline, ("outline",)),
    "add_keep_out": (area_actions.add_keep_out, ("area", "from", "depth", "note", "screws")),
    "remove_keep_out": (area_actions.remove_keep_out, ("index",)),
    "choose_plan": (area_actions.choose_plan, ("name",)),
}
ACTIONS = tuple(_ACTIONS)


def apply_action(ask: Ask) -> Change:
    """What an action comes to; nothing is placed or saved here.

    Parameters
    ----------
    ask : Ask
        The action's fields are named in the page's contract; lengths are mm in
        the slab frame, ids those of the state given.

    Raises
    ------
    ReviewError
        If the action is unknown or impossible, or a field of it is wrong.
    """
    name = ask.asked.text("do")
    if name not in _ACTIONS:
        raise ReviewError(f"There is no action {quoted(name)}{nearest_hint(name, list(_ACTIONS))}")
    action, fields = _ACTIONS[name]
    ask.asked.only("do", *fields)
    return action(ask)
