"""The rig's way to the simulated house: one-line JSON requests over a loopback port whose number lies in the data folder.

Server side: `Control`; client side: `control`. Knows no circuit; what a request means is its handler's business.
"""

import json
import os
import socket
import socketserver
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from service.errors import BellcrankError, NotFound, SettingError

Handler = Callable[[dict[str, Any]], dict[str, Any]]

ANSWER_WITHIN_S = 5.0
LONGEST_LINE = 4096
ERRORS: dict[str, type[BellcrankError]] = {"NotFound": NotFound, "SettingError": SettingError}


class Control:
    """Listens from the moment it is built until `close`. The handler runs in threads of its own."""

    def __init__(self, data_dir: Path, chime: str, handler: Handler) -> None:
        class Request(socketserver.StreamRequestHandler):
            timeout = ANSWER_WITHIN_S

            def handle(self) -> None:
                self.wfile.write(json.dumps(_answer(self.rfile.readline(LONGEST_LINE), handler)).encode() + b"\n")

        class Server(socketserver.ThreadingTCPServer):
            daemon_threads = True

        self._server = Server(("127.0.0.1", 0), Request)
        self._path = port_path(data_dir, chime)
        fresh = self._path.with_suffix(".new")
        fresh.write_text(str(self._server.server_address[1]))
        os.replace(fresh, self._path)
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.1,), daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._path.unlink(missing_ok=True)
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


def control(data_dir: Path, request: dict[str, Any], chime: str = "hall") -> dict[str, Any]:
    """Ask the simulated house that runs on this folder; its answer.

    Requests: `{"do": "press", "door": …, "hold_s": …}`, `{"do": "power" | "network", "on": …}`,
    `{"do": "bursts" | "sound"}`, `{"do": "hush", "until_s": …}`, `{"do": "state"}`.
    Raises NotFound where no simulated chime runs or there is no such door; SettingError for a request that makes no sense.
    """
    try:
        port = int(port_path(data_dir, chime).read_text())
        with socket.create_connection(("127.0.0.1", port), ANSWER_WITHIN_S) as connection:
            connection.sendall(json.dumps(request).encode() + b"\n")
            with connection.makefile("rb") as lines:
                answer: dict[str, Any] = json.loads(lines.readline())
    except (OSError, ValueError):
        raise NotFound(
            f"No simulated chime {chime!r} runs on the folder {data_dir}. Start one with `bellcrank run --demo` or "
            "`bellcrank simulate`; --data names another folder."
        ) from None
    if "error" in answer:
        raise ERRORS.get(answer.get("kind", ""), SettingError)(answer["error"])
    return answer


def port_path(data_dir: Path, chime: str) -> Path:
    return data_dir / f"simulated-{chime}.port"


def _answer(line: bytes, handler: Handler) -> dict[str, Any]:
    try:
        request = json.loads(line)
        if not isinstance(request, dict):
            raise SettingError("A request is one JSON object in one line.")
        return handler(request)
    except BellcrankError as error:
        return {"error": str(error), "kind": type(error).__name__}
    except (ValueError, KeyError, TypeError) as error:
        return {"error": f"The request cannot be understood: {error!r}.", "kind": "SettingError"}
