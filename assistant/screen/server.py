"""The tablet page's server: one page, one stream of events, one place for presses; loopback only."""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from pathlib import Path
from typing import Final

from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from assistant.screen.board import Board, Told
from assistant.screen.labels import labels
from assistant.screen.loopback import Loopback
from assistant.screen.pads import Fate, Pads

PAGE: Final = Path(__file__).resolve().parent / "page"
FILES: Final = {
    "/": ("index.html", "text/html; charset=utf-8"),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
}
MOST_BYTES: Final = 512  # of one press
MOST_PAGES: Final = 4  # a browser keeps six connections to one host; presses need one
STATUS_S: Final = 0.2  # how often level and state of the ears go out
BEAT_S: Final = 2.0  # a page that hears nothing for longer than two beats says that it is cut off

STATUS_OF: Final = {
    Fate.TAKEN: HTTPStatus.ACCEPTED,
    Fate.MALFORMED: HTTPStatus.BAD_REQUEST,
    Fate.REPLAYED: HTTPStatus.CONFLICT,
    Fate.STALE: HTTPStatus.CONFLICT,
    Fate.TOO_SOON: HTTPStatus.CONFLICT,
    Fate.NOT_OFFERED: HTTPStatus.UNPROCESSABLE_ENTITY,
    Fate.TOO_MANY: HTTPStatus.TOO_MANY_REQUESTS,
}

Status = Callable[[], Mapping[str, object]]
"""The moving things no log holds: what the ears and the voice are doing, levels in dB of full scale."""


def _no_status() -> Mapping[str, object]:
    return {}


@dataclass
class Screen:
    """The page of one run, served from a thread of its own.

    ``dpi`` is the tablet's pixel density in dots an inch, or None to let the page guess; ``status``
    is asked five times a second while a page is open and must be quick.
    """

    board: Board
    pads: Pads
    lang: str = "en"
    dpi: float | None = None
    status: Status = _no_status
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    port: int = 0

    def start(self) -> None:
        """Open the port (0: any) and serve; raises DeviceError when it cannot."""
        self._pages = 0
        # Browsers ask for one unasked; there is none.
        routes = [Route("/favicon.ico", lambda _request: Response(status_code=HTTPStatus.NO_CONTENT))]
        routes += [Route(path, self._file, methods=["GET"]) for path in FILES]
        routes += [Route("/events", self._events, methods=["GET"]), Route("/press", self._press, methods=["POST"])]
        self._loopback = Loopback(Starlette(routes=routes), self.port, self.token)
        self.port = self._loopback.port
        self._loopback.start()

    @property
    def address(self) -> str:
        """The address of the page, with the token that only this run's page has."""
        return self._loopback.address

    def close(self) -> None:
        """Let the pages go and end the server."""
        if not self.board.ended:
            self.board.end("")
        self._loopback.close()

    # -- answers to the browser ------------------------------------------------------------------
    async def _file(self, request: Request) -> Response:
        name, kind = FILES[request.url.path]
        return Response((PAGE / name).read_bytes(), media_type=kind)

    async def _press(self, request: Request) -> Response:
        if request.headers.get("content-type", "").split(";")[0].strip() != "application/json":
            return _fate(Fate.MALFORMED, HTTPStatus.UNSUPPORTED_MEDIA_TYPE)
        body = await _bounded(request)
        if body is None:
            return _fate(Fate.MALFORMED, HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        try:
            data = json.loads(body)
        except (ValueError, RecursionError):
            data = None
        fate = self.pads.press(data)
        return _fate(fate, STATUS_OF[fate])

    async def _events(self, request: Request) -> Response:
        if self._pages >= MOST_PAGES:
            return JSONResponse(
                {"fate": "refused", "why": "Too many pages are open; close one."}, HTTPStatus.SERVICE_UNAVAILABLE
            )
        last = request.headers.get("last-event-id", "")
        seen = int(last) if last.isascii() and last.isdigit() and len(last) < 16 else None
        return StreamingResponse(self._stream(seen), media_type="text/event-stream")

    async def _stream(self, seen: int | None) -> AsyncIterator[str]:
        """Yield what the page lacks, then everything as it comes, and the state of the ears between."""
        loop, woken = asyncio.get_running_loop(), asyncio.Event()

        def wake() -> None:
            with contextlib.suppress(RuntimeError):  # the loop is closed: the run is over
                loop.call_soon_threadsafe(woken.set)

        leave = self.board.watch(wake)
        self._pages += 1
        try:
            yield _event("hello", json.dumps({"lang": self.lang, "dpi": self.dpi, "labels": labels(self.lang)}))
            serial, sent, quiet_since = 0, "", loop.time()
            events = self.board.since(seen)
            while True:
                for told in events:
                    yield _as_event(told)
                    serial = max(serial, told.serial)
                if self.board.ended and not events:
                    return
                status = json.dumps(dict(self.status()))
                if status != sent or loop.time() - quiet_since > BEAT_S:
                    yield _event("status", status)
                    sent, quiet_since = status, loop.time()
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(woken.wait(), STATUS_S)
                woken.clear()
                events = self.board.after(serial)
        finally:
            self._pages -= 1
            leave()


def _fate(fate: Fate, status: HTTPStatus) -> Response:
    return JSONResponse({"fate": fate.value}, status)


def _as_event(told: Told) -> str:
    return _event(told.name, told.data, told.record)


def _event(name: str, data: str, record: int | None = None) -> str:
    """Return one server-sent event; JSON holds no bare line break, so one data line is enough."""
    number = "" if record is None else f"id: {record}\n"
    return f"{number}event: {name}\ndata: {data}\n\n"


async def _bounded(request: Request) -> bytes | None:
    """Return the body, or None as soon as it is longer than a press can be."""
    body = b""
    with contextlib.suppress(ClientDisconnect):
        async for chunk in request.stream():
            body += chunk
            if len(body) > MOST_BYTES:
                return None
    return body
