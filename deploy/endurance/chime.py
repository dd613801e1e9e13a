"""A light chime: speaks the contract over MQTT, keeps a short backlog, and writes down the truth about itself.

Its clock begins at each power-up and drifts. Its packs are numbered; the oldest go first when the backlog is full, and are counted in
`dropped`; all go with the power. Knows no circuit: its rail is a number.
"""

import json
import time
from collections import deque
from collections.abc import Sequence
from random import Random
from typing import Any, NamedTuple

from adapters.simulated import packing
from adapters.simulated.packing import Record
from deploy.endurance.line import Line, Login
from deploy.endurance.pressing import TICK_S, Shape
from deploy.endurance.truth import Fate, Life, Pack, Press
from deploy.endurance.ways import Way

FLYING = 8
REJOIN_S = (0.3, 2.0)
SENT_KEPT = 300
JUMBLED = 0.3
"""Share of the backlogs that are sent in another order."""

DRIFT = 50e-6
"""Crystals are within some tens of ppm (common practice, no source)."""


class Event(NamedTuple):
    """`at_s` after the start of the run; `what` is the name of a method `_on_…` of `Chime`."""

    at_s: float
    what: str
    detail: Any = None


class Chime:
    """`way` is its network; `limit` packs fit into its backlog."""

    def __init__(self, site: str, name: str, way: Way, login: Login, limit: int, rng: Random, start_s: float) -> None:
        self.life = Life(name, start_s)
        self.rubbish = 0
        """Broken packs that the broker has acknowledged."""
        self.again = 0
        """Packs sent once more."""
        self._way, self._limit, self._rng = way, limit, rng
        self._start_s, self._drift = start_s, rng.uniform(-DRIFT, DRIFT)
        self._device = f"urn:dev:mac:{rng.getrandbits(64):016x}_"
        self._line = Line(f"chime-{name}", f"bellcrank/1/{site}/{name}", login, self)
        self._on_s: float | None = None
        self._off_s = start_s
        self._boot, self._seq, self._dropped, self._last_made_s = rng.randrange(1, 500), 0, 0, 0.0
        self._waiting: deque[Pack] = deque()
        self._flying: dict[int, Pack] = {}
        self._broken: set[int] = set()
        self._sent: deque[bytes] = deque(maxlen=SENT_KEPT)
        self._jumbled, self._rejoin_s = False, 0.0
        self._pressing: Press | None = None

    def happen(self, event: Event) -> None:
        getattr(self, f"_on_{event.what}")(event.detail)

    def tend(self) -> None:
        """Several times a second."""
        self._line.tend()
        if self._on_s is not None and self._line.idle and time.time() >= self._rejoin_s:
            self._line.join(self._way.port)

    @property
    def settled(self) -> bool:
        return self._on_s is not None and not self._waiting and not self._flying

    def calm(self) -> None:
        """Power and network are back for good."""
        self._way.set("open")
        self._on_power_on(None)

    def leave(self) -> None:
        self._line.leave()

    # what a line tells

    def online(self) -> None:
        self._jumbled = self._rng.random() < JUMBLED
        self._fly()

    def gone(self) -> None:
        self._rejoin_s = time.time() + self._rng.uniform(*REJOIN_S)
        self._waiting.extendleft(reversed(self._flying.values()))
        self._flying.clear()
        self._broken.clear()

    def acknowledged(self, packet_id: int) -> None:
        pack = self._flying.pop(packet_id, None)
        if pack is not None:
            pack.fate = Fate.DELIVERED
            self._sent.append(pack.payload)
            self._fly()
        elif packet_id in self._broken:
            self._broken.discard(packet_id)
            self.rubbish += 1

    # what happens to it

    def _on_power_on(self, _: None) -> None:
        if self._on_s is not None:
            return
        now_s = self._on_s = time.time()
        if self.life.packs:
            self.life.powerless.append((self._off_s, now_s))
        else:
            self.life.start_s = now_s
        self._boot, self._seq, self._dropped, self._last_made_s = self._boot + 1, 0, 0, now_s
        self._rejoin_s = now_s
        self._tell([packing.text("load.log", "idle")], now_s)

    def _on_power_off(self, _: None) -> None:
        """Not before anything of it has come through: until then nobody can know that it is there."""
        if self._on_s is None or not self._sent:
            return
        self._off_s, was_online = time.time(), self._line.online
        self._way.vanish()
        self._line.vanish()
        lost = [*self._flying.values(), *self._waiting]
        for pack in lost:
            pack.fate = Fate.POWERLESS
        if lost or not was_online:
            self.life.tails.append((self._last_made_s, self._off_s))
        self._flying.clear()
        self._broken.clear()
        self._waiting.clear()
        self._on_s = None

    def _on_way(self, mode: Any) -> None:
        self._way.set(mode)

    def _on_window(self, span_s: float) -> None:
        if self._on_s is not None:
            mean_v = 14.2 + self._rng.gauss(0.0, 0.05)
            self._tell(
                [
                    packing.value("rail.mean", "V", round(mean_v, 3)),
                    packing.value("rail.min", "V", round(mean_v - 0.3, 3)),
                    packing.value("rail.max", "V", round(mean_v + 0.3, 3)),
                    packing.value("rail.window", "s", round(span_s, 3)),
                ],
                time.time(),
            )

    def _on_press(self, detail: tuple[str, Shape, float]) -> None:
        door, shape, at_s = detail
        self._pressing = Press(self.life.chime, door, self._start_s + at_s, shape)
        self.life.presses.append(self._pressing)

    def _on_part(self, number: int) -> None:
        """The pulses of this part are over."""
        press = self._pressing
        if press is None or self._on_s is None or self._on_s > press.start_s:
            return
        pulses = press.shape.parts[number]
        first = pulses[0][0]
        moved = [((rise - first) * TICK_S, (fall - first) * TICK_S) for rise, fall in pulses]
        now_s = time.time()
        ago_s = (press.start_s + first * TICK_S - now_s) * (1.0 + self._drift)
        told = packing.data(f"{press.door}.edges", packing.edges(moved), round(ago_s, 6))
        press.packs.append(self._tell([told], now_s))

    def _on_again(self, _: None) -> None:
        """Something long delivered, once more."""
        if self._line.online and self._sent:
            self._line.publish("pack", self._rng.choice(self._sent))
            self.again += 1

    def _on_rubbish(self, _: None) -> None:
        if self._line.online:
            self._broken.add(self._line.publish("pack", rubbish(self._rng, self._sent)))

    # packs

    def _tell(self, records: list[Record], now_s: float) -> Pack:
        assert self._on_s is not None
        own = [
            {"bn": self._device, **packing.value("boot", "count", self._boot)},
            packing.text("boot.cause", "power-on"),
            packing.value("seq", "count", self._seq),
            packing.value("up", "s", round((now_s - self._on_s) * (1.0 + self._drift), 6)),
        ]
        if self._dropped:
            own.append(packing.value("dropped", "count", self._dropped))
        pack = Pack(
            self._boot, self._seq, packing.encode([*own, *records]), len(own) + len(records), self._last_made_s, now_s
        )
        self._seq, self._last_made_s = self._seq + 1, now_s
        self.life.packs.append(pack)
        self._waiting.append(pack)
        self._fly()
        while len(self._waiting) + len(self._flying) > self._limit and self._waiting:
            oldest = self._waiting.popleft()
            oldest.fate = Fate.OVERRUN
            self._dropped += oldest.records
        return pack

    def _fly(self) -> None:
        while self._line.online and self._waiting and len(self._flying) < FLYING:
            at = self._rng.randrange(len(self._waiting)) if self._jumbled else 0
            pack = self._waiting[at]
            del self._waiting[at]
            pack.flown = True
            self._flying[self._line.publish("pack", pack.payload)] = pack


def rubbish(rng: Random, sent: Sequence[bytes]) -> bytes:
    """Octets that break the contract, each in another way. None can be taken for a pack."""
    kind = rng.randrange(5)
    if kind == 0:
        return b"\xff" + rng.randbytes(
            rng.randrange(1, 200)
        )  # 0xff begins neither JSON nor CBOR (RFC 8949, 3.2.1: a lone break)
    if kind == 1 and sent:
        whole = rng.choice(sent)
        return whole[: rng.randrange(1, len(whole) - 1)]
    if kind == 2:
        return json.dumps([{"n": "rail.mean", "u": "V", "v": 4000.0 + rng.random()}]).encode()  # no bell has 4 kV
    if kind == 3:
        return json.dumps(
            [{"bver": 99, "n": "boot", "u": "count", "v": rng.randrange(9999)}]
        ).encode()  # no such version
    return b'[{"n":"up","u":"s","v":NaN}]'  # RFC 8259 has no NaN
