"""The gate in front of the page: who may ask at all, and what a browser may do with the answer.

The page is for this machine's own browser. Against a hostile page in that browser: the token is no
cookie, so nothing is sent along by itself, and any page but ours is refused by its origin. Against a
name that is re-bound to this machine (DNS rebinding): only the loopback names count as host. Against
being framed, scripted or fed from elsewhere: the content security policy.
"""

from __future__ import annotations

import secrets
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
)
HEADERS: Final = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), usb=(), serial=()",
}
OPEN: Final = frozenset({"/", "/page.css", "/page.js", "/favicon.ico"})
"""Paths that hold no secret and need no token; everything else does."""


class Guard:
    """Refuses what is not this machine's own page; wraps the application.

    ``policy`` is the content security policy of a page that needs another than the cab's.
    """

    def __init__(self, app: ASGIApp, port: int, token: str, policy: str = POLICY) -> None:
        self._app = app
        self._sent = {**HEADERS, "Content-Security-Policy": policy}
        self._hosts = {f"{name}:{port}" for name in ("127.0.0.1", "localhost")}
        self._token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it before the application sees it."""
        if scope["type"] != "http":
            return
        refused = self._refuse(scope)
        if refused is not None:
            await self._with_headers(refused, scope, receive, send)
            return
        await self._with_headers(self._app, scope, receive, send)

    def _refuse(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return _no(421, "This page is only for the machine it runs on.")
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{hosts[0]}":
            return _no(403, "Another page may not ask here.")
        if scope["path"] in OPEN and scope["method"] in {"GET", "HEAD"}:
            return None
        if headers.get("sec-fetch-site", "same-origin") != "same-origin":
            return _no(403, "Another page may not ask here.")
        if scope["method"] == "POST" and origin is None:
            return _no(403, "A press must come from the page.")
        given = headers.get("authorization", "").removeprefix("Bearer ")
        if not secrets.compare_digest(given.encode(), self._token.encode()):
            return _no(403, "This page is from another session. Open the address that was printed.")
        return None

    async def _with_headers(self, app: ASGIApp, scope: Scope, receive: Receive, send: Send) -> None:
        async def send_with(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._sent.items():
                    headers[name] = value
            await send(message)

        await app(scope, receive, send_with)


def _no(status: int, why: str) -> JSONResponse:
    return JSONResponse({"fate": "refused", "why": why}, status)
