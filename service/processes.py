"""Processes that run beside this one, as parts of the daemon. Knows neither what a broker nor what a chime does."""

import ctypes
import gc
import logging
import os
import signal
import subprocess
import sys
import threading
from typing import Protocol

from service.errors import SettingError

log = logging.getLogger(__name__)

RESTART_AFTER_S = 1.0
"""Pause before an embedded broker that died is started again."""

STOP_WITHIN_S = 5.0


class Startable(Protocol):
    """A process that can be started again."""

    process: "subprocess.Popen[bytes] | None"

    def start(self) -> None: ...
    def stop(self) -> None: ...


class BrokerTender:
    """Starts the embedded broker again when it dies."""

    def __init__(self, broker: Startable) -> None:
        self._broker, self._stopping = broker, threading.Event()

    def run(self) -> None:
        while not self._stopping.is_set():
            process = self._broker.process
            if process is not None:
                process.wait()
            if not self._stopping.wait(RESTART_AFTER_S):
                log.warning("The embedded broker has ended; starting it again")
                self._broker.stop()
                self._broker.start()

    def stop(self) -> None:
        self._stopping.set()
        self._broker.stop()


def run_to_end(arguments: list[str]) -> None:
    """Another command of this program, awaited. Raises SettingError when it fails; it has then said why."""
    if subprocess.run([sys.executable, "-P", "-m", "service", *arguments]).returncode:  # noqa: S603 - our own program
        raise SettingError(f"`bellcrank {arguments[0]}` did not succeed.")


class ChildProcess:
    """Another command of this program, running beside. It ends when its standard input closes, so it never outlives us."""

    def __init__(self, arguments: list[str]) -> None:
        self._arguments = arguments
        self._process: subprocess.Popen[bytes] | None = None
        self._stopping = False

    def run(self) -> None:
        self._process = subprocess.Popen(  # noqa: S603 - our own program
            [sys.executable, "-P", "-m", "service", *self._arguments, "--until-input-ends"],
            stdin=subprocess.PIPE,
            start_new_session=True,
        )
        code = self._process.wait()
        if not self._stopping:
            raise RuntimeError(f"it ended with exit code {code}")

    def stop(self) -> None:
        self._stopping = True
        if self._process and self._process.stdin:
            self._process.stdin.close()
            try:
                self._process.wait(STOP_WITHIN_S)
            except subprocess.TimeoutExpired:
                log.warning("%s did not end within %g s; it is killed", self._arguments[0], STOP_WITHIN_S)
                self._process.kill()
                self._process.wait()


def interrupt_when_input_ends() -> None:
    """The other end of `ChildProcess`: end like Ctrl-C when whoever started this process has gone."""
    sys.stdin.buffer.read()
    os.kill(os.getpid(), signal.SIGTERM)  # to the process: a signal to this thread would not wake the main one


def settle() -> None:
    """What has been made by now stays: it is not looked through for garbage again, which would hold up a page by a tenth of a second."""
    gc.collect()
    gc.freeze()


def give_memory_back() -> None:
    """Let glibc return what is free in its heaps; elsewhere nothing happens."""
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:
        trim(0)
