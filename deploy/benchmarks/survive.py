"""Whether anything is lost or doubled while the service is SIGKILLed and the broker restarted under load.

Sends packs with a press in every tenth, kills the service five times and the broker twice meanwhile, then compares the record
with what was sent. `survive.py mosquitto|embedded [COUNT]`. Prints one line; exit code 1 where anything is lost or doubled.

Mosquitto keeps its queue in memory between saves, so it is restarted in order (SIGTERM), as its service unit does; the embedded
broker is SIGKILLed.
"""

import contextlib
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from benchmarks import rig
from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

KILLS, RESTARTS = 5, 2
SETTLE_S = 120.0


class Sender:
    """Sends packs and counts what the broker has acknowledged; what was in flight when it went away is sent again, as paho does."""

    def __init__(self, port: int, count: int) -> None:
        self.acknowledged, self._count = 0, count
        self._client = Client(CallbackAPIVersion.VERSION2, "sender", protocol=MQTTv311, clean_session=False)
        self._client.max_inflight_messages_set(100)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_publish = self._on_publish
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def run(self, pace_s: float) -> None:
        """All packs, in bursts of fifty, over some `pace_s` each."""
        for seq in range(self._count):
            self._client.publish(rig.TOPIC, rig.pack(seq), 1)
            if seq % 50 == 49:
                time.sleep(pace_s)
        end = time.monotonic() + SETTLE_S
        while self.acknowledged < self._count and time.monotonic() < end:
            time.sleep(0.05)
        self._client.disconnect()
        self._client.loop_stop()

    def _on_publish(self, *_: object) -> None:
        self.acknowledged += 1


class Mosquitto:
    def __init__(self, folder: Path, port: int) -> None:
        self._configuration = folder / "mosquitto.conf"
        self._configuration.write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location {folder}/\n"
            "max_queued_messages 0\nmax_inflight_messages 1000\nset_tcp_nodelay true\nuser root\n"
        )
        self._port = port
        self._binary = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
        self.start()

    def start(self) -> None:
        assert self._binary is not None, "Mosquitto is not installed"
        self._process = subprocess.Popen([self._binary, "-c", str(self._configuration)], stderr=subprocess.DEVNULL)
        rig.wait_for(self._port)

    def restart(self) -> None:
        self.stop()
        time.sleep(1.0)
        self.start()

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait()


class Embedded:
    def __init__(self, folder: Path, port: int) -> None:
        from adapters.broker import EmbeddedBroker

        self._broker = EmbeddedBroker(folder, port)
        self._broker.start()

    def restart(self) -> None:
        process = self._broker.process
        assert process is not None
        process.kill()
        process.wait()
        self._broker.stop()
        time.sleep(1.0)
        self._broker.start()

    def stop(self) -> None:
        self._broker.stop()


@contextlib.contextmanager
def broker(kind: str, folder: Path, port: int) -> Iterator[Mosquitto | Embedded]:
    running = Mosquitto(folder, port) if kind == "mosquitto" else Embedded(folder, port)
    try:
        yield running
    finally:
        running.stop()


def start_service(data: Path, mqtt: int, http: int) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-P", "-m", "service", "run", "--broker", f"mqtt://127.0.0.1:{mqtt}"]
    log = (data.parent / "service.log").open("ab")
    process = subprocess.Popen([*command, "--data", str(data), "--http", str(http)], stdout=log, stderr=log)
    rig.wait_for(http)
    return process


def survive(kind: str, count: int, pace_s: float = 0.1, kills: int = KILLS, restarts: int = RESTARTS) -> dict[str, int]:
    """What was sent, what the record holds, and what is lost or doubled."""
    with tempfile.TemporaryDirectory() as name:
        folder, mqtt, http = Path(name), rig.free_port(), rig.free_port()
        data = folder / "data"
        (folder / "broker").mkdir()
        with broker(kind, folder / "broker", mqtt) as running:
            service = start_service(data, mqtt, http)
            time.sleep(1.0)
            sender = Sender(mqtt, count)
            sending = threading.Thread(target=sender.run, args=(pace_s,))
            sending.start()
            pause = count / 50 * pace_s / (kills + restarts + 1)
            for step in range(kills + restarts):
                time.sleep(pause)
                if step % 3 == 2 and step // 3 < restarts:
                    running.restart()
                else:
                    service.send_signal(signal.SIGKILL)
                    service.wait()
                    service = start_service(data, mqtt, http)
            sending.join()
            found = _settled(data, count)
            service.terminate()
            service.wait()
        return {"sent": count, "acknowledged by broker": sender.acknowledged, **found}


def _settled(data: Path, count: int) -> dict[str, int]:
    """The record once all is understood; waits while it still grows towards what was sent."""
    from adapters.sql.work import SqlStore

    store = SqlStore(f"sqlite:///{data / 'record.sqlite'}")
    reader, end = store.reader(), time.monotonic() + SETTLE_S
    while time.monotonic() < end:
        with store._engine.connect() as connection:  # the rig looks behind the Reader
            keys = connection.exec_driver_sql("SELECT count(*), count(DISTINCT seq) FROM pack_key").one()
            readings = connection.exec_driver_sql("SELECT count(*) FROM reading").scalar_one()
            presses = connection.exec_driver_sql("SELECT count(*) FROM press").scalar_one()
        counts = reader.counts()
        if keys[1] == count and counts.pending == 0:
            break
        time.sleep(0.2)
    store.close()
    return {
        "lost": count - keys[1],
        "doubled": (keys[0] - keys[1]) + (readings - keys[1]) + (presses - keys[1] // 10),
        "delivered twice and recognised": counts.duplicates,
        "set aside": counts.quarantined + counts.unexpected,
    }


def main() -> None:
    kind = sys.argv[1] if len(sys.argv) > 1 else "mosquitto"
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 20_000
    found = survive(kind, count)
    print(f"{kind}: " + ", ".join(f"{name} {number}" for name, number in found.items()))
    sys.exit(1 if found["lost"] or found["doubled"] or found["set aside"] else 0)


if __name__ == "__main__":
    main()
