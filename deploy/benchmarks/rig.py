"""What the benchmarks share: a broker of their own, packs to send, and a subscriber that does nothing but acknowledge."""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

TOPIC = "bellcrank/1/tern-cottage/hall/pack"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def mosquitto() -> Iterator[int]:
    """Mosquitto with the queue settings of deploy/mosquitto.conf, on a free port and in a folder of its own."""
    found = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    if found is None:
        sys.exit("Mosquitto is not installed; deploy/test installs it.")
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        configuration = Path(folder) / "mosquitto.conf"
        configuration.write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location {folder}/\n"
            "max_queued_messages 0\nmax_inflight_messages 1000\nset_tcp_nodelay true\nuser root\n"
        )
        process = subprocess.Popen([found, "-c", str(configuration)], stderr=subprocess.DEVNULL)
        try:
            wait_for(port)
            yield port
        finally:
            process.terminate()
            process.wait()


def wait_for(port: int, within_s: float = 20.0) -> None:
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.2):
            return
        time.sleep(0.01)
    sys.exit(f"Nothing answers on port {port}.")


def pack(
    seq: int,
    boot: int = 1,
    up_s: float | None = None,
    press: bool | None = None,
    mean_v: float = 14.2,
    door: str = "front",
) -> bytes:
    """A pack of ten records, every tenth with a press unless told; ten seconds apart unless told when."""
    records: list[dict[str, object]] = [
        {"bn": "urn:dev:mac:0024befffe804ff1_", "n": "boot", "u": "count", "v": boot},
        {"n": "seq", "u": "count", "v": seq},
        {"n": "up", "u": "s", "v": 10.0 + 10.0 * seq if up_s is None else up_s},
        {"n": "rail.mean", "u": "V", "v": mean_v},
        {"n": "rail.min", "u": "V", "v": 13.9},
        {"n": "rail.max", "u": "V", "v": 14.5},
        {"n": "rail.window", "u": "s", "v": 10},
        {"n": "reg.mean", "u": "V", "v": 5.01},
        {"n": "temp", "u": "Cel", "v": 19.5},
    ]
    pressed = seq % 10 == 0 if press is None else press
    last = (
        {"n": f"{door}.edges", "t": -0.3, "vd": "AEaCAUaCAUaCAUaCAUaCAUaCAUY"}
        if pressed
        else {"n": "link", "u": "dBW", "v": -92}
    )
    return json.dumps([*records, last], separators=(",", ":")).encode()


def percentiles(seconds: list[float]) -> tuple[float, float]:
    """p50 and p99 [s]."""
    ordered = sorted(seconds)
    return ordered[len(ordered) // 2], ordered[min(len(ordered) - 1, int(len(ordered) * 0.99))]


def subscribe_ahead(port: int, client_id: str) -> None:
    """Begin a persistent session, so that what is published meanwhile waits at the broker."""
    client = Client(CallbackAPIVersion.VERSION2, client_id, clean_session=False, protocol=MQTTv311)
    ready = threading.Event()
    client.on_subscribe = lambda *_: ready.set()
    client.on_connect = lambda c, *_: c.subscribe([(f"bellcrank/1/+/+/{leaf}", 1) for leaf in ("pack", "alive")])
    client.connect("127.0.0.1", port)
    client.loop_start()
    ready.wait(10)
    client.disconnect()
    client.loop_stop()


def publish(port: int, count: int, first: int = 0, boot: int = 1) -> None:
    """Hand `count` packs to the broker, each acknowledged by it."""
    client = Client(CallbackAPIVersion.VERSION2, f"sender-{os.getpid()}", protocol=MQTTv311)
    client.max_inflight_messages_set(200)
    done = threading.Event()
    acknowledged = 0

    def on_publish(*_: object) -> None:
        nonlocal acknowledged
        acknowledged += 1
        if acknowledged == count:
            done.set()

    client.on_publish = on_publish
    client.connect("127.0.0.1", port)
    client.loop_start()
    for seq in range(first, first + count):
        client.publish(TOPIC, pack(seq, boot), 1)
    if not done.wait(120):
        sys.exit("The broker did not acknowledge everything within 120 s.")
    client.disconnect()
    client.loop_stop()
