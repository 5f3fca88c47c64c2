"""The socket and the server loop: loopback only, bounded, ended cleanly."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable
from typing import Any

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from crackmap.errors import ReviewError

_HEADER_SECONDS = 10.0  # a request whose head takes longer to come is given up
_IDLE_SECONDS = 30  # between two requests of one connection
_MOST_CONNECTIONS = 64  # a browser opens six


class PatientProtocol(H11Protocol):
    """HTTP/1.1 that waits only so long for a request's head: a connection must not be held open by dribbling."""

    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the clock."""
        super().connection_made(transport)
        self._deadline = asyncio.get_running_loop().call_later(_HEADER_SECONDS, self._give_up)

    def data_received(self, data: bytes) -> None:
        """Stop the clock once a whole head is there."""
        super().data_received(data)
        if self._deadline is not None and self.cycle is not None:
            self._deadline.cancel()
            self._deadline = None

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the clock."""
        if self._deadline is not None:
            self._deadline.cancel()
        super().connection_lost(exc)

    def _give_up(self) -> None:
        if not self.transport.is_closing():
            self.transport.close()


def listening_socket(port: int) -> socket.socket:
    """A socket on 127.0.0.1; port 0 takes a free one.

    Raises
    ------
    ReviewError
        If the port is taken or not allowed.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows: nobody may listen beside us
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen(_MOST_CONNECTIONS)
    except OSError as problem:
        listener.close()
        raise ReviewError(f"port {port} cannot be used ({problem.strerror}); leave --port out to take a free one."
                          ) from problem
    return listener


def serve(app: ASGIApp, listener: socket.socket, started: Callable[[], Any]) -> None:
    """Answer requests until interrupted; returns quietly on Ctrl-C.

    Parameters
    ----------
    app : ASGI application
    listener : socket
        From `listening_socket`.
    started : callable
        Called once requests are answered.
    """
    config = uvicorn.Config(
        app, http=PatientProtocol, ws="none", lifespan="off", loop="asyncio", log_level="error", access_log=False,
        server_header=False, limit_concurrency=_MOST_CONNECTIONS, timeout_keep_alive=_IDLE_SECONDS,
        timeout_graceful_shutdown=2, h11_max_incomplete_event_size=16_384, proxy_headers=False)
    try:
        _Server(config, started).run(sockets=[listener])
    except KeyboardInterrupt:
        return  # uvicorn ends its connections first, then passes the signal on
    finally:
        listener.close()


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, started: Callable[[], Any]) -> None:
        super().__init__(config)
        self._tell = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self._tell()
