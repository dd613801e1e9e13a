"""The whole thing in processes of its own, on free ports, in a folder that is thrown away."""

import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

START_WITHIN_S = 60.0


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Running:
    process: subprocess.Popen[str]
    data: Path
    http: int
    mqtt: int

    @property
    def url(self) -> str:
        return f"http://localhost:{self.http}"

    def get(self, path: str) -> str:
        with urllib.request.urlopen(self.url + path, timeout=5) as answer:
            return str(answer.read().decode())

    def interrupt(self) -> str:
        """Ctrl-C; what it had printed."""
        self.process.send_signal(signal.SIGINT)
        said, _ = self.process.communicate(timeout=20)
        return said


def command(*words: str) -> list[str]:
    return [sys.executable, "-P", "-m", "service", *words]


def start(data: Path, http: int, mqtt: int, *options: str) -> Running:
    words = command("run", "--data", str(data), "--http", str(http), "--mqtt", str(mqtt), *options)
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    running = Running(process, data, http, mqtt)
    end = time.monotonic() + START_WITHIN_S
    while True:
        try:
            running.get("/health")
        except OSError:
            if process.poll() is not None or time.monotonic() > end:
                process.kill()
                raise AssertionError(f"it did not start: {process.communicate()[0]}") from None
            time.sleep(0.05)
        else:
            return running


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """The invented house, with its thirty days."""
    running = start(tmp_path_factory.mktemp("demo") / "data", free_port(), free_port(), "--demo")
    end = time.monotonic() + START_WITHIN_S
    while not list(running.data.glob("simulated-*.port")):  # the chime starts beside the page
        assert time.monotonic() < end
        time.sleep(0.05)
    yield running
    running.process.terminate()
    running.process.communicate(timeout=20)
