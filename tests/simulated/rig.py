"""A simulated house on a clock that is set by hand, at a broker that is only pretended; and a reader of its packs."""

import base64
import itertools
import json
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

from adapters.simulated import faults
from adapters.simulated.chime import Life
from adapters.simulated.house import Loop
from adapters.simulated.link import Access, MqttLink
from adapters.simulated.present import Present

BASE = "bellcrank/1/tern-cottage/hall"
START_S = 1_789_380_000.0


class FakeClient:
    """Connects at once while the network is there; every publish is acknowledged at once, or when it is let."""

    def __init__(self, rig: "Rig") -> None:
        self._rig, self._mids = rig, itertools.count(1)
        self.will: tuple[Any, ...] = ()
        self.on_connect: Callable[..., None] = lambda *_: None
        self.on_publish: Callable[..., None] = lambda *_: None
        self.on_message: Callable[..., None] = lambda *_: None

    def will_set(self, *will: Any, **options: Any) -> None:
        self.will = (*will, options)

    def reconnect_delay_set(self, *_: Any) -> None: ...
    def connect_async(self, *_: Any) -> None: ...
    def subscribe(self, *_: Any) -> None: ...
    def disconnect(self) -> None:
        self._rig.said.append((self._rig.now_s, "disconnect", b""))

    def loop_start(self) -> None:
        self.on_connect(self, None, None, SimpleNamespace(is_failure=False), None)

    def loop_stop(self) -> None: ...
    def socket(self) -> Any:
        return SimpleNamespace(close=lambda: self._rig.said.append((self._rig.now_s, "closed", b"")))

    def publish(self, topic: str, payload: bytes, qos: int, retain: bool = False) -> Any:
        assert qos == 1
        mid = next(self._mids)
        self._rig.said.append((self._rig.now_s, topic.removeprefix(BASE + "/"), payload))
        if self._rig.acknowledges:
            self.on_publish(self, None, mid, None, None)
        return SimpleNamespace(mid=mid, wait_for_publish=lambda _: None)


class Rig:
    """`said`: (moment since the start [s], "pack" | "alive" | "closed" | "disconnect", payload), in order."""

    def __init__(
        self,
        fault: str | None = None,
        severity: float = 0.5,
        cbor: bool = False,
        at_s: float = 0.0,
        goes_on: Life | None = None,
        next_boot: Callable[[], int] | None = None,
    ) -> None:
        self.now_s = at_s
        self.said: list[tuple[float, str, bytes]] = []
        self.acknowledges = True
        self.clients: list[FakeClient] = []
        self.boots = itertools.count(1)
        self.loop = Loop(lambda: START_S + self.now_s)
        link = MqttLink(Access("mqtt://nowhere"), BASE, "hall", self.loop.nudge, self.loop.ask, self._client)
        self.loop.link = link
        self.loop.present = Present(
            faults.apply(fault, severity),
            link,
            next_boot or (lambda: next(self.boots)),
            START_S + at_s,
            cbor=cbor,
            goes_on=goes_on,
        )
        self.loop.turn()

    def _client(self, _: str) -> FakeClient:
        self.clients.append(FakeClient(self))
        return self.clients[-1]

    def ask(self, **request: Any) -> dict[str, Any]:
        """As the control port would."""
        answer = self.loop._leave(request)
        self.loop.turn()
        return answer.result(0)

    def run(self, until_s: float) -> None:
        """Move the clock on, as the loop would wait."""
        while self.now_s < until_s:
            self.now_s = min(self.now_s + max(self.loop.present.wait_s(START_S + self.now_s), 0.0005), until_s)
            self.loop.turn()

    def packs(self, since_s: float = 0.0) -> list[tuple[float, dict[str, Any]]]:
        """JSON packs sent from that moment on, each as name -> value (vd decoded), with `name@` -> t."""
        return [(at_s, read(octets)) for at_s, what, octets in self.said if what == "pack" and at_s >= since_s]

    def pulses(self, door: str, since_s: float = 0.0) -> list[tuple[float, float]]:
        """Pulses told as edges, in seconds since the start by the chime's clock (which started with it)."""
        found = []
        for _, pack in self.packs(since_s):
            if f"{door}.edges" in pack:
                origin = pack["up"] + pack.get(f"{door}.edges@", 0.0)
                moments = [origin + t for t in itertools.accumulate(leb128(pack[f"{door}.edges"]))]
                found += list(zip(moments[::2], moments[1::2], strict=True))
        return found


def read(octets: bytes) -> dict[str, Any]:
    """A JSON pack, read from RFC 8428 alone. Of several records of one name the last one stands."""
    found: dict[str, Any] = {}
    for record in json.loads(octets):
        name = record["n"]
        data = record.get("vd")
        if data is not None:
            found[name] = base64.urlsafe_b64decode(data + "=" * (-len(data) % 4))
        else:
            found[name] = next(record[label] for label in ("v", "vs", "vb") if label in record)
        if "t" in record:
            found[name + "@"] = record["t"]
    return found


def leb128(octets: bytes) -> list[float]:
    """Unsigned LEB128 ticks of 100 microseconds, in seconds (the contract, Edges)."""
    numbers, number, shift = [], 0, 0
    for octet in octets:
        number |= (octet & 0x7F) << shift
        shift += 7
        if not octet & 0x80:
            numbers.append(number * 1e-4)
            number, shift = 0, 0
    return numbers
