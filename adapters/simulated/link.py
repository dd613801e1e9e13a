"""The simulated chime's MQTT: a bounded backlog, order kept, presence with last will, and a way to vanish without a word.

Callbacks of the client run in its own thread and only leave a note; everything else happens in the thread that calls
`work`. Knows no packs.
"""

import logging
import ssl
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from service.errors import SettingError

log = logging.getLogger(__name__)

BACKLOG_PACKS = 2000
"""A day of windows and some; older packs go first."""

RECORDS_PER_PACK = 10
"""What a pack counts for in `dropped`: its usual number of records."""

FLYING = 20
KEEPALIVE_S = 30
RETRY_MIN_S, RETRY_MAX_S = 1, 8


@dataclass(frozen=True, slots=True)
class Access:
    """`ca`: a file with a private CA's certificate."""

    broker_url: str
    username: str | None = None
    password: str | None = None
    ca: str | None = None

    def address(self) -> tuple[str, int, bool]:
        """(host, port, whether over TLS). Raises SettingError."""
        parts = urlsplit(self.broker_url)
        try:
            port = parts.port
        except ValueError:
            port = None
        if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname:
            raise SettingError(
                f"{self.broker_url!r} is no broker address; write mqtt://host:port or mqtts://host:port."
            )
        tls = parts.scheme == "mqtts"
        return parts.hostname, port or (8883 if tls else 1883), tls


class MqttLink:
    """Satisfies `present.Link`. `nudge` is called, from any thread, when `work` has something to do."""

    def __init__(
        self,
        access: Access,
        base_topic: str,
        client_id: str,
        nudge: Callable[[], None],
        on_ask: Callable[[bytes], None],
        new_client: Callable[[str], Any] | None = None,
    ) -> None:
        self._access, self._base, self._client_id = access, base_topic, client_id
        self._host, self._port, self._tls = access.address()
        self._nudge, self._on_ask = nudge, on_ask
        self._new_client = new_client or (lambda name: Client(CallbackAPIVersion.VERSION2, name))
        self._client: Any = None
        self._online = False
        self._waiting: deque[bytes] = deque()
        self._flying: dict[int, bytes] = {}
        self._notes: deque[tuple[str, Any, Any]] = deque()
        self.dropped = 0

    def send(self, payload: bytes) -> None:
        self._waiting.append(payload)
        self.work()
        while len(self._waiting) + len(self._flying) > BACKLOG_PACKS and self._waiting:
            self._waiting.popleft()
            self.dropped += RECORDS_PER_PACK

    def work(self) -> None:
        """Take up the client's notes, and publish what may fly."""
        while self._notes:
            what, client, detail = self._notes.popleft()
            if what == "ask":
                self._on_ask(detail)
            elif client is not self._client:
                continue
            elif what == "online":
                self._online = True
                client.publish(f"{self._base}/alive", b"1", qos=1, retain=True)
                client.subscribe(f"{self._base}/ask", 1)
            elif what == "lost":
                self._online = False
            else:
                self._flying.pop(detail, None)
        while self._online and self._waiting and len(self._flying) < FLYING:
            payload = self._waiting.popleft()
            self._flying[self._client.publish(f"{self._base}/pack", payload, qos=1).mid] = payload

    def join(self) -> None:
        if self._client is not None:
            return
        client = self._client = self._new_client(self._client_id)
        if self._access.username:
            client.username_pw_set(self._access.username, self._access.password)
        if self._tls:
            try:
                client.tls_set_context(ssl.create_default_context(cafile=self._access.ca or None))
            except (OSError, ssl.SSLError) as error:
                raise SettingError(f"The CA file {self._access.ca} cannot be read: {error}.") from None
        client.will_set(f"{self._base}/alive", b"0", qos=1, retain=True)
        client.reconnect_delay_set(RETRY_MIN_S, RETRY_MAX_S)
        client.on_connect, client.on_disconnect = self._on_connect, self._on_disconnect
        client.on_publish, client.on_message = self._on_publish, self._on_message
        client.connect_async(self._host, self._port, KEEPALIVE_S)
        client.loop_start()

    def lose(self) -> None:
        if self._client is None:
            return
        client, self._client, self._online = self._client, None, False
        client.loop_stop()
        socket = client.socket()
        if socket is not None:
            socket.close()  # no DISCONNECT: the broker tells the last will
        self._waiting.extendleft(reversed(self._flying.values()))
        self._flying.clear()

    def forget(self) -> None:
        self._waiting.clear()
        self.dropped = 0

    def end(self) -> None:
        """Take leave: the presence topic says so."""
        if self._client is None:
            return
        client, self._client = self._client, None
        if self._online:
            client.publish(f"{self._base}/alive", b"0", qos=1, retain=True).wait_for_publish(1.0)
        client.disconnect()
        client.loop_stop()

    # called in the client's thread

    def _on_connect(self, client: Any, _: Any, __: Any, reason: Any, ___: Any) -> None:
        if reason.is_failure:
            log.warning("The broker at %s:%s refuses the simulated chime: %s", self._host, self._port, reason)
            return
        self._note("online", client, None)

    def _on_disconnect(self, client: Any, _: Any, __: Any, ___: Any, ____: Any) -> None:
        self._note("lost", client, None)

    def _on_publish(self, client: Any, _: Any, mid: int, __: Any, ___: Any) -> None:
        self._note("acknowledged", client, mid)

    def _on_message(self, client: Any, _: Any, message: MQTTMessage) -> None:
        self._note("ask", client, bytes(message.payload))

    def _note(self, what: str, client: Any, detail: Any) -> None:
        self._notes.append((what, client, detail))
        self._nudge()
