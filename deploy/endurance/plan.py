"""What is to happen and when, drawn from a seed: to each chime, and to the service, the broker, the disk, the clock.

The same seed plans the same; how it falls together with what the processes do is chance. Does nothing itself.
"""

from dataclasses import dataclass, replace
from random import Random
from typing import NamedTuple

from deploy.endurance.chime import Event
from deploy.endurance.pressing import TICK_S, Thumb

DOORS = ("front", "garden")
HOUR_S = 3600.0
HASTE_S = (0.002, 0.05)
"""From the end of a press to its pack."""

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Pace:
    """How dense it comes. Spans are (shortest, longest), `…_every_s` mean distances at one chime [s].

    `fitted_s`: so long nothing happens to a chime that has just been fitted. `lit_s`: its power stays so long at least.
    """

    seconds: float
    service_kills: int
    broker_kills: int
    fills: int
    steps: int
    service_cuts: int
    fill_s: Span = (20.0, 60.0)
    step_s: Span = (40.0, 120.0)
    service_cut_s: Span = (3.0, 45.0)
    press_gap_s: Span = (0.5, 15.0)
    window_s: Span = (5.0, 10.0)
    power_every_s: float = 480.0
    power_off_s: Span = (3.0, 40.0)
    cut_every_s: float = 150.0
    cut_s: Span = (3.0, 40.0)
    long_cut_s: Span = (100.0, 200.0)
    again_every_s: float = 30.0
    rubbish_every_s: float = 60.0
    backlog: int = 24
    fitted_s: float = 5.0
    lit_s: float = 0.0


def long(minutes: float) -> Pace:
    """The pace of half an hour with 105 kills of the service and 22 of the broker, for so many minutes."""
    share = minutes / 30.0
    return Pace(
        minutes * 60.0,
        service_kills=max(1, round(105 * share)),
        broker_kills=max(1, round(22 * share)),
        fills=max(1, round(5 * share)),
        steps=max(2, round(10 * share)),
        service_cuts=max(1, round(25 * share)),
    )


def brief() -> Pace:
    """A few of each kind in some seconds."""
    return replace(
        Pace(8.0, service_kills=3, broker_kills=2, fills=1, steps=1, service_cuts=1),
        fill_s=(2.5, 3.0),
        step_s=(2.5, 3.5),
        service_cut_s=(0.5, 1.0),
        press_gap_s=(0.1, 0.8),
        window_s=(0.8, 1.6),
        power_every_s=6.0,
        power_off_s=(0.6, 1.5),
        cut_every_s=3.0,
        cut_s=(0.4, 1.2),
        long_cut_s=(2.0, 4.0),
        again_every_s=0.6,
        rubbish_every_s=0.8,
        backlog=10,
        fitted_s=1.5,
        lit_s=2.0,
    )


class Blow(NamedTuple):
    """`at_s` after the start of the run."""

    at_s: float
    value: float = 0.0


@dataclass(frozen=True, slots=True)
class Blows:
    """What befalls those that all chimes share. `fills`: value = how long the disk stays full [s]; `steps`: value = by how much the
    clock is wrong from then on [s]; `cuts`: value = how long the service is cut off from the broker [s]."""

    service_kills: list[Blow]
    broker_kills: list[Blow]
    fills: list[Blow]
    steps: list[Blow]
    cuts: list[Blow]


def blows(seed: int, pace: Pace) -> Blows:
    def spread(what: str, count: int, last_s: float = 0.0) -> tuple[Random, list[float]]:
        """So many moments, one in each of so many equal parts, none in the last seconds."""
        rng = Random(f"{seed} {what}")
        part = (pace.seconds - 1.0 - last_s) / max(count, 1)
        return rng, [1.0 + (number + rng.uniform(0.1, 0.9)) * part for number in range(count)]

    steps_rng, steps_at = spread("steps", pace.steps, pace.step_s[1])
    steps: list[Blow] = []
    for number, at_s in enumerate(steps_at):
        steps.append(Blow(at_s, HOUR_S if number % 2 == 0 else -HOUR_S))
        back_s = at_s + steps_rng.uniform(*pace.step_s)
        if (
            number + 1 == len(steps_at) or back_s < steps_at[number + 1]
        ):  # else from an hour fast to an hour slow at once
            steps.append(Blow(back_s, 0.0))
    fills_rng, fills_at = spread("fills", pace.fills, pace.fill_s[1])
    cuts_rng, cuts_at = spread("cuts", pace.service_cuts, pace.service_cut_s[1])
    return Blows(
        [Blow(at_s) for at_s in spread("service", pace.service_kills)[1]],
        [Blow(at_s) for at_s in spread("broker", pace.broker_kills)[1]],
        [Blow(at_s, fills_rng.uniform(*pace.fill_s)) for at_s in fills_at],
        steps,
        [Blow(at_s, cuts_rng.uniform(*pace.service_cut_s)) for at_s in cuts_at],
    )


def timetable(rng: Random, pace: Pace, hertz: float) -> list[Event]:
    """All that happens to one chime, in order."""
    on_s = rng.uniform(0.0, min(2.0, pace.seconds / 10.0))
    events, powered_s = [Event(on_s, "power_on")], [on_s]
    for at_s in _moments(rng, on_s + pace.fitted_s, pace.seconds, pace.power_every_s):
        until_s = at_s + rng.uniform(*pace.power_off_s)
        if at_s > powered_s[-1] + pace.lit_s and until_s < pace.seconds:
            events += [Event(at_s, "power_off"), Event(until_s, "power_on")]
            powered_s.append(until_s)
    events += _presses(rng, pace, Thumb(rng, hertz), powered_s)
    at_s = on_s
    while (span_s := rng.uniform(*pace.window_s)) + at_s < pace.seconds:
        at_s += span_s
        events.append(Event(at_s, "window", span_s))
    free_s = 0.0
    for at_s in _moments(rng, on_s + pace.fitted_s, pace.seconds, pace.cut_every_s):
        until_s = at_s + rng.uniform(*(pace.long_cut_s if rng.random() < 0.15 else pace.cut_s))
        if at_s > free_s and until_s < pace.seconds:
            events += [Event(at_s, "way", rng.choice(("stalled", "refused", "slow"))), Event(until_s, "way", "open")]
            free_s = until_s
    for what, every_s in (("again", pace.again_every_s), ("rubbish", pace.rubbish_every_s)):
        events += [Event(at_s, what) for at_s in _moments(rng, on_s, pace.seconds, every_s)]
    return sorted(events, key=lambda event: event.at_s)


def _presses(rng: Random, pace: Pace, thumb: Thumb, powered_s: list[float]) -> list[Event]:
    """One after another, some quickly; none is held while the power comes back: what is left of it would be another press."""
    events: list[Event] = []
    at_s, doors = powered_s[0], list(DOORS)  # whoever has fitted it presses each button once
    while True:
        quick = doors or rng.random() < 0.15
        at_s += rng.uniform(0.2, 0.5) if quick else rng.uniform(*pace.press_gap_s)
        shape = thumb.press()
        if at_s + shape.length_s + HASTE_S[1] >= pace.seconds:
            return events
        if not any(at_s <= on_s <= at_s + shape.length_s for on_s in powered_s):
            events.append(Event(at_s, "press", (doors.pop() if doors else rng.choice(DOORS), shape, at_s)))
            for number, pulses in enumerate(shape.parts):
                over_s = at_s + pulses[-1][1] * TICK_S + rng.uniform(*HASTE_S)
                events.append(Event(over_s, "part", number))
        at_s += shape.length_s + HASTE_S[1]


def _moments(rng: Random, start_s: float, end_s: float, every_s: float) -> list[float]:
    """A Poisson process."""
    moments, at_s = [], start_s
    while (at_s := at_s + rng.expovariate(1.0 / every_s)) < end_s:
        moments.append(at_s)
    return moments
