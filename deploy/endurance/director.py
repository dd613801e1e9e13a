"""Whoever deals the blows: kills the service and the broker, fills the disk, steps the clock, cuts the service off; and starts again
what has ended, as an init system would. Decides nothing: that is the plan's.
"""

import asyncio
import contextlib
import time
from collections.abc import Awaitable, Callable, Coroutine, Sequence
from dataclasses import dataclass
from random import Random
from typing import Any

from deploy.endurance.clock import Clock
from deploy.endurance.disk import Disk
from deploy.endurance.done import Done
from deploy.endurance.log import Api
from deploy.endurance.plan import Blow, Blows
from deploy.endurance.servers import Broker, Service
from deploy.endurance.ways import Way


@dataclass
class Director:
    """`way` lies between service and broker; None where the broker is the service's own."""

    seed: int
    service: Service
    broker: Broker
    disk: Disk
    clock: Clock
    way: Way | None
    api: Api
    done: Done
    _killed: bool = False

    def deal(self, blows: Blows, start_s: float) -> list[Coroutine[Any, Any, None]]:
        """Each kind goes its own way through time."""
        return [
            in_turn(start_s, blows.service_kills, self._kill_service),
            in_turn(start_s, blows.broker_kills, self._kill_broker),
            in_turn(start_s, blows.fills, self._fill),
            in_turn(start_s, blows.steps if self.clock.can_step else [], self._step),
            in_turn(start_s, blows.cuts if self.way else [], self._cut),
        ]

    def calm(self) -> None:
        """All is well again."""
        self.clock.step(0.0)
        self.disk.free()
        if self.way is not None:
            self.way.set("open")
        self.broker.start()

    async def keep_up(self) -> None:
        """Start the service again whenever it has ended, at once after a kill, else after a second."""
        while True:
            if not self.service.running:
                if not self._killed:
                    self.done.exits.append(self.service.exit_code or 0)
                    await asyncio.sleep(1.0)
                self._killed = False
                self.service.start()
                self.done.starts += 1
            await asyncio.sleep(0.05)

    async def _kill_service(self, _: Blow) -> None:
        """Four in five once it answers, the others at whatever it is doing while it starts."""
        if Random(f"{self.seed} {self.done.service_kills}").random() < 0.8:
            await self.service.answers(8.0)
        while not self.service.running:
            await asyncio.sleep(0.05)
        self._killed = True
        self.service.kill()
        self.done.service_kills += 1

    async def _kill_broker(self, _: Blow) -> None:
        """Where it is not there just now, some time after it has come back: else it would nearly always be hit in its first instant."""
        while not self.broker.running:
            while not self.broker.running:
                await asyncio.sleep(0.05)
            await asyncio.sleep(Random(f"{self.seed} pause {self.done.broker_kills}").uniform(0.0, 2.0))
        self.broker.kill()
        self.done.broker_kills += 1
        await asyncio.sleep(Random(f"{self.seed} {self.done.broker_kills}").uniform(0.2, 2.0))
        self.broker.start()

    async def _fill(self, blow: Blow) -> None:
        await asyncio.to_thread(self.disk.fill)
        self.done.fills += 1
        end_s, told = time.monotonic() + blow.value, False
        try:
            while time.monotonic() < end_s:
                with contextlib.suppress(OSError, ValueError):
                    troubles = (await asyncio.to_thread(self.api.health))["troubles"]
                    told = told or any("record" in one for one in troubles)
                await asyncio.sleep(0.5)
        finally:
            self.done.fills_told += told
            self.disk.free()

    async def _step(self, blow: Blow) -> None:
        self.clock.step(blow.value)
        self.done.steps += 1

    async def _cut(self, blow: Blow) -> None:
        assert self.way is not None
        self.way.set(Random(f"{self.seed} cut {self.done.service_cuts}").choice(("stalled", "refused", "slow")))
        self.done.service_cuts += 1
        await asyncio.sleep(blow.value)
        self.way.set("open")


async def in_turn(start_s: float, moments: Sequence[Any], do: Callable[[Any], Awaitable[None] | None]) -> None:
    """Each in its turn, at its moment or as soon as the one before is done."""
    for moment in moments:
        await asyncio.sleep(max(0.0, start_s + moment.at_s - time.time()))
        doing = do(moment)
        if doing is not None:
            await doing
