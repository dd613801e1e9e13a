"""Listens at the broker: receive, hand over, acknowledge only after the commit.

A persistent session and QoS 1 make the broker keep what was not acknowledged. Packet ids are numbered anew in each
connection, so an acknowledgement that comes after its connection has gone is dropped: it could acknowledge another, uncommitted message.
Knows no packs.
"""

import logging
import socket
import ssl
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from service.errors import SettingError, StoreUnavailable
from service.health import Health
from service.keeper import Parcel
from service.model import Arrival
from service.ports import Clock

log = logging.getLogger(__name__)

KEEPALIVE_S = 30
SESSION_EXPIRY_S = 7 * 86400
"""MQTT 5 brokers keep the session of an absent service this long; 3.1.1 brokers by their own setting."""

RETRY_MIN_S, RETRY_MAX_S = 1, 15


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
    """One connection to one broker. `run` in a thread of its own until `stop`; any bug ends the thread with its exception."""

    def __init__(
        self, access: BrokerAccess, prefix: str, submit: Callable[[Parcel], None], health: Health, clock: Clock
    ) -> None:
        self._access, self._prefix, self._submit, self._health, self._clock = access, prefix, submit, health, clock
        self._host, self._port, tls = _parse(access.url)
        self._generation = 0
        self._lock = threading.Lock()  # between an acknowledgement and the change of connection
        self._client = self._build(tls)
        health.broker, health.broker_since_s = f"{self._host}:{self._port}", clock()

    def run(self) -> None:
        connect: dict[str, Any] = {}
        if self._access.version == "5":  # without clean_start=False each start would wipe the session
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = SESSION_EXPIRY_S
            connect = {"clean_start": False, "properties": properties}
        self._client.connect_async(self._host, self._port, KEEPALIVE_S, **connect)
        self._client.loop_forever(retry_first_connection=True)

    def stop(self) -> None:
        self._client.disconnect()

    def _build(self, tls: bool) -> Client:
        version = MQTTv5 if self._access.version == "5" else MQTTv311
        client = Client(
            CallbackAPIVersion.VERSION2,
            self._access.client_id,
            protocol=version,
            manual_ack=True,
            clean_session=None if version == MQTTv5 else False,
        )
        if self._access.username:
            client.username_pw_set(self._access.username, self._access.password or None)
        if tls:
            try:
                client.tls_set_context(ssl.create_default_context(cafile=self._access.ca or None))
            except (OSError, ssl.SSLError) as error:
                raise SettingError(f"The CA file {self._access.ca} cannot be read: {error}.") from None
        client.reconnect_delay_set(RETRY_MIN_S, RETRY_MAX_S)
        client.connect_timeout = 5.0
        client.on_connect, client.on_disconnect, client.on_message = (
            self._on_connect,
            self._on_disconnect,
            self._on_message,
        )
        client.on_connect_fail, client.on_subscribe = self._on_connect_fail, self._on_subscribe
        client.on_pre_connect = lambda *_: self._next_generation()
        return client

    # called by paho in the thread of `run`; an exception here ends that thread, and with it the process

    def _on_connect(self, client: Client, _: Any, flags: ConnectFlags, reason: ReasonCode, __: Any) -> None:
        if reason.is_failure:
            self._trouble(f"The broker at {self._health.broker} refuses Bellcrank: {reason}.")
            return
        log.info(
            "Connected to the broker at %s%s", self._health.broker, "" if flags.session_present else ", new session"
        )
        client.subscribe([(f"{self._prefix}/1/+/+/pack", 1), (f"{self._prefix}/1/+/+/alive", 1)])

    def _on_subscribe(self, _: Client, __: Any, ___: int, reasons: list[ReasonCode], ____: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            self._trouble(
                f"The broker at {self._health.broker} does not let Bellcrank read {self._prefix}/1/…: check its access rights."
            )
            return
        self._health.broker_connected, self._health.broker_trouble, self._health.broker_since_s = (
            True,
            None,
            self._clock(),
        )

    def _on_connect_fail(self, client: Client, _: Any) -> None:
        self._trouble(f"The broker at {self._health.broker} does not answer.{self._why()}")

    def _on_disconnect(self, _: Client, __: Any, flags: DisconnectFlags, reason: ReasonCode, ____: Any) -> None:
        self._next_generation()
        if not self._health.broker_trouble:
            self._trouble(f"The connection to the broker at {self._health.broker} is lost.")

    def _on_message(self, client: Client, _: Any, message: MQTTMessage) -> None:
        generation, packet_id = self._generation, message.mid
        properties = message.properties
        arrival = Arrival(
            message.topic,
            bytes(message.payload),
            self._clock(),
            "mqtt",
            getattr(properties, "ContentType", None) if properties else None,
            message.dup,
            packet_id if message.qos else None,
        )
        try:
            self._submit(Parcel(arrival, lambda: self._acknowledge(client, generation, packet_id, message.qos)))
        except StoreUnavailable:
            return  # stopping: the broker keeps it

    def _acknowledge(self, client: Client, generation: int, packet_id: int, qos: int) -> None:
        """Called by the keeper when the message is on the disk."""
        with self._lock:
            if generation == self._generation and client.ack(packet_id, qos) == MQTTErrorCode.MQTT_ERR_NO_CONN:
                log.info("Acknowledgement %d came after its connection had gone", packet_id)

    def _next_generation(self) -> None:
        with self._lock:
            self._generation += 1

    def _trouble(self, sentence: str) -> None:
        if self._health.broker_connected or self._health.broker_trouble is None:
            self._health.broker_since_s = self._clock()
        if sentence != self._health.broker_trouble:
            log.warning("%s", sentence)
        self._health.broker_connected, self._health.broker_trouble = False, sentence

    def _why(self) -> str:
        """What stands in the way of a connection, asked once more since paho does not tell."""
        try:
            with socket.create_connection((self._host, self._port), 2.0):
                return " It accepts connections, but not the TLS or the protocol that was tried."
        except OSError as error:
            return f" {error.strerror or error}."


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
