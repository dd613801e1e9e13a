"""A chime's MQTT connection: paho's client on asyncio's loop, a new one for each connection, with last will and a way to vanish.

Knows no packs and keeps none: what was in flight when a connection ends is the chime's to send again.
"""

import asyncio
import contextlib
from typing import Any, NamedTuple, Protocol

from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

KEEPALIVE_S = 10


class Login(NamedTuple):
    """`username` is empty where the broker asks for none."""

    username: str = ""
    password: str = ""


class Owner(Protocol):
    """Whom a line tells."""

    def online(self) -> None: ...
    def gone(self) -> None: ...
    def acknowledged(self, packet_id: int) -> None: ...


class Line:
    """`base` is the chime's topic without its last level."""

    def __init__(self, client_id: str, base: str, login: Login, owner: Owner) -> None:
        self._client_id, self._base, self._login, self._owner = client_id, base, login, owner
        self._client: Client | None = None
        self.online = False

    @property
    def idle(self) -> bool:
        """Neither connected nor on the way to it."""
        return self._client is None

    def join(self, port: int) -> None:
        client = self._client = Client(
            CallbackAPIVersion.VERSION2, self._client_id, clean_session=True, protocol=MQTTv311
        )
        if self._login.username:
            client.username_pw_set(*self._login)
        client.will_set(f"{self._base}/alive", b"0", qos=1, retain=True)
        loop = asyncio.get_running_loop()

        def closed(_: Client, __: Any, sock: Any) -> None:
            loop.remove_reader(sock)

        def all_written(_: Client, __: Any, sock: Any) -> None:
            loop.remove_writer(sock)

        client.on_socket_open = lambda c, _, sock: loop.add_reader(sock, c.loop_read)
        client.on_socket_close = closed
        client.on_socket_register_write = lambda c, _, sock: loop.add_writer(sock, c.loop_write)
        client.on_socket_unregister_write = all_written
        client.on_connect, client.on_disconnect, client.on_publish = (
            self._on_connect,
            self._on_disconnect,
            self._on_publish,
        )
        try:
            client.connect("127.0.0.1", port, KEEPALIVE_S)  # to the way beside us, so it does not wait
        except OSError:
            self._ended(client)

    def publish(self, leaf: str, payload: bytes, retain: bool = False) -> int:
        """The packet id that will be acknowledged."""
        assert self._client is not None
        return self._client.publish(f"{self._base}/{leaf}", payload, qos=1, retain=retain).mid

    def tend(self) -> None:
        """Once a second or so: pings, and an end to connections that no longer answer."""
        if self._client is not None:
            self._client.loop_misc()

    def vanish(self) -> None:
        """The power is gone: no DISCONNECT."""
        client, self._client, self.online = self._client, None, False
        if client is not None:
            client.on_disconnect = None
            sock = client.socket()
            if sock is not None:
                loop = asyncio.get_running_loop()
                loop.remove_reader(sock)
                loop.remove_writer(sock)
                client.on_socket_close = client.on_socket_unregister_write = None
                with contextlib.suppress(OSError):
                    sock.close()

    def leave(self) -> None:
        if self._client is not None:
            self._client.on_disconnect = None
            self._client.disconnect()
            self._client, self.online = None, False

    def _on_connect(self, client: Client, _: Any, __: Any, reason: Any, ___: Any) -> None:
        if client is self._client and not reason.is_failure:
            self.online = True
            client.publish(f"{self._base}/alive", b"1", qos=1, retain=True)
            self._owner.online()

    def _on_disconnect(self, client: Client, *_: Any) -> None:
        self._ended(client)

    def _on_publish(self, client: Client, _: Any, packet_id: int, *__: Any) -> None:
        if client is self._client:
            self._owner.acknowledged(packet_id)

    def _ended(self, client: Client) -> None:
        if client is self._client:
            self._client, self.online = None, False
            self._owner.gone()
