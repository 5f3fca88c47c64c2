"""The review's web application: paths to the session's functions, JSON in and out."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from importlib.resources import files
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from crackmap.errors import CrackmapError, ReviewError
from crackmap.review.guard import Door, Guard
from crackmap.review.session import Outdated, Session
from crackmap.review.state import key_state
from crackmap.review.tiles import Tiles

_TYPES = {".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8",
          ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml", ".png": "image/png",
          ".json": "application/json"}
_PAGE = "index.html"


def make_app(session: Session, tiles: Tiles, door: Door) -> Guard:
    """The ASGI application of one review.

    Parameters
    ----------
    session : Session
    tiles : Tiles
        Of the rectified picture.
    door : Door
        Address and secret.
    """
    static = _static_files()

    async def page(request: Request) -> Response:
        name = request.path_params.get("name", _PAGE)
        if name not in static:  # a fixed list made at the start: no path reaches the disk
            return _sentence(404, "There is no such file.")
        content, kind = static[name]
        return Response(content, media_type=kind)

    async def tile(request: Request) -> Response:
        jpeg = await run_in_threadpool(tiles.tile, *(request.path_params[n] for n in ("level", "x", "y")))
        return _sentence(404, "There is no such tile.") if jpeg is None else Response(jpeg, media_type="image/jpeg")

    async def job(_: Request) -> Response:
        return await _answered(session, session.state)

    async def plans(_: Request) -> Response:
        return await _answered(session, session.plans)

    async def finished(request: Request) -> Response:
        before = request.url.path.endswith("/before")
        return await _answered(session, lambda: session.finished(as_photographed=before))

    return Guard(Starlette(routes=[
        Route("/", page, methods=["GET"]),
        Route("/page/{name}", page, methods=["GET"]),
        Route("/job", job, methods=["GET"]),
        Route("/tile/{level:int}/{x:int}/{y:int}", tile, methods=["GET"]),
        Route("/plans", plans, methods=["GET"]),
        Route("/finished", finished, methods=["GET"]),
        Route("/finished/before", finished, methods=["GET"]),
        _post("/change", session, lambda asked: session.change(asked.version, asked.action)),
        _post("/try", session, lambda asked: _tried(session, asked)),
        _post("/undo", session, lambda asked: session.undo(asked.version)),
        _post("/redo", session, lambda asked: session.redo(asked.version)),
        _post("/solve", session, lambda asked: session.solve(asked.version)),
        _post("/export", session, lambda asked: session.export(asked.version)),
    ]), door)


class _Body:
    """What a post says: the version it was asked of, and the action."""

    def __init__(self, content: bytes) -> None:
        try:
            read = json.loads(content)
        except (ValueError, RecursionError) as problem:
            raise ReviewError("The request is not valid JSON.") from problem
        version = read.get("version") if isinstance(read, dict) else None
        if not isinstance(version, int) or isinstance(version, bool):
            raise ReviewError("The request must say which version of the slab it is about.")
        self.version: int = version
        self.action: Any = read.get("action")


def _post(path: str, session: Session, change: Callable[[_Body], dict[str, Any]]) -> Route:
    async def endpoint(request: Request) -> Response:
        content = await request.body()
        return await _answered(session, lambda: change(_Body(content)))

    return Route(path, endpoint, methods=["POST"])


async def _answered(session: Session, ask: Callable[[], Any]) -> Response:
    """An answer as JSON, or as a JPEG; an error as its sentence."""
    return await run_in_threadpool(_answer, session, ask)


def _answer(session: Session, ask: Callable[[], Any]) -> Response:
    start = time.perf_counter()
    try:
        answer = ask()
    except Outdated as problem:
        return JSONResponse({"error": str(problem), "state": session.state()}, 409)
    except CrackmapError as problem:
        return _sentence(422, str(problem))
    except Exception as bug:  # a bug of ours: told in one sentence, and the session goes on as it was
        return _sentence(500, f"An error inside crackmap itself ({type(bug).__name__}: {bug}); nothing was changed.")
    if isinstance(answer, bytes):
        return Response(answer, media_type="image/jpeg")
    if isinstance(answer, dict):
        answer["answer_ms"] = round(1000.0 * (time.perf_counter() - start), 1)
    return JSONResponse(answer)


def _tried(session: Session, asked: _Body) -> dict[str, Any]:
    key = session.attempt(asked.version, asked.action)
    return {"key": key_state(key), "ok": all(check.ok for check in key.checks)}


def _sentence(status: int, sentence: str) -> Response:
    return JSONResponse({"error": sentence}, status)


def _static_files() -> dict[str, tuple[bytes, str]]:
    """The page's files by name, read once."""
    found = {}
    for entry in files("crackmap.review").joinpath("page").iterdir():
        kind = next((kind for ending, kind in _TYPES.items() if entry.name.endswith(ending)), None)
        if kind is not None and entry.is_file():
            found[entry.name] = entry.read_bytes(), kind
    return found
