"""edits.json written and read back: nothing that the user said is lost."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.jsonform import digest_of, dumps, edits_as_json, edits_from_json
from crackmap.records import AddedKey, Edits, KeepOut, frozen_array

_mm = st.floats(-3000, 3000, allow_nan=False).map(lambda v: round(v, 3) + 0.0)
_point = st.tuples(_mm, _mm)
_length = st.floats(1, 200).map(lambda v: round(v, 3))
_text = st.text(max_size=20)


def _ring(least: int) -> st.SearchStrategy[Any]:
    return st.lists(_point, min_size=least, max_size=6).map(lambda rows: frozen_array(rows, 2))


def _areas() -> st.SearchStrategy[Any]:
    """Rings round a middle: none crosses itself, which the file's reader refuses."""
    reaches = st.lists(st.floats(5, 500), min_size=3, max_size=6)

    def ring(reaches: list[float], x: float, y: float) -> Any:
        turn = np.linspace(0.0, 2 * np.pi, len(reaches), endpoint=False)
        rows = np.column_stack([x + reaches * np.cos(turn), y + reaches * np.sin(turn)])
        return frozen_array(np.round(rows, 3) + 0.0, 2)

    return st.builds(ring, reaches, _mm, _mm)


_keys = st.builds(AddedKey, centre=_point.map(frozen_array), angle_deg=st.none() | st.floats(-360, 360).map(
    lambda v: round(v, 3)), size=st.none() | _text, length=st.none() | _length, depth=st.none() | _length,
    shape=st.none() | _text, fixed=st.booleans(), note=_text)
_keep_outs = st.builds(KeepOut, area=_areas(), from_face=st.sampled_from(["above", "below"]),
                       depth=st.none() | _length, note=_text, screws=_ring(0))
_edits = st.builds(
    Edits, keys=st.lists(_keys, max_size=3).map(tuple), refused_keys=_ring(0), drawn_cracks=st.lists(
        _ring(2), max_size=2).map(tuple), refused_cracks=_ring(0),
    key_counts=st.lists(st.tuples(_mm, _mm, st.integers(0, 9)), max_size=3).map(tuple),
    crack_ends=st.lists(st.tuples(_mm, _mm, _mm, _mm), max_size=3).map(tuple),
    probed_depths=st.lists(st.tuples(_mm, _mm, _length), max_size=3).map(tuple),
    outline=st.none() | _areas(), finished_top=st.none() | _areas(),
    keep_out=st.lists(_keep_outs, max_size=2).map(tuple), note=_text)


@given(_edits)
@settings(max_examples=60, deadline=None)
def test_what_was_written_is_read_back(edits: Edits) -> None:
    again = edits_from_json(json.loads(dumps(edits_as_json(edits))))
    assert edits_as_json(again) == edits_as_json(edits)
    assert digest_of(again) == digest_of(edits)
    assert sorted(k.fixed for k in again.keys) == sorted(k.fixed for k in edits.keys)
    for ours, theirs in zip(again.keep_out, edits.keep_out, strict=True):
        assert np.array_equal(ours.screws, theirs.screws) and ours.note == theirs.note


def test_remarks_written_by_hand_are_kept() -> None:
    form = {"schema": "crackmap/edits/1", "units": "mm", "note": "elm, left half",
            "keys": {"add": [{"centre": [1, 2], "note": "Ann wants one here"}],
                     "count": [{"crack_at": [5, 6], "keys": 2, "note": "ask again"}]},
            "cracks": {"depth": [{"at": [7, 8], "depth": 9, "note": "feeler gauge"}],
                       "end": [{"at": [1, 1], "to": [2, 2], "note": "under the dust"}]},
            "keep_out": [{"area": [[0, 0], [9, 0], [0, 9]], "note": "clamp"}]}
    again = edits_as_json(edits_from_json(form))
    assert again["note"] == "elm, left half" and again["keep_out"][0]["note"] == "clamp"
    assert again["keys"]["add"][0]["note"] == "Ann wants one here" and again["keys"]["count"][0]["note"] == "ask again"
    cracks = again["cracks"]
    assert (cracks["depth"][0]["note"], cracks["end"][0]["note"]) == ("feeler gauge", "under the dust")
