"""Listens at the broker: receive, hand over, acknowledge only after the commit.

A persistent session and QoS 1 make the broker keep what was not acknowledged. Packet ids are numbered anew in each connection,
so what is owed to a connection is forgotten with it: an old id could acknowledge another, uncommitted message.

paho's client is driven from the keeper's own thread (its documented external loop), so that reading, committing and acknowledging
take turns without a lock. Only connecting, which can block, has a thread of its own. Knows no packs.
"""

import logging
import select
import ssl
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from service.errors import SettingError
from service.health import Health
from service.mapping import Translator
from service.model import Arrival
from service.ports import Clock

log = logging.getLogger(__name__)

KEEPALIVE_S = 30
SESSION_EXPIRY_S = 7 * 86400
"""MQTT 5 brokers keep the session of an absent service this long; 3.1.1 brokers by their own setting."""

RETRY_MIN_S, RETRY_MAX_S = 0.5, 15.0
CONNECT_WITHIN_S = 5.0
MISC_EVERY_S = 1.0


@dataclass(frozen=True, slots=True)
class BrokerAccess:
    """Where and how to connect. `version` is "3.1.1" or "5"; `ca` a file with a private CA's certificate, or empty."""

    url: str
    username: str = ""
    password: str = ""
    ca: str = ""
    version: str = "3.1.1"
    client_id: str = "bellcrank"


class Listener:
    """One connection to one broker (a `keeper.Source`). Everything but `_connect` runs in the keeper's thread.

    An exception in one of paho's callbacks comes out of `collect` and ends the process, rather than leave it deaf.
    """

    def __init__(
        self, access: BrokerAccess, prefix: str, health: Health, clock: Clock, translator: Translator | None = None
    ) -> None:
        self._translator = translator or Translator(())
        self._access, self._prefix, self._health, self._clock = access, prefix, health, clock
        self._host, self._port, tls = _parse(access.url)
        self._collected: list[Arrival] = []
        self._owed: list[tuple[int, int]] = []  # (packet id, QoS) received in this connection, not yet acknowledged
        self._connecting: threading.Thread | None = None
        self._connect_error: str | None = None  # words: the exception would keep its socket open
        self._started = False
        self._retry_s, self._next_try, self._next_misc = RETRY_MIN_S, 0.0, 0.0
        self._client = self._build(tls)
        health.broker, health.broker_since_s = f"{self._host}:{self._port}", clock()

    # keeper.Source

    def wait(self, waker: int, timeout_s: float) -> bool:
        """Sleep until something came from the broker, `waker` is readable, or the time is over. True: from the broker."""
        sock = self._client.socket() if self._connecting is None else None
        if sock is None:
            select.select([waker], [], [], min(timeout_s, 0.05))
            return False
        if _buffered(sock):
            return True
        wanted: list[Any] = [sock] if self._client.want_write() else []
        readable, writable, _ = select.select(list[Any]((sock, waker)), wanted, [], timeout_s)
        if writable:
            self._client.loop_write()
        return sock in readable

    def collect(self, limit: int) -> list[Arrival]:
        """What has come, without waiting. It stays owed to the broker until `kept`."""
        if self._tend():
            quiet = 0
            while quiet < 2 and len(self._collected) < limit and self._client.socket() is not None:
                before = len(self._collected)
                self._client.loop_read()
                quiet = 0 if len(self._collected) > before else quiet + 1
        collected, self._collected = self._collected, []
        return collected

    def kept(self) -> None:
        """All that was collected is on the disk: acknowledge it."""
        owed, self._owed = self._owed, []
        for packet_id, qos in owed:
            self._client.ack(packet_id, qos)

    def stop(self) -> None:
        """Say goodbye; the broker keeps the session."""
        if self._connecting is not None:
            self._connecting.join(CONNECT_WITHIN_S)
        self._client.on_disconnect = None  # it is no trouble
        self._client.disconnect()

    # the connection

    def _tend(self) -> bool:
        """See to the connection; whether there is one to read from."""
        now = time.monotonic()
        if self._connecting is not None:
            if self._connecting.is_alive():
                return False
            self._connecting = None
            if self._connect_error is not None:
                self._try_later(now)
                self._trouble(f"The broker at {self._health.broker} does not answer: {self._connect_error}.")
                return False
        if self._client.socket() is None:
            if now >= self._next_try:
                self._owed.clear()
                self._connecting = threading.Thread(target=self._connect, name="connecting", daemon=True)
                self._connecting.start()
            return False
        if now >= self._next_misc:
            self._next_misc = now + MISC_EVERY_S
            self._client.loop_misc()
        return self._client.socket() is not None

    def _connect(self) -> None:
        self._connect_error = None
        try:
            if self._started:
                self._client.reconnect()
                return
            options: dict[str, Any] = {}
            if self._access.version == "5":  # without clean_start=False each start would wipe the session
                properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
                properties.SessionExpiryInterval = SESSION_EXPIRY_S
                options = {"clean_start": False, "properties": properties}
            self._client.connect(self._host, self._port, KEEPALIVE_S, **options)
            self._started = True
        except OSError as error:  # TLS errors are OSErrors too
            self._connect_error = _reason(error)

    def _try_later(self, now: float) -> None:
        self._next_try = now + self._retry_s
        self._retry_s = min(2 * self._retry_s, RETRY_MAX_S)

    def _build(self, tls: bool) -> Client:
        version = MQTTv5 if self._access.version == "5" else MQTTv311
        clean = None if version == MQTTv5 else False
        client = Client(
            CallbackAPIVersion.VERSION2, self._access.client_id, clean_session=clean, protocol=version, manual_ack=True
        )
        if self._access.username:
            client.username_pw_set(self._access.username, self._access.password or None)
        if tls:
            try:
                client.tls_set_context(ssl.create_default_context(cafile=self._access.ca or None))
            except OSError as error:
                raise SettingError(f"The CA file {self._access.ca} cannot be used: {_reason(error)}.") from None
        client.connect_timeout = CONNECT_WITHIN_S
        client.on_connect, client.on_subscribe = self._on_connect, self._on_subscribe
        client.on_disconnect, client.on_message = self._on_disconnect, self._on_message
        return client

    # called by paho

    def _on_connect(self, client: Client, _: Any, flags: ConnectFlags, reason: ReasonCode, __: Any) -> None:
        if reason.is_failure:
            self._trouble(f"The broker at {self._health.broker} refuses Bellcrank: {reason}.")
            return
        log.info("Connected to the broker, session %s", "taken up again" if flags.session_present else "new")
        own = [(f"{self._prefix}/1/+/+/pack", 1), (f"{self._prefix}/1/+/+/alive", 1)]
        client.subscribe([*own, *((name, 1) for name in self._translator.filters)])

    def _on_subscribe(self, _: Client, __: Any, ___: int, reasons: list[ReasonCode], ____: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            self._trouble(
                f"The broker at {self._health.broker} does not let Bellcrank read {self._prefix}/1/#; give it that right."
            )
            return
        self._retry_s = RETRY_MIN_S
        self._health.broker_connected, self._health.broker_trouble = True, None
        self._health.broker_since_s = self._clock()

    def _on_disconnect(self, _: Client, __: Any, flags: DisconnectFlags, reason: ReasonCode, ____: Any) -> None:
        self._owed.clear()
        self._try_later(time.monotonic())
        if self._health.broker_connected:
            self._trouble(f"The connection to the broker at {self._health.broker} is lost.")

    def _on_message(self, _: Client, __: Any, message: MQTTMessage) -> None:
        properties = message.properties
        content_type = getattr(properties, "ContentType", None) if properties else None
        packet_id = message.mid if message.qos else None
        topic, payload, received_s = message.topic, bytes(message.payload), self._clock()
        if topic.startswith(f"{self._prefix}/1/"):
            self._collected.append(Arrival(topic, payload, received_s, "mqtt", content_type, message.dup, packet_id))
        else:  # one message may tell of several things; a packet id names only one
            for said in self._translator.translate(topic, payload, received_s, message.retain, message.dup):
                place = f"{self._prefix}/1/{said.site}/{said.chime}/{said.leaf}"
                self._collected.append(Arrival(place, said.payload, received_s))
        if message.qos:
            self._owed.append((message.mid, message.qos))

    def _trouble(self, sentence: str) -> None:
        if self._health.broker_connected or self._health.broker_trouble is None:
            self._health.broker_since_s = self._clock()
        if sentence != self._health.broker_trouble:
            log.warning("%s", sentence)
        self._health.broker_connected, self._health.broker_trouble = False, sentence


def _buffered(sock: Any) -> bool:
    """Whether TLS has already read more from the network than it was asked for; select would not see that."""
    pending: Callable[[], int] | None = getattr(sock, "pending", None)
    return pending is not None and pending() > 0


def _reason(error: OSError) -> str:
    return error.strerror or str(error)


def _parse(url: str) -> tuple[str, int, bool]:
    parts = urlsplit(url)
    try:
        port = parts.port
    except ValueError:
        port = -1
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or port == -1:
        raise SettingError(f"{url!r} is no broker address; write mqtt://host:port or mqtts://host:port.")
    tls = parts.scheme == "mqtts"
    return parts.hostname, port or (8883 if tls else 1883), tls
