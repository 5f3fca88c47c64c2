"""The file contract: what is written reads back, and a wrong file is one sentence that names the field."""

from __future__ import annotations

import copy
import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap import jsonform
from crackmap.errors import JobError
from crackmap.jsonform import JobNote
from crackmap.records import (
    Check,
    Crack,
    Datum,
    Key,
    KeyShape,
    PhotoFacts,
    Plan,
    Reference,
    ResinEstimate,
    ResinItem,
    ScaleQuality,
    Survey,
    Unheld,
    Void,
    frozen_array,
)
from crackmap.scale.mapping import Mapping
from crackmap.settings import KnownLens, MarkDistance, ScaleSettings, SurveySettings

SQUARE = frozen_array([[0, 0, 0], [10, 0, 0.414], [10, 5, 0], [0, 5, -0.2]])


A_NOTE = JobNote(
    "photo.jpg", "slab.jpg", 45.0, "in",
    ScaleSettings(marker_size=80.0, focal_35mm=24.0, rule=((10.0, 20.0, 300.0, 25.0), 500.0),
                  lens=KnownLens((4000, 3000), ((3000.0, 0.0, 2000.0), (0.0, 3000.0, 1500.0), (0.0, 0.0, 1.0)),
                                 (-0.03, 0.0, 0.0, 0.0, 0.0)),
                  check_distances=(MarkDistance(3, 17, 1203.0),), fit_distances=(MarkDistance(3, 5, 700.0, 0.3),)),
    SurveySettings(least_confidence=0.4), "shop.toml", "letter")


def a_survey() -> Survey:
    return Survey(
        photo=PhotoFacts("slab.jpg", "ab" * 32, 3000, 2250, 26.0),
        mapping=Mapping(np.array([[2.0, 0.1, 1500], [0.1, -2, 1100], [1e-5, 0, 1]]),
                        np.array([[2250.0, 0, 1499.5], [0, 2250, 1124.5], [0, 0, 1]]), np.array([-0.03, 0, 0, 0, 0])),
        scale=ScaleQuality(0.55, 0.06, 0.1, 0.6, 0.5, 0.08, frozen_array([[0, 0, 0.1], [9, 9, 0.6]]), ("a note",)),
        datum=Datum(frozen_array([0, 0]), frozen_array([1203.4, 0]), "markers", "centre of marker 3", "of marker 17"),
        references=(Reference("marker", 3, frozen_array([[0, 0], [1, 0], [1, 1], [0, 1]]), (100.0, 100.0)),),
        outline=frozen_array([[-50, -100], [1300, -90], [1290, 300], [-40, 310]]),
        voids=(Void("V1", frozen_array([[500, 100], [540, 100], [520, 130]])),),
        cracks=(Crack("C1", frozen_array([[-50, 10], [0, 12], [80, 15]]), frozen_array([6, 4, 0.5]), ("edge", "tip"),
                      0.97, frozen_array([0.1, 0.1, 0.2])),),
        grain_deg=1.8,
        warnings=("cut by the border",),
    )


def a_plan() -> Plan:
    shape = KeyShape("straight", 76.0, 32.0, 14.0, 3.2, 0.1, 20.0, 21.0, SQUARE, SQUARE)
    key = Key("K1", ("C1",), frozen_array([40, 12]), 92.0, shape, "large", SQUARE, SQUARE, "suggested", ("why",),
              (Check("edge distance", True, 12.0, 10.0), Check("grain", False, "along", "across", "", "turn it")))
    resin = ResinEstimate((ResinItem("C1", 300.0, 45.0, "assumed", 9.0, 2.0, 13.5),), 9.0, 2.0, 13.5, 15.0, 10.4, 7.0,
                          3.4, 7.6, 3.3, 2, ("seal first",))
    return Plan((key,), (Unheld("C2", "too thin"),), resin, 45.0, (), ("a warning",))


def through_text(form: dict[str, Any]) -> dict[str, Any]:
    read = json.loads(jsonform.dumps(form))
    assert isinstance(read, dict)
    return read


def test_a_survey_reads_back() -> None:
    form = jsonform.survey_as_json(a_survey())
    assert jsonform.survey_as_json(jsonform.survey_from_json(through_text(form))) == form


def test_the_survey_has_what_the_contract_names() -> None:
    form = jsonform.survey_as_json(a_survey())
    assert form["schema"] == "crackmap/survey/1" and form["units"] == "mm"
    assert set(form["mapping"]["lens"]) == {"camera_matrix", "distortion"}
    assert form["cracks"][0]["length"] == pytest.approx(130.096, abs=1e-3)  # geometric: hypot(50, 2) + hypot(80, 3)


def test_a_plan_reads_back() -> None:
    form = jsonform.plan_as_json(a_plan())
    assert jsonform.plan_as_json(jsonform.plan_from_json(through_text(form))) == form


def test_a_note_reads_back() -> None:
    assert jsonform.note_from_json(through_text(jsonform.note_as_json(A_NOTE))) == A_NOTE


def test_a_note_cannot_point_out_of_the_folder() -> None:
    form = jsonform.note_as_json(JobNote("photo.jpg", "slab.jpg", 45.0, "mm"))
    for photo in ("../photo.jpg", "/etc/passwd", "a\\b", ".hidden"):
        with pytest.raises(JobError, match="in the job folder"):
            jsonform.note_from_json(form | {"photo": photo})


def test_text_is_deterministic_and_a_row_is_a_line() -> None:
    text = jsonform.dumps(jsonform.survey_as_json(a_survey()))
    assert text == jsonform.dumps(jsonform.survey_as_json(a_survey()))
    assert b"[-50.0, -100.0],\n" in text


EDITS: dict[str, Any] = {
    "schema": "crackmap/edits/1", "units": "mm",
    "keys": {"add": [{"centre": [10, 20], "angle_deg": 90, "size": "large"}],
             "fix": [{"centre": [30, 20], "length": 80}],
             "refuse": [[1, 2]], "count": [{"crack_at": [5, 5], "keys": 4}]},
    "cracks": {"draw": [[[0, 0], [50, 5]]], "refuse": [[7, 8]], "depth": [{"at": [1, 1], "depth": 18.0}]},
    "outline": None, "finished_top": [[0, 0], [1, 0], [1, 1]],
    "keep_out": [{"area": [[0, 0], [5, 0], [5, 5]], "from": "below", "depth": 20, "note": "leg plate"}],
}


def test_edits_of_the_contract_are_read() -> None:
    edits = jsonform.edits_from_json(EDITS)
    assert [k.fixed for k in edits.keys] == [False, True]
    assert edits.keys[1].length == 80.0
    assert edits.key_counts == ((5.0, 5.0, 4),)
    assert edits.drawn_cracks[0].shape == (2, 2)
    assert edits.keep_out[0].from_face == "below"


@pytest.mark.parametrize(("path", "value", "said"), [
    (("schema",), "crackmap/edits/9", "schema"),
    (("units",), "in", "units"),
    (("keyz",), {}, "keyz is not known"),
    (("keys", "add"), [{"center": [0, 0]}], "center is not known"),
    (("keys", "add"), [{"centre": [0]}], r"keys.add\[0\].centre"),
    (("keys", "add"), {}, "keys.add must be a list"),
    (("keys", "count"), [{"crack_at": [0, 0], "keys": 2.5}], "whole number"),
    (("keys", "refuse"), [[1, 2, 3]], "keys.refuse"),
    (("cracks", "draw"), [[[0, 0]]], r"cracks.draw\[0\] must have at least 2"),
    (("cracks", "depth"), [{"at": [0, 0], "depth": -1}], "between 0 and"),
    (("cracks", "depth"), [{"at": [0, float("nan")], "depth": 1}], "at"),
    (("outline",), [[0, 0], [1, 1]], "outline must have at least 3"),
    (("keep_out",), [{"area": [[0, 0], [5, 0], [5, 5]], "from": "side"}], "one of above, below"),
])
def test_a_wrong_edit_is_one_sentence_that_names_the_field(path: tuple[str, ...], value: Any, said: str) -> None:
    form = copy.deepcopy(EDITS)
    at = form
    for name in path[:-1]:
        at = at[name]
    at[path[-1]] = value
    with pytest.raises(JobError, match=said) as refused:
        jsonform.edits_from_json(form)
    assert "\n" not in str(refused.value)


JSON = st.recursive(st.none() | st.booleans() | st.floats() | st.text(max_size=5) | st.integers(),
                    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
                    max_leaves=6)


def _places(form: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every path into a JSON value."""
    steps = list(form.items()) if isinstance(form, dict) else list(enumerate(form)) if isinstance(form, list) else []
    return [path for key, inner in steps for path in [(*at, key), *_places(inner, (*at, key))]]


READERS = {
    "survey": (jsonform.survey_as_json(a_survey()), jsonform.survey_from_json),
    "plan": (jsonform.plan_as_json(a_plan()), jsonform.plan_from_json),
    "edits": (EDITS, jsonform.edits_from_json),
    "job": (jsonform.note_as_json(A_NOTE), jsonform.note_from_json),
}


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(sorted(READERS)), st.integers(0, 10_000), JSON)
def test_any_value_anywhere_reads_or_is_refused(reader: str, place: int, value: Any) -> None:
    form, read = READERS[reader]
    form = copy.deepcopy(form)
    places = _places(form)
    *lead, last = places[place % len(places)]
    at: Any = form
    for step in lead:
        at = at[step]
    at[last] = value
    try:
        read(form)
    except JobError as refused:
        assert "\n" not in str(refused)
