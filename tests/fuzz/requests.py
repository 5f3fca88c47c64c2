"""Requests to the review's application, without a socket between."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

from crackmap import pipeline
from crackmap.errors import ReviewError
from crackmap.photo.read import read_photo
from crackmap.review.guard import Door
from crackmap.review.server import make_app
from crackmap.review.session import Standing
from crackmap.review.tiles import Tiles
from tests.fuzz.bench import open_session

_PORT = 4711


class Asker:
    """A review with its guard, server and session, asked in process."""

    def __init__(self, folder: Path) -> None:
        self.session = open_session(folder)
        self._door = Door(_PORT)
        survey = self.session.standing.survey
        tiles = Tiles(lambda: pipeline.redraw_ground(read_photo(folder / "photo.jpg"), survey).pixels)
        self._app = make_app(self.session, tiles, self._door)
        self._loop = asyncio.new_event_loop()

    def ask(self, asked: Any) -> None:
        """Send what `request_seeds` describes, damaged or not; a change that was made is undone.

        Raises
        ------
        ReviewError
            With the sentence of an answer that refuses.
        AssertionError
            If the answer is a failure of the server's own, or no answer.
        """
        asked = asked if isinstance(asked, dict) else {"path": "/change", "body": asked}
        body = asked.get("body")
        version = self.session._version
        if isinstance(body, dict) and body.get("version") == 1:
            body = {**body, "version": version}
        self.send(asked, json.dumps(body).encode())
        if self.session._version > version:
            self.session.undo(self.session._version)

    def send(self, asked: dict[str, Any], body: bytes) -> None:
        """One request with that body; raises as `ask` does."""
        path = str(asked.get("path", "/"))
        headers = {"host": self._door.host, "cookie": f"{self._door.cookie}={self._door.token}",
                   "origin": f"http://{self._door.host}", "content-type": "application/json"}
        if isinstance(given := asked.get("headers"), dict):
            headers |= {str(k).lower(): str(v) for k, v in given.items()}
        scope = {"type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "scheme": "http",
                 "method": str(asked.get("method", "POST")), "path": path, "query_string": b"", "root_path": "",
                 "raw_path": path.encode("utf-8", "surrogatepass"), "client": ("127.0.0.1", 1),
                 "server": ("127.0.0.1", _PORT),
                 "headers": [(k.encode("utf-8", "replace"), v.encode("utf-8", "replace")) for k, v in headers.items()]}
        status, content = self._loop.run_until_complete(self._answer(scope, body))
        assert status, "no answer"
        if status >= 400:
            said = content.decode()
            sentence = json.loads(said)["error"] if said.startswith("{") else said
            assert status < 500, sentence
            raise ReviewError(sentence)

    async def _answer(self, scope: dict[str, Any], body: bytes) -> tuple[int, bytes]:
        status, content = 0, b""
        waiting = [{"type": "http.request", "body": body, "more_body": False}]

        async def receive() -> dict[str, Any]:
            return waiting.pop() if waiting else {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            nonlocal status, content
            status = message.get("status", status)
            content += message.get("body", b"")

        await self._app(scope, receive, send)
        return status, content


def request_seeds(now: Standing) -> list[dict[str, Any]]:
    """A valid request for each path and each action on the job as it stands."""
    key, crack = now.plan.keys[0], now.survey.cracks[0]
    middle, at = crack.centreline[len(crack.centreline) // 2].tolist(), key.centre.tolist()
    low, high = now.survey.outline.min(axis=0), now.survey.outline.max(axis=0)
    ring = [[float(low[0]), -150.0], [float(high[0]), -150.0], [float(high[0]), 150.0], [float(low[0]), 150.0]]
    actions: list[dict[str, Any]] = [
        {"do": "add_key", "at": middle}, {"do": "move_key", "key": key.id, "centre": at, "angle_deg": 91.5},
        {"do": "resize_key", "key": key.id, "size": "small"},
        {"do": "resize_key", "key": key.id, "length": 70, "width": 28, "waist": 12, "depth": 15},
        {"do": "shape_key", "key": key.id, "shape": "straight"}, {"do": "refuse_key", "key": key.id},
        {"do": "fix_key", "key": key.id, "fixed": True}, {"do": "count_keys", "crack": crack.id, "keys": 1},
        {"do": "refuse_crack", "crack": crack.id}, {"do": "draw_crack", "points": [[200, 60], [260, 64], [320, 60]]},
        {"do": "end_crack", "crack": crack.id, "end": 1, "at": middle},
        {"do": "probe_depth", "at": middle, "depth": 20},
        {"do": "finished_top", "outline": ring}, {"do": "outline", "outline": ring},
        {"do": "add_keep_out", "area": [[100, 20], [160, 20], [160, 60], [100, 60]], "from": "below", "depth": 20,
         "note": "base", "screws": [[110, 30]]},
        {"do": "remove_keep_out", "index": 0}, {"do": "choose_plan", "name": "balanced"}]
    posts = [{"method": "POST", "path": path, "body": {"version": 1, "action": action}}
             for action in actions for path in ("/change", "/try")]
    bare = [{"method": "POST", "path": path, "body": {"version": 1}}
            for path in ("/undo", "/redo", "/solve", "/export")]
    gets = [{"method": "GET", "path": path, "headers": {"accept": "*/*"}} for path in (
        "/", "/job", "/plans", "/page/index.html", "/tile/0/0/0", "/tile/2/1/0", "/open/secret", "/page/../secret")]
    return posts + bare + gets
