"""Promise: the broker gets each event, acknowledged, and keeps the present state of each chime for whoever comes later."""

import json
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from adapters.mqtt import BrokerAccess
from adapters.outlets.broker import BrokerLine, BrokerSender
from service.retries import Answer
from tests.builders import CHIME, SITE, T0
from tests.ways_out.conftest import letter

PATIENCE_S = 10.0  # a test that waits so long has failed
EVENT, NOW = f"bellcrank/1/{SITE}/{CHIME}/event", f"bellcrank/1/{SITE}/{CHIME}/now"


class Mosquitto:
    """A broker that can be stopped and started, on a port of its own."""

    def __init__(self, folder: Path) -> None:
        with socket.create_server(("127.0.0.1", 0)) as probe:
            self.port = int(probe.getsockname()[1])
        binary = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
        assert binary is not None, "Mosquitto is not installed; deploy/test installs it"
        self._binary, self._configuration = binary, folder / "mosquitto.conf"
        self._configuration.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [self._binary, "-c", str(self._configuration)]
        self._process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            try:
                socket.create_connection(("127.0.0.1", self.port), 0.2).close()
            except OSError:
                continue
            return
        pytest.fail("Mosquitto did not start")

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait()
            self._process = None


class Listener:
    """(topic, payload, QoS, retained) of what came."""

    def __init__(self, port: int, topic: str) -> None:
        self.heard: list[tuple[str, Any, int, bool]] = []
        self._changed, ready = threading.Condition(), threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = self._on_message
        self._client.on_subscribe = lambda *_: ready.set()
        self._client.connect("127.0.0.1", port)
        self._client.subscribe(topic, 1)
        self._client.loop_start()
        assert ready.wait(PATIENCE_S)

    def _on_message(self, _: Client, __: Any, message: Any) -> None:
        with self._changed:
            self.heard.append((message.topic, json.loads(message.payload), message.qos, message.retain))
            self._changed.notify()

    def wait_for(self, number: int) -> list[tuple[str, Any, int, bool]]:
        with self._changed:
            assert self._changed.wait_for(lambda: len(self.heard) >= number, PATIENCE_S)
        return self.heard

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    found = Mosquitto(tmp_path)
    found.start()
    yield found
    found.stop()


@pytest.fixture(params=["3.1.1", "5"])
def line(request: pytest.FixtureRequest, broker: Mosquitto) -> Iterator[BrokerLine]:
    opened = BrokerLine(BrokerAccess(f"mqtt://127.0.0.1:{broker.port}", version=request.param), "bellcrank", 5.0)
    yield opened
    opened.close()


def test_an_event_comes_as_structured_json_at_least_once(broker: Mosquitto, line: BrokerLine) -> None:
    # CloudEvents MQTT binding 1.0.2, section 3: structured mode; QoS 1 and not retained by the contract
    listener = Listener(broker.port, EVENT)
    assert BrokerSender(line).send([letter()], T0) == Answer(True, "acknowledged")
    assert listener.wait_for(1) == [(EVENT, letter().content, 1, False)]
    listener.stop()


def test_the_present_state_is_there_for_whoever_comes_later(broker: Mosquitto, line: BrokerLine) -> None:
    assert line.now(SITE, CHIME, b'{"alive":true}')
    assert line.now(SITE, CHIME, b'{"alive":false}')
    listener = Listener(broker.port, NOW)
    assert listener.wait_for(1) == [(NOW, {"alive": False}, 1, True)]
    listener.stop()


def test_a_broker_that_is_away_has_taken_nothing_and_gets_it_when_it_is_back(
    broker: Mosquitto, line: BrokerLine
) -> None:
    assert line.now(SITE, CHIME, b"{}")
    broker.stop()
    assert not BrokerSender(line).send([letter("1-a")], T0).delivered
    assert not line.now(SITE, CHIME, b"{}")
    broker.start()
    listener = Listener(broker.port, EVENT)
    assert BrokerSender(line).send([letter("1-a")], T0).delivered
    assert [told["id"] for _, told, *_ in listener.wait_for(1)] == ["1-a"]
    listener.stop()


def test_nobody_there_is_told_in_words() -> None:
    line = BrokerLine(BrokerAccess("mqtt://127.0.0.1:1"), "bellcrank")
    assert BrokerSender(line).send([letter()], T0) == Answer(False, "Connection refused")
    line.close()
