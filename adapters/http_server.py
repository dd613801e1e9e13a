"""The HTTP server: uvicorn, told to end the live streams before it waits for them. Knows no route."""

from collections.abc import Callable
from types import FrameType
from typing import Any

import uvicorn

GRACE_S = 2
"""How long requests that are under way may take to finish when the process ends."""


class Server(uvicorn.Server):
    """`run` blocks until Ctrl-C, SIGTERM or `stop`. `ending` is called once it is asked to end."""

    def __init__(self, app: Any, address: str, port: int, ending: Callable[[], None]) -> None:
        super().__init__(
            uvicorn.Config(
                app,
                address,
                port,
                log_config=None,
                access_log=False,
                lifespan="off",
                timeout_graceful_shutdown=GRACE_S,
            )
        )
        self._ending = ending

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._ending()
        super().handle_exit(sig, frame)

    def stop(self) -> None:
        """From another thread."""
        self._ending()
        self.should_exit = True
