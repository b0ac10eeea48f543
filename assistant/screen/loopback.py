"""A page's server on this machine's own address, in a thread of its own, behind the guard."""

from __future__ import annotations

import socket
import threading
import time
from typing import Final

import uvicorn
from starlette.types import ASGIApp

from assistant.errors import DeviceError
from assistant.screen.guard import POLICY, Guard

HOST: Final = "127.0.0.1"
START_S: Final = 10.0


class Loopback:
    """Serves ``app`` on 127.0.0.1 to whoever has the token; ``port`` is the real one once made.

    The port is open when this returns, and answers after `start`. Raises DeviceError when it cannot be had.
    """

    def __init__(self, app: ASGIApp, port: int, token: str, policy: str = POLICY) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._socket.bind((HOST, port))
        except OSError as error:
            self._socket.close()
            raise DeviceError(
                f"The page cannot use port {port} ({error.strerror}); choose another with --port."
            ) from None
        self.port = int(self._socket.getsockname()[1])
        self._token = token
        self.server = uvicorn.Server(
            uvicorn.Config(
                Guard(app, self.port, token, policy), log_config=None, access_log=False, lifespan="off", ws="none",
                http="h11", loop="asyncio", server_header=False, limit_concurrency=32, timeout_keep_alive=5,
                timeout_graceful_shutdown=2, h11_max_incomplete_event_size=8192,
            )
        )  # fmt: skip

    @property
    def address(self) -> str:
        """The address of the page, with the token that only this page has."""
        return f"http://{HOST}:{self.port}/#{self._token}"

    def start(self) -> None:
        """Serve; raises DeviceError when the server does not come up."""
        self._thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": [self._socket]}, name="page", daemon=True
        )
        self._thread.start()
        until = time.monotonic() + START_S
        while not self.server.started:
            if not self._thread.is_alive() or time.monotonic() > until:
                raise DeviceError("The page's server did not start.")
            time.sleep(0.01)

    def close(self) -> None:
        """End the server."""
        self.server.should_exit = True
        self._thread.join(5.0)
        self._socket.close()
