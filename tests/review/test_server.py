"""The server as a maker starts it, over real sockets: pages, tiles, changes, a clean end."""

from __future__ import annotations

import io
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from crackmap import job
from tests.review.jobs import Served, a_job_folder, photo_of, served


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One server for the tests of this file."""
    with served(a_job_folder(tmp_path_factory.mktemp("server") / "job")) as running:
        yield running


def test_the_opening_link_gives_a_cookie_and_the_page(server: Served) -> None:
    status, _, headers = server.ask("GET", f"/open/{server.token}", Cookie=None)
    assert (status, headers["location"]) == (303, "/")
    cookie = headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    status, content, headers = server.ask("GET", "/")
    assert status == 200 and headers["content-type"].startswith("text/html") and b"<html" in content


def test_every_answer_is_sealed(server: Served) -> None:
    for path in ("/", "/job", "/tile/0/0/0", "/nothing", "/page/nothing.js"):
        headers = server.ask("GET", path)[2]
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy, path
        assert headers["x-content-type-options"] == "nosniff" and headers["cache-control"] == "no-store"


def test_tiles_together_are_the_picture(server: Served) -> None:
    picture = server.job()["picture"]
    side, height, width = picture["tile"], picture["height"], picture["width"]
    whole = np.zeros((height, width, 3), np.uint8)
    for y in range(0, height, side):
        for x in range(0, width, side):
            status, content, headers = server.ask("GET", f"/tile/0/{x // side}/{y // side}")
            assert status == 200 and headers["content-type"] == "image/jpeg"
            part = np.asarray(Image.open(io.BytesIO(content)))
            whole[y:y + part.shape[0], x:x + part.shape[1]] = part
    # The photo went through a JPEG file and the tiles through another; errors of both are a few grey levels.
    truth = np.asarray(photo_of(job.read_survey(_folder(server))).pixels, float)
    assert np.median(np.abs(whole[:truth.shape[0], :truth.shape[1]] - truth)) < 8


def test_each_level_is_half_the_one_before_and_the_last_is_one_tile(server: Served) -> None:
    picture = server.job()["picture"]
    sizes = []
    for level in range(picture["levels"]):
        across = -(-picture["width"] // 2**level)
        last = (across - 1) // picture["tile"]
        status, content, _ = server.ask("GET", f"/tile/{level}/{last}/0")
        assert status == 200
        sizes.append(Image.open(io.BytesIO(content)).width + last * picture["tile"])
        assert sizes[-1] == across
    assert sizes[-1] <= picture["tile"]


@pytest.mark.parametrize("path", ["/tile/0/99/0", "/tile/0/0/99", "/tile/30/0/0", "/tile/0/-1/0", "/tile/a/0/0",
                                  "/tile/0/0", "/tile/99999999999999999999/0/0", "/nothing", "/page/nothing.js"])
def test_what_is_not_there_is_a_404(server: Served, path: str) -> None:
    assert server.ask("GET", path)[0] == 404


def test_the_pictures_mapping_takes_the_datum_where_it_lies(server: Served) -> None:
    state = server.job()
    rows = np.array(state["picture"]["slab_to_picture"])
    survey = job.read_survey(_folder(server))
    points = np.array([state["datum"]["a"], state["datum"]["b"]])
    ours = np.c_[points, np.ones(2)] @ rows.T
    # The drawn photo is square to the slab already: its own mapping and ours differ by a shift and a scale only.
    span = np.hypot(*(ours[1] - ours[0])) / np.hypot(*np.diff(survey.mapping.to_pixels(points), axis=0)[0])
    assert span == pytest.approx(1.0, abs=0.01) and ((ours > 0) & (ours < [state["picture"]["width"],
                                                                           state["picture"]["height"]])).all()


def test_a_change_and_its_undo(server: Served) -> None:
    state = server.job()
    key = state["plan"]["keys"][0]
    status, changed = server.post("/change", state["version"], {"do": "refuse_key", "key": key["id"]})
    assert status == 200 and changed["version"] == state["version"] + 1 and changed["answer_ms"] > 0
    status, told = server.post("/change", state["version"], {"do": "refuse_key", "key": key["id"]})
    assert status == 409 and told["state"]["version"] == changed["version"] and "another window" in told["error"]
    status, back = server.post("/undo", changed["version"])
    assert status == 200 and [k["centre"] for k in back["plan"]["keys"]] == [k["centre"] for k in state["plan"]["keys"]]


def test_a_try_answers_with_one_key(server: Served) -> None:
    state = server.job()
    key = state["plan"]["keys"][0]
    action = {"do": "move_key", "key": key["id"], "centre": [key["centre"][0] + 3.0, key["centre"][1]]}
    status, tried = server.post("/try", state["version"], action)
    assert status == 200 and tried["key"]["centre"] == action["centre"] and isinstance(tried["ok"], bool)
    assert server.job()["version"] == state["version"]


def test_plans_and_the_finished_look(server: Served) -> None:
    import json

    status, content, _ = server.ask("GET", "/plans")
    plans = json.loads(content)
    assert status == 200 and [p["name"] for p in plans if p["chosen"]] == ["balanced"]
    assert all(len(p["outlines"]) == p["keys"] for p in plans)
    pictures = [Image.open(io.BytesIO(server.ask("GET", path)[1])) for path in ("/finished", "/finished/before")]
    assert pictures[0].size == pictures[1].size and max(pictures[0].size) <= 2000
    assert np.abs(np.asarray(pictures[0], float) - np.asarray(pictures[1], float)).mean() > 1.0


def test_ctrl_c_ends_it_with_one_line(tmp_path: Path) -> None:
    with served(a_job_folder(tmp_path / "job", cracks=2)) as running:
        running.running.send_signal(signal.SIGINT)
        told, problems = running.running.communicate(timeout=20)
    assert running.running.returncode == 0 and problems == ""
    assert "Ended; everything is saved." in told


@pytest.mark.parametrize(("spoil", "says"), [
    (lambda f: (f / job.PLAN).unlink(), "plan.json is missing"),
    (lambda f: (f / "photo.jpg").write_bytes(b"another"), "not the photo"),
    (lambda f: (f / job.PLAN).write_text((f / job.PLAN).read_text().replace(
        '"photo_sha256": "', '"photo_sha256": "0')), "another photo"),
    (lambda f: shutil.rmtree(f), "not a job folder"),
])
def test_a_folder_that_cannot_be_reviewed_is_one_sentence(tmp_path: Path, spoil: object, says: str) -> None:
    folder = a_job_folder(tmp_path / "job", cracks=1)
    spoil(folder)  # type: ignore[operator]
    ran = subprocess.run([sys.executable, "-m", "crackmap", "review", str(folder), "--no-browser"],
                         capture_output=True, text=True, timeout=60, check=False)
    assert ran.returncode == 2 and says in ran.stderr and ran.stderr.count("\n") == 1


def _folder(server: Served) -> Path:
    return Path(server.running.args[4])  # type: ignore[index,arg-type]
