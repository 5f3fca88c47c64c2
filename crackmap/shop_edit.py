"""Writing into a shop file without disturbing what its owner wrote there."""

from __future__ import annotations

import re

from crackmap.errors import SettingsError
from crackmap.shop import TestedFit, shop_from_toml

_HEADER = re.compile(r"^\s*\[\[?.+?\]\]?\s*(#.*)?$")
_CLEARANCE = re.compile(r"^(\s*clearance\s*=\s*)([^#\n]*?)(\s*(?:#.*)?)$")


def with_tested_fit(text: str, tested: TestedFit, source: str) -> str:
    """The shop file's text with a test cut remembered for its bit and wood.

    An entry for the same bit and wood gets the new clearance; else an entry is
    put at the end. Nothing else changes, comments least of all.

    Parameters
    ----------
    text : str
        The file's text; empty for a new file.
    tested : TestedFit
    source : str
        The file's name, for error messages.

    Raises
    ------
    SettingsError
        If the file cannot be read, or its form hides the entry from this edit.
    """
    before = shop_from_toml(text, source)
    same = [each for each in before.tested if _is_same(each, tested)]
    changed = _replaced(text, tested, source) if same else _appended(text, tested)
    after = shop_from_toml(changed, source)
    written = [each.clearance for each in after.tested if _is_same(each, tested)]
    if written != [tested.clearance] * max(1, len(same)):
        raise SettingsError(f"{source}: the [[tested]] entries are not written one field a line; write "
                            f"clearance = {tested.clearance:g} there by hand.")
    return changed


def _is_same(one: TestedFit, other: TestedFit) -> bool:
    return abs(one.bit_diameter - other.bit_diameter) < 0.005 and one.wood.lower() == other.wood.lower()


def _appended(text: str, tested: TestedFit) -> str:
    lead = "" if not text else ("\n" if text.endswith("\n") else "\n\n")
    wood = tested.wood.replace("\\", "\\\\").replace('"', '\\"')
    return (f"{text}{lead}[[tested]]  # the step of the test ladder that fitted\nbit_diameter = "
            f"{tested.bit_diameter:g}\nwood = \"{wood}\"\nclearance = {tested.clearance:g}\n")


def _replaced(text: str, tested: TestedFit, source: str) -> str:
    lines = text.split("\n")
    headers = [i for i, line in enumerate(lines) if _HEADER.match(line)] + [len(lines)]
    for start, end in zip(headers, headers[1:], strict=False):
        if not lines[start].strip().startswith("[[tested]]"):
            continue
        entry = shop_from_toml("\n".join(lines[start:end]), source).tested[0]
        if not _is_same(entry, tested):
            continue
        for i in range(start + 1, end):
            lines[i] = _CLEARANCE.sub(lambda m: f"{m[1]}{tested.clearance:g}{m[3]}", lines[i])
    return "\n".join(lines)
