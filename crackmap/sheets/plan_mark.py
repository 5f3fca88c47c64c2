"""The plan's mark: a short code on every drawing and sheet of one plan.

A drawing of an earlier plan left in the CAM program's folder looks like the
newest. Where the code on the screen is not the one on the bench sheet, one of
the two is old.
"""

from __future__ import annotations

import hashlib

from crackmap.records import FloatArray, Plan

_LETTERS = "23456789BCDFGHJKMNPQRSTVWXYZ"  # none that is taken for another, no vowels that make words
_LENGTH = 6  # 27^6: two plans share a mark once in 387 million


def plan_mark(plan: Plan) -> str:
    """The mark, as 4TQ-9MB: of the photo, the thickness and every key; neither unit nor paper changes it."""
    told = [plan.photo_sha256, f"{plan.thickness_mm:.3f}"]
    for key in plan.keys:
        told += [key.id, f"{key.shape.depth:.3f}", _rows(key.pocket), _rows(key.key)]
    number = int.from_bytes(hashlib.sha256("|".join(told).encode()).digest()[:8], "big")
    letters = ""
    for _ in range(_LENGTH):
        number, place = divmod(number, len(_LETTERS))
        letters += _LETTERS[place]
    return f"{letters[:3]}-{letters[3:]}"


def mark_sentence(plan: Plan) -> str:
    """The mark in the words of a drawing."""
    return f"PLAN {plan_mark(plan)}. THE BENCH SHEET MUST BEAR THE SAME MARK."


def _rows(outline: FloatArray) -> str:
    """The outline as plan.json keeps it, so that a plan read back has the same mark."""
    return ";".join(f"{round(x, 4) + 0.0:.4f},{round(y, 4) + 0.0:.4f},{round(b, 9) + 0.0:.9f}"
                    for x, y, b in outline.tolist())
