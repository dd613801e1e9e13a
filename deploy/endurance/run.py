"""One run: builds the house, lets everything happen to it, lets it calm down, and compares the log with the truth.

Everything but the service, the broker and the questions to the API lives on one asyncio loop.
"""

import asyncio
import contextlib
import socket
import time
from pathlib import Path
from random import Random
from typing import Any

from deploy.endurance import plan
from deploy.endurance.chime import Chime, Event
from deploy.endurance.clock import Clock
from deploy.endurance.director import Director, in_turn
from deploy.endurance.disk import Disk
from deploy.endurance.done import Done
from deploy.endurance.log import Api, Logged, Spell
from deploy.endurance.plan import Pace
from deploy.endurance.scoring import Score, score
from deploy.endurance.servers import Broker, Embedded, Mosquitto, Service
from deploy.endurance.truth import Fate
from deploy.endurance.ways import Way
from deploy.endurance.witness import Witness

SITE = "tern-cottage"  # the invented house of all examples
TEND_S = 0.2
START_WITHIN_S = 60.0
SETTLE_WITHIN_S = 60.0
QUIET_S = {"embedded": 6.0, "mosquitto": 3.0}
"""The embedded broker sends again what is unacknowledged after 5 s: what would be doubled has come by then."""

CALM_WINDOW_S = 2.0
LATE_S = 20.0


class Run:
    """`folder` is empty and the rig's own."""

    def __init__(self, kind: str, pace: Pace, chimes: int, seed: int, folder: Path) -> None:
        self.pace, self.done = pace, Done()
        self._kind, self._count, self._seed, self._folder = kind, chimes, seed, folder
        self._clock = Clock(folder / "clock")
        self._disk = Disk(folder / "disk")
        self._witness = Witness()
        mqtt, http = _free_port(), _free_port()
        (folder / "data").mkdir()
        self._broker: Broker = (
            Mosquitto(folder / "broker", mqtt) if kind == "mosquitto" else Embedded(folder / "data", mqtt)
        )
        self._service_way = Way(mqtt, Random(f"{seed} service way"), self._witness.watch)
        self._api, self._http = Api(http), http
        self._chimes: list[Chime] = []

    @property
    def clock_steps(self) -> bool:
        return self._clock.can_step

    @property
    def disk_mounted(self) -> bool:
        return self._disk.mounted

    async def run(self) -> Score:
        """Raises SystemExit where the service does not even start."""
        self._broker.start()
        await self._service_way.open()
        url = f"mqtt://127.0.0.1:{self._service_way.port}" if self._kind == "mosquitto" else ""
        self._service = Service(
            self._folder, self._http, self._disk, self._clock, url, self._broker.port, self._broker.login
        )
        way = self._service_way if url else None
        self._director = Director(
            self._seed, self._service, self._broker, self._disk, self._clock, way, self._api, self.done
        )
        try:
            self._service.start()
            if not await self._service.answers(START_WITHIN_S):
                raise SystemExit(f"bellcrank: the service did not start; see {self._service.log}.")
            return await self._go()
        finally:
            for chime in self._chimes:
                chime.leave()
            await self._service.stop()
            await self._service_way.close()
            self._broker.stop()
            self._disk.remove(self._folder / "record")

    async def _go(self) -> Score:
        ways = [Way(self._broker.port, Random(f"{self._seed} way {number}")) for number in range(self._count)]
        for way in ways:
            await way.open()
        start_s = time.time() + 0.5
        tables: list[list[Event]] = []
        for number, way in enumerate(ways):
            rng = Random(f"{self._seed} chime {number}")
            tables.append(plan.timetable(rng, self.pace, 50.0 if number % 2 else 60.0))
            name = f"hall-{number + 1:02}"
            self._chimes.append(Chime(SITE, name, way, self._broker.login, self.pace.backlog, rng, start_s))
        lasting = [asyncio.create_task(self._tend()), asyncio.create_task(self._director.keep_up())]
        blows = [asyncio.create_task(one) for one in self._director.deal(plan.blows(self._seed, self.pace), start_s)]
        lives = [
            asyncio.create_task(in_turn(start_s, table, chime.happen))
            for chime, table in zip(self._chimes, tables, strict=True)
        ]
        try:
            await asyncio.gather(*lives)
            await asyncio.sleep(max(0.0, start_s + self.pace.seconds - time.time()))
            await asyncio.wait(blows, timeout=LATE_S)  # on a slow machine some are still to come
            until_s = time.time()
            for task in blows:
                task.cancel()
            await asyncio.gather(*blows, return_exceptions=True)
            self._director.calm()
            for chime in self._chimes:
                chime.calm()
            return await self._settle(until_s)
        finally:
            for task in (*lasting, *blows, *lives):
                task.cancel()
            await asyncio.gather(*lasting, *blows, *lives, return_exceptions=True)
            for way in ways:
                await way.close()

    # what lasts

    async def _tend(self) -> None:
        while True:
            for chime in self._chimes:
                chime.tend()
            await asyncio.sleep(TEND_S)

    # the end

    async def _settle(self, until_s: float) -> Score:
        """The comparison once nothing changes for the better any more; presses have ceased, windows go on."""
        began = time.monotonic()
        window_s, result = began, None
        while True:
            if time.monotonic() >= window_s:
                window_s += CALM_WINDOW_S
                for chime in self._chimes:
                    chime.happen(Event(0.0, "window", CALM_WINDOW_S))
            await asyncio.sleep(0.5)
            spent_s = time.monotonic() - began
            if spent_s < QUIET_S[self._kind]:
                continue
            with contextlib.suppress(OSError, ValueError, KeyError):
                logged, spells, health = await asyncio.to_thread(self._ask)
                result = score([chime.life for chime in self._chimes], logged, spells, until_s, self._lost_by_broker())
                self._note(health, spent_s)
                still = health["packs"]["pending"] or not all(chime.settled for chime in self._chimes)
                if not still and not result.lost and not result.uncovered:
                    self.done.settled = True
                    return result
            if spent_s > SETTLE_WITHIN_S:
                if result is None:
                    raise SystemExit(f"bellcrank: the service does not answer any more; see {self._service.log}.")
                return result

    def _ask(self) -> tuple[list[Logged], list[Spell], dict[str, Any]]:
        return self._api.presses(SITE), self._api.blind(SITE), self._api.health()

    def _note(self, health: dict[str, Any], spent_s: float) -> None:
        packs, done = health["packs"], self.done
        done.settled_s, done.pending, done.troubles = spent_s, packs["pending"], health["troubles"]
        done.quarantined, done.duplicates, done.unexpected = (
            packs["quarantined"],
            packs["duplicates"],
            packs["unexpected"],
        )
        done.sent_again = sum(chime.again for chime in self._chimes)
        done.rubbish = sum(chime.rubbish for chime in self._chimes)
        done.packs = sum(len(chime.life.packs) for chime in self._chimes)

    def _lost_by_broker(self) -> set[bytes]:
        """What Mosquitto has acknowledged and the service never; the embedded broker has no such excuse."""
        if self._kind != "mosquitto":
            return set()
        delivered = {p.payload for c in self._chimes for p in c.life.packs if p.fate is Fate.DELIVERED}
        return delivered - self._witness.taken


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
