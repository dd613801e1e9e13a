"""A broker in a folder of its own for each test, and MQTT clients that write down what they hear."""

import contextlib
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest

from adapters.broker import EmbeddedBroker

PATIENCE_S = 10.0  # a test that waits so long has failed


class Listener:
    """An MQTT 3.1.1 client (OASIS, 2014) that keeps (topic, payload, packet identifier, DUP, retained) of each message."""

    def __init__(self, client_id: str = "", *, persistent: bool = False, acknowledge: bool = True) -> None:
        self.client = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=not persistent,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        self.acknowledge = acknowledge
        self.heard: list[tuple[str, bytes, int, bool, bool]] = []
        self.refusal = ""
        self._changed = threading.Condition()
        self._connected = False
        self._subscribed = False
        self.client.on_connect = self._on_connect
        self.client.on_subscribe = self._on_subscribe
        self.client.on_message = self._on_message

    def connect(self, broker: Any) -> "Listener":
        """`broker` has `url` and `port`; returns when it has answered."""
        self.client.connect("127.0.0.1" if "://127" in broker.url else "localhost", broker.port)
        self.client.loop_start()
        assert self.wait_for(lambda: self._connected or bool(self.refusal))
        return self

    def subscribe(self, topic: str) -> "Listener":
        self.client.subscribe(topic, qos=1)
        assert self.wait_for(lambda: self._subscribed)
        return self

    def publish(self, topic: str, payload: str, *, retain: bool = False) -> None:
        """Returns when the broker has acknowledged it."""
        self.client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(PATIENCE_S)

    def wait_for(self, fulfilled: Callable[[], bool]) -> bool:
        with self._changed:
            return self._changed.wait_for(fulfilled, PATIENCE_S)

    def wait_for_messages(self, number: int) -> list[bytes]:
        self.wait_for(lambda: len(self.heard) >= number)
        return [payload for _, payload, *_ in self.heard]

    def cut(self) -> None:
        """Lose the connection without a DISCONNECT, as when the power fails."""
        connection = self.client.socket()
        assert connection is not None
        with contextlib.suppress(OSError):
            connection.shutdown(2)
        self.client.loop_stop()

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def _on_connect(self, client: Any, data: Any, flags: Any, reason: Any, properties: Any) -> None:
        with self._changed:
            self._connected = not reason.is_failure
            self.refusal = str(reason) if reason.is_failure else ""
            self._changed.notify_all()

    def _on_subscribe(self, *arguments: Any) -> None:
        with self._changed:
            self._subscribed = True
            self._changed.notify_all()

    def _on_message(self, client: Any, data: Any, message: mqtt.MQTTMessage) -> None:
        with self._changed:
            self.heard.append((message.topic, message.payload, message.mid, message.dup, message.retain))
            if self.acknowledge:
                self.client.ack(message.mid, message.qos)
            self._changed.notify_all()


@pytest.fixture
def make_broker(tmp_path: Path) -> Iterator[Callable[..., EmbeddedBroker]]:
    made: list[EmbeddedBroker] = []

    def make(**settings: Any) -> EmbeddedBroker:
        made.append(EmbeddedBroker(tmp_path, settings.pop("port", 0), **settings))
        return made[-1]

    yield make
    for broker in made:
        broker.stop()


@pytest.fixture
def make_listener() -> Iterator[Callable[..., Listener]]:
    made: list[Listener] = []

    def make(*arguments: Any, **settings: Any) -> Listener:
        made.append(Listener(*arguments, **settings))
        return made[-1]

    yield make
    for listener in made:
        listener.close()
