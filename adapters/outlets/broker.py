"""Letters to the broker at which this bridge listens: CloudEvents as structured JSON on `event`, and the present state, retained, on `now`.

A connection of its own, since the listener's is owed acknowledgements in order. QoS 1: a letter is delivered when the broker has
acknowledged it (CloudEvents MQTT binding 1.0.2, section 3: over 3.1.1 structured JSON only). Knows no record.
"""

import json
import ssl
import threading
from collections.abc import Sequence
from contextlib import suppress
from typing import Any
from urllib.parse import urlsplit

from paho.mqtt.client import Client, MQTTMessageInfo, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from adapters.mqtt import CONNECT_WITHIN_S, KEEPALIVE_S, BrokerAccess
from service import topics
from service.cloud_events import CONTENT_TYPE, place_of
from service.model import Address
from service.outbox_ports import Letter
from service.retries import Answer

WITHIN_S = 10.0
"""For the broker to acknowledge [s]."""


class BrokerLine:
    """One connection, opened when it is first needed and again when it is lost. Safe from any thread.

    `publish` waits for the acknowledgement, so nothing is queued here: what was not acknowledged is the caller's to send again.
    """

    def __init__(self, access: BrokerAccess, prefix: str, within_s: float = WITHIN_S) -> None:
        self._access, self._prefix, self._within_s = access, prefix, within_s
        self._lock = threading.Lock()
        self._client: Client | None = None

    def tell(self, site: str, chime: str, leaf: str, payload: bytes, retain: bool = False) -> Answer:
        """One message on a topic of the contract."""
        topic = topics.build(Address(site, chime, leaf), self._prefix)
        with self._lock:
            try:
                client = self._connected()
                sent = client.publish(topic, payload, 1, retain, self._properties(leaf))
                self._acknowledged(sent)
            except (OSError, ValueError, RuntimeError) as error:
                self._drop()
                return Answer(False, _reason(error))
        return Answer(True, "acknowledged")

    def now(self, site: str, chime: str, payload: bytes) -> bool:
        """The present state of a chime, retained; whether the broker has it."""
        return self.tell(site, chime, "now", payload, retain=True).delivered

    def close(self) -> None:
        with self._lock:
            self._drop()

    def _connected(self) -> Client:
        if self._client is not None and self._client.is_connected():
            return self._client
        self._drop()
        access, ready = self._access, threading.Event()
        version = MQTTv5 if access.version == "5" else MQTTv311
        client = Client(
            CallbackAPIVersion.VERSION2, f"{access.client_id}-out", protocol=version, reconnect_on_failure=False
        )
        if access.username:
            client.username_pw_set(access.username, access.password or None)
        parts = urlsplit(access.url)
        if parts.scheme == "mqtts":
            client.tls_set_context(ssl.create_default_context(cafile=access.ca or None))
        refused: list[str] = []

        def on_connect(_: Client, __: Any, ___: Any, reason: Any, ____: Any) -> None:
            if reason.is_failure:
                refused.append(str(reason))
            ready.set()

        client.on_connect = on_connect
        client.connect_timeout = CONNECT_WITHIN_S
        client.connect(parts.hostname or "", parts.port or (8883 if parts.scheme == "mqtts" else 1883), KEEPALIVE_S)
        client.loop_start()
        self._client = client
        if not ready.wait(CONNECT_WITHIN_S):
            raise TimeoutError("the broker did not answer in time")
        if refused:
            raise ConnectionRefusedError(f"the broker refuses Bellcrank: {refused[0]}")
        return client

    def _acknowledged(self, sent: MQTTMessageInfo) -> None:
        if sent.rc != MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise ConnectionError("the connection to the broker is lost")
        sent.wait_for_publish(self._within_s)
        if not sent.is_published():
            raise TimeoutError("the broker did not acknowledge in time")

    def _properties(self, leaf: str) -> Properties | None:
        if self._access.version != "5":
            return None
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        properties.ContentType = CONTENT_TYPE if leaf == "event" else "application/json"
        return properties

    def _drop(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            with suppress(OSError, ValueError):
                client.disconnect()
            client.loop_stop()


class BrokerSender:
    """A `Sender` on a line that others use too."""

    def __init__(self, line: BrokerLine) -> None:
        self._line = line

    def send(self, letters: Sequence[Letter], now_s: float) -> Answer:
        (letter,) = letters
        site, chime = place_of(letter.content)
        payload = json.dumps(letter.content, separators=(",", ":"), ensure_ascii=False).encode()
        return self._line.tell(site, chime, "event", payload)

    def close(self) -> None:
        """The line stays: it is not this one's."""


def _reason(error: Exception) -> str:
    return str(getattr(error, "strerror", None) or error or type(error).__name__)
