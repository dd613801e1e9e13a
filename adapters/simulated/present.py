"""Tern Cottage now: the same circuit, contacts and firmware as in the past, moved on by a clock from outside.

`advance(now)` does all that has become due; `wait_s` says how soon to call again. The circuit is stepped only around
presses, sounds, examinations and what the mains do; between them a settled stretch a minute stands for the supply.
Knows no threads, sockets or files.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import timedelta
from math import inf
from typing import Protocol

import numpy as np

from adapters.simulated import callers, senses
from adapters.simulated.chime import Firmware, Life, Sent
from adapters.simulated.contacts import Contact, Span, closures
from adapters.simulated.ears import Ears
from adapters.simulated.installation import DOORS, Installation
from adapters.simulated.rail import LiveRail
from adapters.simulated.senses import PLAN_S, SOUND_FOR_S
from service.errors import NotFound, SettingError

AWAKE_STEP_S = 0.004
BEFORE_S, AFTER_S = 0.3, 0.6
REVIEW_S = 0.55
STEADY_STEP_S = 0.5

EXAMINED_AT_H = 3.5
LONGEST_HOLD_S = 600.0
FIRST_EVENT_S = 15.0


class Link(Protocol):
    """The way out of the chime."""

    @property
    def dropped(self) -> int:
        """Records thrown away since the last power-up."""
        ...

    def send(self, payload: bytes) -> None: ...
    def join(self) -> None:
        """Look for the network."""
        ...

    def lose(self) -> None:
        """Gone without a word, as when the power fails. What has not been sent is kept."""
        ...

    def forget(self) -> None:
        """The memory is gone with the power."""
        ...


@dataclass
class Present:
    """`next_boot` answers the number of each power-up, and keeps it. `goes_on`: the power-up that is on already; what it has not told
    since its last pack it has kept back."""

    house: Installation
    link: Link
    next_boot: Callable[[], int]
    start_s: float
    seed: int = 1
    cbor: bool = False
    network_on: bool = True
    goes_on: Life | None = None
    firmware: Firmware | None = None
    _awake: bool = False
    _keep_awake_s: float = -inf
    _sound_s: float = -inf  # of the sound that has been told as begun
    _silence_due: bool = False  # and not yet as over
    _falls: list[float] = field(default_factory=list)  # heard and not yet reviewed
    _loads: list[Span] = field(default_factory=list)  # the chime's own, since it woke
    _reviewed: bool = False
    _cause: str = "power-on"

    def __post_init__(self) -> None:
        if self.house.front.stuck:  # the same to the circuit
            self.house = replace(self.house, front=Contact(), parts=replace(self.house.parts, button_diode="shorted"))
        self._rng = np.random.default_rng([self.seed, int(self.start_s), 3])
        self._rail = LiveRail(self.house, self.start_s, self.seed)
        self._reflex = senses.Reflex(self.house, 1)
        self._ears = Ears(self._rail.circuit, self._rail.mains_at, self.start_s)
        self._now_s = self.start_s
        self._window_s = self.start_s + self.house.window_s
        self._examination_s = self._next_examination(self.start_s)
        self._rail.plan_event(self.start_s + FIRST_EVENT_S)
        if self._rail.running[0] and self.goes_on is not None:
            self._go_on(self.goes_on)
        elif self._rail.running[0]:
            self._power_up(self.start_s)

    @property
    def mains_on(self) -> bool:
        return self._rail.mains_on

    # ── what a person or a rig asks ─────────────────────────────────────────────────────────────────────────────────

    def press(self, door: str, hold_s: float, at_s: float) -> None:
        """The contact closes at this moment. Raises NotFound for a door that is not there, SettingError for an odd length."""
        if door not in DOORS:
            raise NotFound(f"There is no door {door!r}; the simulated house has {' and '.join(DOORS)}.")
        if not 0.0 < hold_s <= LONGEST_HOLD_S:
            raise SettingError(
                f"A button can be held for more than 0 and at most {LONGEST_HOLD_S:g} s, not {hold_s:g} s."
            )
        spans = closures(at_s, hold_s, self.house.contact(door), self._rng)
        self._ears.closed[door] += spans
        self._wake(at_s, spans[-1][1] + AFTER_S)

    def power(self, on: bool, at_s: float) -> None:
        self._rail.mains_on = on
        self._wake(at_s + BEFORE_S, at_s + AFTER_S)

    def network(self, on: bool) -> None:
        self.network_on = on
        if not on:
            self.link.lose()
        elif self.firmware is not None:
            self.link.join()

    def examine(self, at_s: float) -> None:
        """Take the bursts now."""
        self._reflex.plan_s[0] = at_s + 0.05
        self._wake(at_s, at_s + PLAN_S + AFTER_S)

    def sound(self, at_s: float) -> None:
        if at_s >= self._reflex.sound_s[0] + SOUND_FOR_S:
            self._reflex.sound_s[0] = at_s + 0.01
            self._wake(at_s, at_s + SOUND_FOR_S + AFTER_S)

    def hush(self, until_s: float) -> None:
        self._reflex.hush_until_s = until_s

    # ── the walk of time ────────────────────────────────────────────────────────────────────────────────────────────

    def advance(self, now_s: float) -> None:
        """Do what has become due by now: first the ear, so that a press is on its way at once; then the rail."""
        self._now_s = max(now_s, self._now_s)
        self._listen()
        if self._now_s >= self._examination_s:
            self._examination_s = self._next_examination(self._now_s)
            if self.firmware is not None and not self._awake:
                self.examine(self._now_s)
        event_s, event_end_s, _ = self._rail.event
        if self._now_s >= event_s - BEFORE_S and not self._awake:
            self._wake(event_s, event_end_s + AFTER_S)
        if self._awake:
            self._step()
            self._tell_sound()
            self._review()
            if self._rail.stepped_s >= self._keep_awake_s and not self._rail.unsettled(self._keep_awake_s):
                self._sleep()
        elif self.firmware is not None and self._now_s >= self._window_s:
            self._window_s = self._now_s + self.house.window_s
            self._send(self.firmware.window(self._now_s, *self._rail.window(self._now_s)))

    def wait_s(self, now_s: float) -> float:
        """How long nothing will be due."""
        if self._awake:
            return AWAKE_STEP_S
        due = [self._rail.event[0] - BEFORE_S]
        if self.firmware is not None:
            due += [self._window_s, self._examination_s, self.firmware.next_due_s]
            if self._ears.may_pulse_at_rest:
                due.append(now_s + STEADY_STEP_S)
        return max(min(due) - now_s, 0.0)

    def _listen(self) -> None:
        for fall_s, rise_s, door in self._ears.hear(self._now_s, self.mains_on):
            if self.firmware is not None:
                fall = np.array([fall_s])
                self._reflex.hear(door, fall, fall, self._rail.running)
                self._falls.append(fall_s)
                for sent in self.firmware.hear(door, rise_s, fall_s):
                    self._send(sent)
        if self.firmware is not None:
            for sent in self.firmware.tick(self._now_s):
                self._send(sent)

    def _step(self) -> None:
        """Move the rail on towards now."""
        volts = self._rail.step(self._now_s, self._ears.closed["front"], self._reflex)
        if self.firmware is not None:
            self.firmware.sample(volts)
        if self._rail.running[0] and self.firmware is None:
            self._power_up(self._rail.stepped_s)
        elif not self._rail.running[0] and self.firmware is not None:
            self._power_down()
        plan_s = float(self._reflex.plan_s[0])
        if self.firmware is not None and self._rail.stepped_s >= plan_s + PLAN_S > 0.0:
            self._reflex.plan_s[0] = -inf
            self._loads.append((plan_s, plan_s + PLAN_S))
            for sent in self.firmware.bursts(self._now_s, plan_s):
                self._send(sent)

    def _tell_sound(self) -> None:
        begins_s = float(self._reflex.sound_s[0])
        if self.firmware is None:
            self._silence_due = False
        elif self._silence_due:
            if self._rail.stepped_s >= self._sound_s + SOUND_FOR_S:
                self._silence_due = False
                self._send(self.firmware.sound(self._now_s, self._sound_s))
        elif self._sound_s < begins_s <= self._now_s:
            self._sound_s, self._silence_due = begins_s, True
            self._loads.append((begins_s, begins_s + SOUND_FOR_S))
            self._keep_awake_s = max(self._keep_awake_s, begins_s + SOUND_FOR_S + AFTER_S)
            self._send(self.firmware.sound(self._now_s))

    def _review(self, last: bool = False) -> None:
        """Some cycles after a press and its sound, or at last, the firmware looks back."""
        pressed = [] if self._ears.may_pulse_at_rest else self._falls
        if self.firmware is None or self._silence_due or not (pressed or last):
            return
        due_s = max([*pressed[-1:], *(end for _, end in self._loads)], default=-inf) + REVIEW_S
        if (last and not self._reviewed and not self._loads) or (pressed and self._rail.stepped_s >= due_s):
            hertz = self._rail.mains_at(self._rail.stepped_s)[2]
            for sent in self.firmware.review(self._now_s, hertz, self._loads, [*pressed[:1], *pressed[-1:]]):
                self._send(sent)
            self._falls.clear()
            self._reviewed = True

    # ── waking, sleeping, living ────────────────────────────────────────────────────────────────────────────────────

    def _wake(self, at_s: float, until_s: float) -> None:
        self._keep_awake_s = max(self._keep_awake_s, until_s)
        if self._awake:
            return
        self._awake = True
        self._falls, self._loads, self._reviewed = [], [], False
        self._rail.take_up(at_s - BEFORE_S)
        if self.firmware is not None:
            self.firmware.begin(self._rail.stepped_s)

    def _sleep(self) -> None:
        self._awake, self._keep_awake_s = False, -inf
        self._review(last=True)
        self._rail.plan_event(self._now_s)

    def _power_up(self, at_s: float) -> None:
        self.firmware = Firmware(self.house, self.next_boot(), self._cause, at_s, seed=self.seed, cbor=self.cbor)
        self.firmware.begin(at_s)
        self._reflex.up_s[0] = at_s
        self._window_s = at_s + self.house.window_s
        if self.network_on:
            self.link.join()
        self._send(self.firmware.hello(max(at_s, self._now_s)))

    def _go_on(self, life: Life) -> None:
        self.firmware = Firmware(self.house, life.boot, life.cause, life.boot_s, seed=self.seed, cbor=self.cbor)
        self.firmware.go_on(life)
        self.firmware.begin(self.start_s)
        self._reflex.up_s[0] = life.boot_s
        if self.network_on:
            self.link.join()
        self._window_s = life.last_s + self.house.window_s
        while self._window_s <= self.start_s:
            self._send(self.firmware.window(self._window_s, *self._rail.window(self._window_s)))
            self._window_s += self.house.window_s

    def _power_down(self) -> None:
        self.firmware = None
        self._cause = "brown-out" if self.mains_on and self._rail.circuit.stands else "power-on"
        self._falls.clear()
        self.link.lose()
        self.link.forget()

    def _send(self, sent: Sent) -> None:
        self.link.send(sent.payload)
        if self.firmware is not None:
            self.firmware.dropped = self.link.dropped

    def _next_examination(self, after_s: float) -> float:
        day = callers.clock_of(after_s).date()
        days = (callers.local_s(day + timedelta(days=ahead), EXAMINED_AT_H) for ahead in range(3))
        return next(at for at in days if at > after_s)
