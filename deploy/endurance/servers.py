"""The service and its broker as processes that can be killed at any moment and started again.

The embedded broker is the service's own child, as on a machine where somebody started `bellcrank run`; Mosquitto stands by itself
with deploy/mosquitto.conf. Knows no chimes and no packs.
"""

import asyncio
import contextlib
import os
import pwd
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import Protocol

from deploy.endurance.clock import Clock
from deploy.endurance.disk import Disk
from deploy.endurance.line import Login

ROOT = Path(__file__).parents[2]


class Broker(Protocol):
    port: int
    login: Login

    @property
    def running(self) -> bool: ...
    def start(self) -> None: ...
    def kill(self) -> None:
        """SIGKILL."""
        ...

    def stop(self) -> None: ...


class Mosquitto:
    """With the project's own configuration; only port, place and password are the rig's."""

    login = Login("chime", "rope")

    def __init__(self, folder: Path, port: int) -> None:
        self.port = port
        folder.mkdir()
        passwords, self._file = folder / "passwords", folder / "mosquitto.conf"
        passwords.write_text("{}:{}\n".format(*self.login))
        search = os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin"
        self._binary = shutil.which("mosquitto", path=search)
        if self._binary is None:
            sys.exit("bellcrank: Mosquitto is not installed; deploy/test installs it.")
        subprocess.run(["mosquitto_passwd", "-U", str(passwords)], check=True)
        text = (ROOT / "deploy" / "mosquitto.conf").read_text()
        text = re.sub(r"(?m)^listener .*", f"listener {port} 127.0.0.1", text)
        text = re.sub(r"(?m)^password_file .*", f"password_file {passwords}", text)
        user = pwd.getpwuid(os.getuid()).pw_name
        self._file.write_text(f"{text}\npersistence_location {folder}/\nuser {user}\nlog_dest none\n")
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def running(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def start(self) -> None:
        if not self.running:
            assert self._binary is not None
            self._process = subprocess.Popen([self._binary, "-c", str(self._file)], stderr=subprocess.DEVNULL)

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    def stop(self) -> None:
        if self._process is not None and self.running:
            self._process.terminate()
            self._process.wait()


class Embedded:
    """The service starts it, and starts it again."""

    login = Login()

    def __init__(self, data: Path, port: int) -> None:
        self.port, self._folder = port, data / "broker"

    @property
    def running(self) -> bool:
        return self._process() is not None

    def start(self) -> None: ...

    def kill(self) -> None:
        process = self._process()
        if process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)

    def stop(self) -> None: ...

    def _process(self) -> int | None:
        try:
            process = int((self._folder / "broker.pid").read_text())
            command = Path(f"/proc/{process}/cmdline").read_bytes().decode(errors="replace")
        except (OSError, ValueError):
            return None
        return process if str(self._folder / "broker.conf") in command else None


class Service:
    """`url` is where it finds its broker; empty: it runs the embedded one on `mqtt_port`."""

    def __init__(
        self, folder: Path, http: int, disk: Disk, clock: Clock, url: str, mqtt_port: int, login: Login
    ) -> None:
        self.http, self.log = http, folder / "service.log"
        self._disk, self._clock = disk, clock
        words = ["--broker", url] if url else ["--mqtt", str(mqtt_port)]
        self._command = [sys.executable, "-P", "-m", "service", "run", "--data", str(folder / "data")]
        self._command += ["--http", str(http), *words]
        path = [*clock.search_path(), str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
        self._environment = {
            **os.environ,
            **clock.environment(),
            "PYTHONPATH": os.pathsep.join(path),
            "MALLOC_ARENA_MAX": "2",
            "BELLCRANK_DATABASE_URL": f"sqlite:///{disk.folder / 'record.sqlite'}",
            "BELLCRANK_MQTT_USERNAME": login.username,
            "BELLCRANK_MQTT_PASSWORD": login.password,
        }
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def running(self) -> bool:
        return self._process is not None and self._process.poll() is None

    @property
    def exit_code(self) -> int | None:
        return None if self._process is None else self._process.poll()

    def start(self) -> None:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                self._command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, env=self._environment
            )
        self._disk.writer(self._process.pid)

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._clock.forget(self._process.pid)

    async def stop(self) -> None:
        if self._process is not None and self.running:
            self._process.terminate()
            await asyncio.to_thread(self._process.wait)
            self._clock.forget(self._process.pid)

    async def answers(self, within_s: float) -> bool:
        """Whether its page can be reached within that time."""
        end_s = asyncio.get_running_loop().time() + within_s
        while True:
            with contextlib.suppress(OSError):
                _, writer = await asyncio.open_connection("127.0.0.1", self.http)
                writer.close()
                return True
            if asyncio.get_running_loop().time() > end_s:
                return False
            await asyncio.sleep(0.05)
