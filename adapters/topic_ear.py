"""Listens to the topics of one chime at a broker for a while, and leaves no trace there: a clean session, nothing acknowledged for others.

Tells what a listener of the service does not need: the quality of service and whether a message was retained.
"""

import queue
import ssl
import time
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

from paho.mqtt.client import Client, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from adapters.mqtt import CONNECT_WITHIN_S, KEEPALIVE_S, BrokerAccess
from service.chime_check import Message
from service.errors import StoreUnavailable
from service.settings import now_s


def messages(access: BrokerAccess, topics: str, for_s: float) -> Iterator[Message]:
    """What comes below `topics` until the time is over. Raises StoreUnavailable where the broker cannot be reached or refuses."""
    arrived: queue.Queue[Message] = queue.Queue()
    joined: queue.Queue[str] = queue.Queue()

    def on_connect(client: Client, _: Any, __: Any, reason: Any, ___: Any) -> None:
        if reason.is_failure:
            joined.put(f"it refuses: {reason}")
        else:
            client.subscribe(topics + "#", 1)

    def on_message(_: Client, __: Any, message: MQTTMessage) -> None:
        kind = getattr(message.properties, "ContentType", None) if message.properties else None
        leaf = message.topic.removeprefix(topics)
        if leaf in ("pack", "alive"):  # the rest is Bellcrank's own
            arrived.put(Message(leaf, bytes(message.payload), now_s(), kind, message.qos, message.retain))

    version = MQTTv5 if access.version == "5" else MQTTv311
    client = Client(CallbackAPIVersion.VERSION2, protocol=version, reconnect_on_failure=False)
    client.on_connect, client.on_message = on_connect, on_message
    client.on_subscribe = lambda *_: joined.put("")
    if access.username:
        client.username_pw_set(access.username, access.password or None)
    parts = urlsplit(access.url)
    try:
        if parts.scheme == "mqtts":
            client.tls_set_context(ssl.create_default_context(cafile=access.ca or None))
        client.connect_timeout = CONNECT_WITHIN_S
        client.connect(parts.hostname or "", parts.port or (8883 if parts.scheme == "mqtts" else 1883), KEEPALIVE_S)
    except (OSError, ValueError) as error:
        raise StoreUnavailable(f"The broker at {access.url} cannot be reached: {error}.") from None
    client.loop_start()
    try:
        if trouble := _first(joined, CONNECT_WITHIN_S, "it does not answer"):
            raise StoreUnavailable(f"The broker at {access.url} cannot be used: {trouble}.")
        end_s = time.monotonic() + for_s
        while (left_s := end_s - time.monotonic()) > 0.0:
            try:
                yield arrived.get(timeout=left_s)
            except queue.Empty:
                break
    finally:
        client.disconnect()
        client.loop_stop()


def _first(joined: "queue.Queue[str]", within_s: float, otherwise: str) -> str:
    try:
        return joined.get(timeout=within_s)
    except queue.Empty:
        return otherwise
