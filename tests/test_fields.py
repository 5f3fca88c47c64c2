"""Reading a JSON object: what damaged files taught. Every case here once ended in a traceback, a hang or in silence."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from crackmap import job
from crackmap.errors import JobError, quoted
from crackmap.fields import MOST_ENTRIES, MOST_LETTERS, Fields
from crackmap.jsonedits import MOST_EDITS, edits_from_json
from crackmap.jsonform import note_from_json, survey_as_json, survey_from_json
from tests.builders import a_survey


def refused(ask: Any, *words: str) -> str:
    with pytest.raises(JobError) as caught:
        ask()
    said = str(caught.value)
    assert len(said.splitlines()) == 1 and len(said) < 500
    said.encode()
    for word in words:
        assert word in said
    return said


@pytest.mark.parametrize("number", [10**400, -(10**400), float("inf"), float("nan"), 1e300])
def test_a_number_that_has_no_float_or_is_none(number: float) -> None:
    refused(lambda: Fields({"depth": number}, "plan.json:").number("depth"), "plan.json: depth must be")
    refused(lambda: Fields({"at": [number, 1]}, "plan.json:").numbers("at", 2), "plan.json: at must be")


def test_half_a_character_is_refused_before_it_reaches_a_file() -> None:
    # RFC 8259, section 8.2: JSON may hold a lone surrogate, which UTF-8 cannot
    half = json.loads('"K\\ud800"')
    refused(lambda: Fields({"id": half}, "plan.json:").text("id"), "half a character")
    refused(lambda: Fields({"notes": ["good", half]}, "plan.json:").texts("notes"), "half a character")
    assert Fields({"id": json.loads('"\\ud83e\\udeb5 é"')}, "x:").text("id") == "🪵 é"  # both halves together are one


def test_a_text_of_a_damaged_file_is_cut_in_the_message() -> None:
    refused(lambda: Fields({"id": "w" * (MOST_LETTERS + 1)}, "x:").text("id"), "letters at most")
    refused(lambda: Fields({"id": ["w" * 100_000]}, "x:").text("id"), "must be text")
    refused(lambda: Fields({"a\nb" + "w" * 1000: 1}, "x:").only("id"), "is not known here")


def test_lists_have_an_end() -> None:
    refused(lambda: Fields({"keys": [{}] * (MOST_ENTRIES + 1)}, "x:").each("keys", lambda f: f), "entries at most")
    line = [[0, 0], [10, 0]]
    form = {"schema": "crackmap/edits/1", "units": "mm", "cracks": {"draw": [line] * (MOST_EDITS + 1)}}
    refused(lambda: edits_from_json(form), "cracks.draw may have")


def test_quoted_is_one_short_line_for_anything() -> None:
    deep: list[Any] = []
    for _ in range(5000):
        deep = [deep]
    for value in ("two\nlines", "w" * 1000, deep, {"a": {"b": [1] * 1000}}, 10**400, "\ud800\x1b[31m", None):
        shown = quoted(value)
        assert len(shown) < 300 and shown.isprintable()


@pytest.mark.parametrize(("text", "words"), [
    ('{"note": "a", "note": "b"}', "'note' stands twice"),  # RFC 8259, section 4: what it then means is not defined
    ('{"keys": {"add": [], "refuse": [], "add": [1]}}', "'add' stands twice"),
    ('{"depth": ' + "9" * 5000 + "}", "thousands of digits"),
    ("[" * 100_000, "nested deeper"), ('{"a":' * 100_000, "nested deeper"),
    ("{", "not valid JSON"), ("[]", "one JSON object"), ("", "not valid JSON")])
def test_json_that_python_would_not_read_or_read_in_silence(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "edits.json"
    path.write_text(text, encoding="utf-8")
    refused(lambda: job.read_json(path), str(path), words)


LINE, POINT, BOW = [[0, 0], [50, 0], [100, 0]], [[5, 5]] * 4, [[0, 0], [100, 80], [100, 0], [0, 80]]
AREA = [[0, 0], [100, 0], [100, 80], [0, 80]]


@pytest.mark.parametrize("ring", [LINE, POINT, BOW], ids=["line", "point", "bow"])
@pytest.mark.parametrize("name", ["outline", "finished_top", "keep_out"])
def test_an_area_of_the_users_without_width_or_crossing_itself(name: str, ring: list[list[float]]) -> None:
    """Four times the same corner as an outline once ended in a traceback after all was worked out."""
    form: dict[str, Any] = {"schema": "crackmap/edits/1", "units": "mm"}
    form[name] = [{"area": ring}] if name == "keep_out" else ring
    refused(lambda: edits_from_json(form), name)
    form[name] = [{"area": AREA[::-1]}] if name == "keep_out" else [*AREA, AREA[0]]
    edits_from_json(form)  # either way round, closed or not


@pytest.mark.parametrize("ring", [LINE, POINT])
def test_a_measured_outline_without_width(ring: list[list[float]]) -> None:
    form = survey_as_json(a_survey())
    survey_from_json(form)
    refused(lambda: survey_from_json(form | {"outline": ring}), "outline must enclose")


@pytest.mark.parametrize(("path", "value"), [
    (("photo",), "photo.jpg" * 40), (("photo",), "a\nb.jpg"), (("shop",), "\n"),
    (("shop",), "../" + "s" * 300 + ".toml"),
    (("cutting", "spare_keys"), 2000), (("drawing", "picture_side"), 1e6)])
def test_a_job_note_that_no_command_wrote(path: tuple[str, ...], value: Any) -> None:
    """Names that no disk takes, and counts past those of the command line, once ended in a traceback of a library."""
    form: dict[str, Any] = {"schema": "crackmap/job/1", "units": "mm", "photo": "photo.jpg", "thickness": 40.0,
                            "show_units": "mm", "shop": "../shop.toml", "cutting": {"spare_keys": 50}, "drawing": {}}
    note_from_json(form)
    inner = form
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    refused(lambda: note_from_json(form), path[-1])
