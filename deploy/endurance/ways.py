"""The network between a chime (or the service) and the broker: a TCP relay that stalls, refuses, delays and forgets to say goodbye.

A stall keeps what was sent and delivers it afterwards, also from a connection that was given up meanwhile: so a packet can come
twice and late. Knows no MQTT.
"""

import asyncio
import contextlib
import socket
import struct
from collections.abc import Callable
from random import Random
from typing import Literal

Mode = Literal["open", "stalled", "refused", "slow"]

SLOW_S = 2.0
"""The longest that a slow way holds back what it carries [s]."""

Watcher = Callable[[bytes, bool], None]
"""Called with all octets of one connection as they are read: (octets, whether they go towards the broker)."""


class Way:
    """A port of its own that leads to the broker's. `watch` makes a watcher for each connection."""

    def __init__(self, target: int, rng: Random, watch: Callable[[], Watcher] | None = None) -> None:
        self._target, self._rng, self._watch = target, rng, watch
        self._mode: Mode = "open"
        self._passable = asyncio.Event()
        self._passable.set()
        self._crossings: set[_Crossing] = set()
        self._server: asyncio.Server | None = None
        self.port = 0

    async def open(self) -> None:
        self._server = await asyncio.start_server(self._carry, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]

    def set(self, mode: Mode) -> None:
        """From now on. "refused" cuts what is open as well."""
        self._mode = mode
        if mode == "stalled":
            self._passable.clear()
        else:
            self._passable.set()
        if mode == "refused":
            for crossing in list(self._crossings):
                crossing.cut()

    def vanish(self) -> None:
        """Who is connected loses its power: the broker hears nothing more, not even that the connection is closed."""
        for crossing in self._crossings:
            crossing.ghost = True

    async def close(self) -> None:
        if self._server is not None:
            self._server.close()
        for crossing in list(self._crossings):
            crossing.cut()

    async def _carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self._mode == "refused":
            _reset(writer)
            return
        try:
            up_reader, up_writer = await asyncio.open_connection("127.0.0.1", self._target)
        except OSError:
            _reset(writer)
            return
        crossing = _Crossing(writer, up_writer)
        self._crossings.add(crossing)
        watcher = self._watch() if self._watch else None
        upward = asyncio.create_task(self._pump(reader, up_writer, crossing, True, watcher))
        downward = asyncio.create_task(self._pump(up_reader, writer, crossing, False, watcher))
        try:
            await asyncio.wait([upward, downward], return_when=asyncio.FIRST_COMPLETED)
            if crossing.ghost and not downward.done():
                await downward  # until the broker gives it up
        finally:
            upward.cancel()
            downward.cancel()
            crossing.close()
            self._crossings.discard(crossing)

    async def _pump(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        crossing: "_Crossing",
        upward: bool,
        watcher: Watcher | None,
    ) -> None:
        with contextlib.suppress(OSError):
            while octets := await reader.read(65536):
                if watcher is not None:
                    watcher(octets, upward)
                if self._mode == "slow":
                    await asyncio.sleep(self._rng.uniform(0.0, SLOW_S))
                await self._passable.wait()
                if crossing.ghost and not upward:
                    continue
                writer.write(octets)
                await writer.drain()


class _Crossing:
    """One connection on its way. `ghost`: the near end is gone, and the broker does not know."""

    def __init__(self, near: asyncio.StreamWriter, far: asyncio.StreamWriter) -> None:
        self._near, self._far = near, far
        self.ghost = False

    def cut(self) -> None:
        _reset(self._near)
        _reset(self._far)

    def close(self) -> None:
        self._near.close()
        self._far.close()


def _reset(writer: asyncio.StreamWriter) -> None:
    """RST rather than FIN."""
    connection = writer.get_extra_info("socket")
    with contextlib.suppress(OSError):
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    writer.transport.abort()
