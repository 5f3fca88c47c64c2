"""Changes, undo, files and other writers, without a server."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from crackmap import job, jsonform
from crackmap.errors import CrackmapError, ReviewError
from crackmap.records import Edits
from crackmap.review.session import Outdated, Session
from tests.review.jobs import a_job_folder, a_session


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job folder to copy from."""
    return a_job_folder(tmp_path_factory.mktemp("review") / "job")


@pytest.fixture
def folder(ready: Path, tmp_path: Path) -> Iterator[Path]:
    """A job folder of the test's own."""
    shutil.copytree(ready, tmp_path / "job")
    yield tmp_path / "job"


def _do(session: Session, **action: Any) -> dict[str, Any]:
    return session.change(session.state()["version"], action)


def _key(state: dict[str, Any], name: str) -> dict[str, Any]:
    return next(k for k in state["plan"]["keys"] if k["id"] == name)


def _place_of(key: dict[str, Any]) -> list[float]:
    return [round(v, 3) for v in key["centre"]]


def test_a_moved_key_is_in_both_files_before_the_answer(folder: Path) -> None:
    session = a_session(folder)
    key = session.state()["plan"]["keys"][0]
    to = [key["centre"][0] + 4.0, key["centre"][1] + 1.0]
    state = _do(session, do="move_key", key=key["id"], centre=to)
    moved = [k for k in state["plan"]["keys"] if k["origin"] == "fixed"]
    assert [_place_of(k) for k in moved] == [to]
    edits, plan = job.read_edits(folder), job.read_plan(folder)
    assert edits.keys[0].centre.tolist() == to and edits.keys[0].fixed
    assert any(k.centre.tolist() == to for k in plan.keys)
    assert plan.edits_digest == jsonform.digest_of(edits)


def test_the_other_keys_stay_where_they_are(folder: Path) -> None:
    session = a_session(folder)
    before = session.state()["plan"]["keys"]
    key = before[0]
    after = _do(session, do="move_key", key=key["id"], angle_deg=key["angle_deg"] + 5.0)["plan"]["keys"]
    assert [_place_of(k) for k in after] == [_place_of(k) for k in before]


def test_undo_and_redo_give_the_same_files_again(folder: Path) -> None:
    session = a_session(folder)
    files = [_contents(folder)]
    crack = session.state()["survey"]["cracks"][0]
    for action in ({"do": "refuse_key", "key": "K1"}, {"do": "probe_depth", "at": crack["centreline"][3], "depth": 12},
                   {"do": "refuse_crack", "crack": crack["id"]}):
        session.change(session.state()["version"], action)
        files.append(_contents(folder))
    for expected in reversed(files[1:-1]):
        session.undo(session.state()["version"])
        assert _contents(folder) == expected
    session.undo(session.state()["version"])
    assert not session.state()["can_undo"]
    assert jsonform.digest_of(job.read_edits(folder)) == jsonform.digest_of(Edits())
    for expected in files[1:]:
        session.redo(session.state()["version"])
        assert _contents(folder) == expected
    assert not session.state()["can_redo"]


def _contents(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in (job.EDITS, job.PLAN, job.SURVEY)
            if (folder / name).exists()}


def test_what_was_undone_is_said(folder: Path) -> None:
    session = a_session(folder)
    state = _do(session, do="refuse_key", key="K1")
    assert (state["undo_words"], state["redo_words"]) == ("refused K1", None)
    state = session.undo(state["version"])
    assert (state["undo_words"], state["redo_words"]) == (None, "refused K1")


def test_trying_changes_nothing(folder: Path) -> None:
    session = a_session(folder)
    before, files = session.state(), _contents(folder)
    key = before["plan"]["keys"][0]
    tried = session.attempt(before["version"], {"do": "move_key", "key": key["id"], "centre": [-5000.0, 0.0]})
    assert tried.centre.tolist() == [-5000.0, 0.0]
    assert not all(check.ok for check in tried.checks)  # five metres off the slab
    assert session.state() == before and _contents(folder) == files


def test_the_later_window_is_told(folder: Path) -> None:
    session = a_session(folder)
    version = session.state()["version"]
    session.change(version, {"do": "refuse_key", "key": "K1"})
    with pytest.raises(Outdated, match="another window"):
        session.change(version, {"do": "refuse_key", "key": "K2"})
    assert len(job.read_edits(folder).refused_keys) == 1


def test_a_crack_refused_and_one_with_a_moved_end_come_back(folder: Path) -> None:
    session = a_session(folder)
    found = session.state()["survey"]["cracks"]
    middle = found[1]["centreline"][len(found[1]["centreline"]) // 2]
    state = _do(session, do="refuse_crack", crack=found[0]["id"])
    assert found[0]["id"] not in [c["id"] for c in state["survey"]["cracks"]]
    state = _do(session, do="end_crack", crack=found[1]["id"], end=1, at=middle)
    short = next(c for c in state["survey"]["cracks"] if c["id"] == found[1]["id"])
    assert short["length"] < 0.7 * found[1]["length"] and short["changed"]
    survey = job.read_survey(folder)
    assert {c.id for c in survey.set_aside} == {found[0]["id"], found[1]["id"]}
    # Another session on the same folder takes both words back by the edits alone.
    other = a_session(folder)
    edits = json.loads((folder / job.EDITS).read_bytes())
    edits["cracks"]["refuse"], edits["cracks"]["end"] = [], []
    (folder / job.EDITS).write_text(json.dumps(edits))
    with pytest.raises(Outdated):
        other.change(1, {"do": "refuse_key", "key": "K1"})
    assert [(c["id"], c["length"]) for c in other.state()["survey"]["cracks"]] == [
        (c["id"], c["length"]) for c in found]


def test_a_drawn_crack_is_traced_and_can_be_refused(folder: Path) -> None:
    session = a_session(folder)
    found = session.state()["survey"]["cracks"]
    line = found[0]["centreline"]
    session.change(session.state()["version"], {"do": "refuse_crack", "crack": found[0]["id"]})
    state = _do(session, do="draw_crack", points=[line[1], line[len(line) // 2], line[-2]])
    drawn = [c for c in state["survey"]["cracks"] if c["drawn"]]
    assert len(drawn) == 1 and drawn[0]["id"] not in [c["id"] for c in found]
    # The picture has the crack where it was found, so that the trace comes near it; half a pixel and a step.
    gaps = [np.hypot(*(np.array(line) - p).T).min() for p in drawn[0]["centreline"]]
    assert np.median(gaps) < 4.0
    state = _do(session, do="refuse_crack", crack=drawn[0]["id"])
    assert not any(c["drawn"] for c in state["survey"]["cracks"])
    assert job.read_edits(folder).drawn_cracks == ()


def test_an_outline_of_the_users_and_back(folder: Path) -> None:
    session = a_session(folder)
    measured = session.state()["survey"]["outline"]
    own = [[-100.0, -150.0], [700.0, -150.0], [700.0, 150.0], [-100.0, 150.0]]
    state = _do(session, do="outline", outline=own)
    assert sorted(state["survey"]["outline"]) == sorted(own)
    assert _do(session, do="outline", outline=None)["survey"]["outline"] == measured


def test_another_programs_edits_are_taken_up_not_written_over(folder: Path) -> None:
    session = a_session(folder)
    _do(session, do="refuse_key", key="K1")
    edits = json.loads((folder / job.EDITS).read_bytes())
    edits["note"] = "mine"
    edits["cracks"]["depth"] = [{"at": [0.0, 100.0], "depth": 7.0, "note": "probed twice"}]
    (folder / job.EDITS).write_text(json.dumps(edits))
    version = session.state()["version"]
    with pytest.raises(Outdated, match=r"edits\.json .* another program"):
        session.change(version, {"do": "refuse_key", "key": "K2"})
    assert session.state()["edits"]["probed"] == [[0.0, 100.0, 7.0]]
    _do(session, do="probe_depth", at=[50.0, 100.0], depth=9.0)
    kept = json.loads((folder / job.EDITS).read_bytes())
    assert kept["note"] == "mine" and kept["cracks"]["depth"][0]["note"] == "probed twice"


def test_a_broken_edits_file_is_told_and_left_alone(folder: Path) -> None:
    session = a_session(folder)
    (folder / job.EDITS).write_text('{"schema": "crackmap/edits/1", "units": "mm", "kyes": {}}')
    with pytest.raises(ReviewError, match="kyes"):
        session.change(1, {"do": "refuse_key", "key": "K1"})
    assert "kyes" in (folder / job.EDITS).read_text()


def test_another_thickness_meanwhile_ends_the_saving(folder: Path) -> None:
    session = a_session(folder)
    before = _contents(folder)
    note = json.loads((folder / job.JOB).read_text()) | {"thickness": 60.0}
    (folder / job.JOB).write_text(json.dumps(note))
    with pytest.raises(ReviewError, match=r"job\.json .* start it again"):
        session.change(1, {"do": "refuse_key", "key": "K1"})
    assert _contents(folder) == before


def test_edits_written_by_hand_are_obeyed_at_the_start(folder: Path) -> None:
    key = job.read_plan(folder).keys[0]
    form = {"schema": "crackmap/edits/1", "units": "mm", "keys": {"refuse": [key.centre.tolist()]}}
    (folder / job.EDITS).write_text(json.dumps(form))
    centres = [k["centre"] for k in a_session(folder).state()["plan"]["keys"]]
    assert all(np.hypot(*(np.array(c) - key.centre)) > 19.0 for c in centres)  # settings: within 20 mm none


def test_an_opened_review_writes_nothing(folder: Path) -> None:
    before = _contents(folder)
    a_session(folder).state()
    assert _contents(folder) == before


def test_export_writes_the_drawings_and_says_where(folder: Path) -> None:
    session = a_session(folder)
    state = _do(session, do="refuse_key", key="K1")
    assert not state["exported"] and session.drawings_are_old
    told = session.export(state["version"])
    assert told["folder"] == str(folder) and "drawn.txt" in told["files"]
    assert (folder / "drawn.txt").exists() and session.state()["exported"]


def test_what_is_impossible_is_one_sentence_and_changes_nothing(folder: Path) -> None:
    session = a_session(folder)
    before = _contents(folder)
    wrong: list[Any] = [
        None, [], {}, {"do": "fly"}, {"do": "move_key", "key": "K99", "centre": [0, 0]},
        {"do": "move_key", "key": "K1"}, {"do": "move_key", "key": "K1", "centre": [0]},
        {"do": "move_key", "key": "K1", "centre": [float("nan"), 0]}, {"do": "move_key", "key": "K1", "speed": 3},
        {"do": "resize_key", "key": "K1", "size": "huge"}, {"do": "resize_key", "key": "K1", "length": -4},
        {"do": "shape_key", "key": "K1", "shape": "heart"}, {"do": "count_keys", "crack": "C1", "keys": 1.5},
        {"do": "add_key", "at": [0.0, 9000.0]}, {"do": "draw_crack", "points": [[0, 0]]},
        {"do": "draw_crack", "points": [[0, 0], [90000, 0]]}, {"do": "probe_depth", "at": [0, 0]},
        {"do": "finished_top", "outline": [[0, 0], [100, 100], [100, 0], [0, 100]]},
        {"do": "remove_keep_out", "index": 0}, {"do": "choose_plan", "name": "cheapest"},
        {"do": "end_crack", "crack": "C1", "end": 2, "at": [0, 0]},
        {"do": "add_keep_out", "area": [[0, 0], [9, 0]], "from": "above"},
        {"do": "add_keep_out", "area": [[0, 0], [90, 0], [0, 90]], "from": "inside"},
    ]
    for action in wrong:
        with pytest.raises(CrackmapError) as told:
            session.change(1, action)
        assert "\n" not in str(told.value) and len(str(told.value)) < 400, action
    assert _contents(folder) == before and session.state()["version"] == 1
