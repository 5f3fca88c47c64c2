"""A small job folder made in a second, and the server on it as a maker starts it."""

from __future__ import annotations

import hashlib
import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from crackmap import job, jsonform, pipeline
from crackmap.jsonform import JobNote
from crackmap.pipeline import StageSettings
from crackmap.records import Edits, PhotoFacts, RectifiedPhoto, Survey
from crackmap.review.session import Session
from crackmap.review.state import Frame
from crackmap.review.tiles import TILE, levels_of
from crackmap.sheets.picture_file import as_jpeg
from crackmap.shop import Shop
from tests.builders import a_rectified_photo, a_survey

THICKNESS = 45.0  # [mm]


def a_job_folder(folder: Path, cracks: int = 4, mm_per_px: float = 0.8, length: float = 900.0,
                 width: float = 380.0) -> Path:
    """A drawn slab as a job folder with photo, survey and plan; no drawings."""
    survey = a_survey(length, width, cracks)
    rectified = a_rectified_photo(survey, mm_per_px)
    picture = as_jpeg(rectified.pixels)
    rows, columns = rectified.pixels.shape[:2]
    facts = PhotoFacts("slab.jpg", hashlib.sha256(picture).hexdigest(), columns, rows)
    survey = replace(survey, photo=facts, mapping=rectified.mapping)
    survey = jsonform.survey_from_json(jsonform.survey_as_json(survey))  # as a file holds it
    settings = StageSettings(THICKNESS)
    plan = pipeline.make_plan(survey, Shop(), settings, Edits())
    note = JobNote("photo.jpg", "slab.jpg", THICKNESS, "mm")
    job.write_all(folder, {"photo.jpg": picture,
                           job.JOB: jsonform.dumps(jsonform.note_as_json(note)),
                           job.SURVEY: jsonform.dumps(jsonform.survey_as_json(survey)),
                           job.PLAN: jsonform.dumps(jsonform.plan_as_json(plan))})
    return folder


def photo_of(survey: Survey, mm_per_px: float = 0.8) -> RectifiedPhoto:
    """The drawn picture of a survey."""
    return a_rectified_photo(survey, mm_per_px)


def a_session(folder: Path) -> Session:
    """A session on a job folder without a server; export draws one small file."""
    read = job.read_job(folder)
    size = pipeline.ground_size(read.survey)
    frame = Frame(folder.name, "mm", THICKNESS, Shop(), size.width, size.height, TILE,
                  levels_of(size.width, size.height), size.mapping)
    return Session(read, frame, StageSettings(THICKNESS), lambda: photo_of(read.survey),
                   lambda rectified, survey, plan: (plan, {"drawn.txt": f"{len(plan.keys)} keys".encode()}))


@dataclass
class Served:
    """A running `crackmap review`, and a browser's part of the talk."""

    running: subprocess.Popen[str]
    port: int
    token: str

    @property
    def cookie(self) -> str:
        """What the opening link gives a browser."""
        return f"crackmap-review-{self.port}={self.token}"

    def ask(self, method: str, path: str, body: Any = None, **headers: str | None) -> tuple[int, bytes, dict[str, str]]:
        """One request as our own page makes it; a header given replaces the usual one, None leaves it out."""
        usual: dict[str, str | None] = {"Cookie": self.cookie}
        if method == "POST":
            usual |= {"Origin": f"http://127.0.0.1:{self.port}", "Content-Type": "application/json"}
        usual |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            content = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
            connection.putrequest(method, path, skip_host="Host" in usual, skip_accept_encoding=True)
            for name, value in usual.items():
                if value is not None:
                    connection.putheader(name, value)
            if content is not None:
                connection.putheader("Content-Length", str(len(content)))
            connection.endheaders(content)
            answer = connection.getresponse()
            return answer.status, answer.read(), {k.lower(): v for k, v in answer.getheaders()}
        finally:
            connection.close()

    def job(self) -> dict[str, Any]:
        """The whole state."""
        status, content, _ = self.ask("GET", "/job")
        assert status == 200
        state: dict[str, Any] = json.loads(content)
        return state

    def post(self, path: str, version: int, action: Any = None) -> tuple[int, dict[str, Any]]:
        """A change, as the page sends it."""
        status, content, _ = self.ask("POST", path, {"version": version, "action": action})
        return status, json.loads(content)


@contextmanager
def served(folder: Path, *options: str) -> Iterator[Served]:
    """`crackmap review FOLDER` in a process of its own, ended when the block ends."""
    environment = os.environ | {"OMP_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"}
    running = subprocess.Popen([sys.executable, "-m", "crackmap", "review", str(folder), "--no-browser", *options],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)
    try:
        assert running.stdout is not None and running.stderr is not None
        line = running.stdout.readline()
        link = re.search(r"http://127\.0\.0\.1:(\d+)/open/(\S+)", line)
        assert link, line + running.stderr.read()
        yield Served(running, int(link[1]), link[2])
    finally:
        if running.poll() is None:
            running.send_signal(signal.SIGINT)
            try:
                running.wait(10)
            except subprocess.TimeoutExpired:
                running.kill()
                running.wait()


def wait_for(condition: Any, seconds: float = 10.0) -> bool:
    """True as soon as `condition()` is; False if that takes too long."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.02)
    return False
