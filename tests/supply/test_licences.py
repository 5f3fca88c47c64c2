"""Every run-time dependency is known, with a licence that a shop may use."""

from __future__ import annotations

import csv
import importlib.metadata
import re
import tomllib
from pathlib import Path

import pytest

packaging = pytest.importorskip("packaging.requirements")

ROOT = Path(__file__).resolve().parents[2]
LIST = ROOT / "tests" / "supply" / "licences.csv"
# Free to use at work, to copy and to sell with, on no condition but to keep the notice.
FREE = {"0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "MIT", "MIT-CMU", "PSF-2.0", "Zlib"}
FAMILIES = {"MIT": "MIT", "BSD": "BSD", "Apache": "Apache", "PSF": "PSF", "HPND": "MIT-CMU"}


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def needed_at_run_time() -> set[str]:
    """The dependencies of pyproject.toml and all that they need here, by plain name."""
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    found: set[str] = set()
    waiting = [packaging.Requirement(each) for each in asked]
    while waiting:
        requirement = waiting.pop()
        if requirement.marker is not None and not requirement.marker.evaluate({"extra": ""}):
            continue
        name = plain(requirement.name)
        if name not in found:
            found.add(name)
            waiting += map(packaging.Requirement, importlib.metadata.distribution(name).requires or [])
    return found


def listed() -> dict[str, str]:
    with LIST.open(encoding="utf-8", newline="") as stream:
        return {row["name"]: row["licence"] for row in csv.DictReader(stream)}


def test_the_list_names_what_is_needed_and_nothing_else() -> None:
    missing = needed_at_run_time() - set(listed())
    stale = set(listed()) - needed_at_run_time() - {"typing-extensions"}  # needed below Python 3.13 alone
    assert not missing and not stale


@pytest.mark.parametrize("name", sorted(listed()))
def test_a_licence_that_a_shop_may_use(name: str) -> None:
    parts = {part for part in re.split(r" AND | OR ", listed()[name]) if part}
    assert parts and parts <= FREE


@pytest.mark.parametrize("name", sorted(listed()))
def test_the_list_says_what_the_package_itself_says(name: str) -> None:
    """independent: the licence field or classifier of what is installed."""
    try:
        about = importlib.metadata.metadata(name)
    except importlib.metadata.PackageNotFoundError:
        pytest.skip(f"{name} is not needed by this Python")
    own = about.get("License-Expression")
    if own:
        assert own == listed()[name]
        return
    said = " ".join([*(about.get_all("Classifier") or []), (about.get("License") or "")[:80]])
    assert any(word in said and mine in listed()[name] for word, mine in FAMILIES.items()), said
