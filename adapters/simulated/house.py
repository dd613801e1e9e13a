"""The simulated house as a process: real time, a real broker, a control port, and the counter of power-ups in a file.

`run` blocks until SIGTERM or SIGINT; `press` and `control` are the side of whoever stands at the door. Knows no circuit.
"""

import json
import logging
import signal
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures import TimeoutError as NoAnswer
from pathlib import Path
from typing import Any

from adapters.simulated import faults
from adapters.simulated.chime import Life
from adapters.simulated.control import ANSWER_WITHIN_S, Control, control
from adapters.simulated.installation import CHIME, SITE
from adapters.simulated.link import Access, MqttLink
from adapters.simulated.present import Present
from service import topics
from service.errors import BellcrankError, SettingError
from service.model import Address

__all__ = ["control", "press", "run"]

log = logging.getLogger(__name__)

LONGEST_WAIT_S = 30.0

GOES_ON_WITHIN_S = 1800.0
"""A chime whose past was invented longer ago was without power since; inventing takes minutes at the most (chosen) [s]."""


def run(
    *,
    broker_url: str,
    data_dir: Path,
    username: str | None = None,
    password: str | None = None,
    ca: str | None = None,
    fault: str | None = None,
    severity: float = 0.5,
    cbor: bool = False,
    site: str = SITE,
    chime: str = CHIME,
    prefix: str = "bellcrank",
    seed: int = 1,
) -> None:
    """The simulated chime, until SIGTERM or SIGINT. Raises SettingError for whatever its starter can mend."""
    installation = faults.apply(fault, severity)
    base_topic = topics.build(Address(site, chime, "pack"), prefix).removesuffix("/pack")
    try:
        data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise SettingError(
            f"The folder {data_dir} cannot be written ({error.strerror}); choose another with --data."
        ) from None
    clock = steady_clock()
    loop = Loop(clock)
    link = MqttLink(Access(broker_url, username, password, ca), base_topic, f"{site}-{chime}", loop.nudge, loop.ask)
    counter = BootCounter(data_dir / f"simulated-{chime}.json")
    now_s = clock()
    present = Present(installation, link, counter.next, now_s, seed, cbor, goes_on=counter.goes_on(now_s))
    loop.present, loop.link = present, link
    door = Control(data_dir, chime, loop.handle)
    restore = _end_by_signal(loop.stop)
    try:
        loop.run()
    finally:
        restore()
        door.close()
        link.end()


def press(data_dir: Path, door: str, hold_s: float, chime: str = CHIME) -> dict[str, Any]:
    """Press a button of the simulated house that runs on this folder; answers when its contact has closed.

    Raises NotFound where no simulated chime runs or there is no such door, SettingError for an odd length.
    """
    return control(data_dir, {"do": "press", "door": door, "hold_s": hold_s}, chime)


def steady_clock() -> Callable[[], float]:
    """POSIX seconds that never leap: the wall clock now, moved on by a clock that nobody sets and that suspend does not stop."""
    boot_time = getattr(time, "CLOCK_BOOTTIME", None)
    since_boot = time.monotonic if boot_time is None else lambda: time.clock_gettime(boot_time)
    origin_s = time.time() - since_boot()
    return lambda: origin_s + since_boot()


class BootCounter:
    """The number of power-ups, kept as a chime keeps it: written before it is used."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def next(self) -> int:
        last = int(self._read()["boot"])
        self._write({"boot": last + 1})
        return last + 1

    def goes_on(self, now_s: float) -> Life | None:
        """The power-up that the invented past has left, once, and only while it cannot be told from one that was on all the time."""
        kept = self._read()
        try:
            life = Life(**kept["goes_on"]) if "goes_on" in kept else None
        except TypeError:
            life = None
        if "goes_on" in kept:
            self._write({"boot": int(kept["boot"])})
        return life if life is not None and 0.0 <= now_s - life.last_s <= GOES_ON_WITHIN_S else None

    def _read(self) -> dict[str, Any]:
        try:
            found = json.loads(self._path.read_text())
            int(found["boot"])
        except FileNotFoundError:
            return {"boot": 0}
        except (ValueError, KeyError, TypeError):
            raise SettingError(
                f"{self._path} does not hold the number of power-ups; remove it to count from 1."
            ) from None
        return dict(found)

    def _write(self, kept: dict[str, Any]) -> None:
        fresh = self._path.with_suffix(".new")
        fresh.write_text(json.dumps(kept))
        fresh.replace(self._path)


class Loop:
    """Moves `present` on by the clock, and lets requests of other threads in between."""

    present: Present
    link: MqttLink

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock, self._stopping, self._event = clock, False, threading.Event()
        self._requests: deque[tuple[float, dict[str, Any], Future[dict[str, Any]]]] = deque()

    def run(self) -> None:
        while not self._stopping:
            self._event.clear()
            self.turn()
            self._event.wait(min(self.present.wait_s(self._clock()), LONGEST_WAIT_S))

    def turn(self) -> None:
        """One round: requests, the house, the network."""
        while self._requests:
            at_s, request, answer = self._requests.popleft()
            try:
                answer.set_result(self._do(request, at_s))
            except (BellcrankError, ValueError, KeyError, TypeError) as error:
                answer.set_exception(error)
        self.present.advance(self._clock())
        self.link.work()

    def stop(self) -> None:
        self._stopping = True
        self._event.set()

    def nudge(self) -> None:
        self._event.set()

    def handle(self, request: dict[str, Any]) -> dict[str, Any]:
        """From the control port: waits for the answer."""
        try:
            return self._leave(request).result(ANSWER_WITHIN_S)
        except NoAnswer:
            raise SettingError(f"The simulated house has not answered within {ANSWER_WITHIN_S:g} s.") from None

    def ask(self, payload: bytes) -> None:
        """From the `ask` topic: JSON with `do` one of bursts, sound, hush; anything else is ignored, as a chime does."""
        try:
            request = json.loads(payload)
        except ValueError:
            return
        if isinstance(request, dict) and request.get("do") in ("bursts", "sound", "hush"):
            self._leave(request)

    def _leave(self, request: dict[str, Any]) -> "Future[dict[str, Any]]":
        answer: Future[dict[str, Any]] = Future()
        self._requests.append((self._clock(), request, answer))
        self._event.set()
        return answer

    def _do(self, request: dict[str, Any], at_s: float) -> dict[str, Any]:
        present, what = self.present, request["do"]
        if what == "press":
            present.press(str(request["door"]), float(request["hold_s"]), at_s)
        elif what == "power":
            present.power(_is_on(request), at_s)
        elif what == "network":
            present.network(_is_on(request))
        elif what == "bursts":
            present.examine(at_s)
        elif what == "sound":
            present.sound(at_s)
        elif what == "hush":
            present.hush(float(request["until_s"]))
        elif what != "state":
            raise SettingError(
                f"The simulated house cannot {what!r}: press, power, network, bursts, sound, hush, state."
            )
        boot = None if present.firmware is None else present.firmware.boot
        return {"done": what, "at_s": at_s, "boot": boot, "mains": present.mains_on, "network": present.network_on}


def _is_on(request: dict[str, Any]) -> bool:
    if not isinstance(request["on"], bool):
        raise SettingError('"on" is true or false.')
    return bool(request["on"])


def _end_by_signal(stop: Callable[[], None]) -> Callable[[], None]:
    """SIGTERM and SIGINT call `stop`, where the thread may say so; answers what restores them."""
    if threading.current_thread() is not threading.main_thread():
        return lambda: None
    before = {number: signal.signal(number, lambda *_: stop()) for number in (signal.SIGTERM, signal.SIGINT)}

    def restore() -> None:
        for number, old in before.items():
            signal.signal(number, old)

    return restore
