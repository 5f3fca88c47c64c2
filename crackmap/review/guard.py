"""What stands before every request: who may ask, and how much.

The server listens on the loopback interface only, but any page open in the same
browser can send requests there. So: the host must be the very address (no DNS
rebinding), a change must come from our own page (Origin), everything needs the
secret that the opening link carries, and bodies are small.
"""

from __future__ import annotations

import asyncio
import hmac
import secrets
from dataclasses import dataclass, field

from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BODY_BYTES = 1_000_000
_BODY_SECONDS = 10.0  # a body that takes longer to come is given up
_COOKIE = "crackmap-review"
_OPEN = "/open/"
_HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
                               "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}


@dataclass(frozen=True, slots=True)
class Door:
    """Where the server listens and the secret that opens it."""

    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    @property
    def host(self) -> str:
        """The one value of the Host header that is answered."""
        return f"127.0.0.1:{self.port}"

    @property
    def link(self) -> str:
        """The opening link."""
        return f"http://{self.host}{_OPEN}{self.token}"

    @property
    def cookie(self) -> str:
        """Name of the cookie; the port is in it, because cookies of all ports share a jar."""
        return f"{_COOKIE}-{self.port}"


class Guard:
    """ASGI middleware that turns away what may not come in, and seals every answer.

    Parameters
    ----------
    app : ASGI application
        Is called only for requests that pass; their whole body is at hand.
    door : Door
    """

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return  # nothing else is served; uvicorn closes the connection
        answer = self._refusal(scope) or self._opening(scope) or self._without_secret(scope)
        body = b""
        if answer is None and scope["method"] == "POST":
            read = await _body(receive)
            if isinstance(read, Response):
                answer = read
            else:
                body = read

        async def sealed(message: Message) -> None:
            if message["type"] == "http.response.start":
                named = [(k.encode(), v.encode()) for k, v in _HEADERS.items()]
                message["headers"] = [*message.get("headers", []), *named]
            await send(message)

        if answer is not None:
            await answer(scope, receive, sealed)
        else:
            await self._app(scope, _replay(body, receive), sealed)

    def _refusal(self, scope: Scope) -> Response | None:
        headers = scope["headers"]
        if scope["method"] not in ("GET", "POST"):
            return _no(405, "Only GET and POST are answered.")
        if _all(headers, b"host") != [self._door.host.encode()]:
            return _no(421, "This is not the address that crackmap review listens on; use the link it printed.")
        site = _all(headers, b"sec-fetch-site")
        if site and site[0] not in (b"same-origin", b"none") and not scope["path"].startswith(_OPEN):
            return _no(403, "Another site may not ask here.")
        if scope["method"] == "GET":
            return None
        if _all(headers, b"origin") != [f"http://{self._door.host}".encode()]:
            return _no(403, "Changes are taken from the review page only.")
        if not (_all(headers, b"content-type") or [b""])[0].startswith(b"application/json"):
            return _no(415, "Changes are sent as JSON.")
        length = (_all(headers, b"content-length") or [b"0"])[0]
        if not length.isdigit() or int(length) > MOST_BODY_BYTES:
            return _no(413, f"A change may have {MOST_BODY_BYTES} bytes at most.")
        return None

    def _opening(self, scope: Scope) -> Response | None:
        """The answer to the opening link."""
        path: str = scope["path"]
        if not path.startswith(_OPEN) or scope["method"] != "GET":
            return None
        if not self._is_secret(path.removeprefix(_OPEN)):
            return _no(403, "This link is not the one that crackmap review printed.")
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self._door.cookie, self._door.token, httponly=True, samesite="strict", path="/")
        return answer

    def _without_secret(self, scope: Scope) -> Response | None:
        for line in _all(scope["headers"], b"cookie"):
            for part in line.decode("latin-1").split(";"):
                name, _, value = part.strip().partition("=")
                if name == self._door.cookie and self._is_secret(value):
                    return None
        return _no(403, "Open the review by the link that crackmap review printed; this one lacks its secret.")

    def _is_secret(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self._door.token.encode())


def _all(headers: list[tuple[bytes, bytes]], name: bytes) -> list[bytes]:
    return [value for key, value in headers if key == name]


def _no(status: int, sentence: str) -> Response:
    # The body that may still be on its way is not read: the connection ends.
    return PlainTextResponse(sentence, status, {"connection": "close"})


async def _body(receive: Receive) -> bytes | Response:
    """The whole body, or the answer to one that is too large or too slow."""
    body = bytearray()
    try:
        async with asyncio.timeout(_BODY_SECONDS):
            while True:
                message = await receive()
                if message["type"] == "http.disconnect":
                    return _no(400, "The connection ended.")
                body += message.get("body", b"")
                if len(body) > MOST_BODY_BYTES:
                    return _no(413, f"A change may have {MOST_BODY_BYTES} bytes at most.")
                if not message.get("more_body", False):
                    return bytes(body)
    except TimeoutError:
        return _no(408, "The request took too long to come.")


def _replay(body: bytes, receive: Receive) -> Receive:
    """A receive that gives a body that was read already."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again
