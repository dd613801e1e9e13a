"""What happens during one survey, and when: bursts, the chime's own load, presses with their contacts, radio, mains events.

Half a second of quiet, an idle burst, the test load switched on, a burst with it, a burst while sounding; then people press.
Refuses to know the circuit; gives the changes the bench is to make.
"""

import math
from dataclasses import dataclass, field

from deploy.calibration.circuit import Change
from deploy.calibration.houses import log_uniform
from deploy.calibration.parts import Circuit, Draw, House


@dataclass(slots=True)
class Press:
    """From the first closing to the last opening [s]; `opens`: lapses of the contact while held."""

    door: str
    start_s: float
    end_s: float
    opens: list[tuple[float, float]] = field(default_factory=list)
    sounding: bool = False


@dataclass(frozen=True, slots=True)
class Habits:
    """How contacts and mains behave at this survey."""

    opens: dict[str, tuple[int, int, float]] = field(default_factory=dict)  # door -> fewest, most, longest [s]
    chatter: dict[str, tuple[float, float]] = field(default_factory=dict)  # door -> span [s], number of opens
    mains: tuple[tuple[float, int], ...] = ()  # level, cycles


@dataclass(slots=True)
class Timetable:
    bursts: dict[str, tuple[float, float]] = field(default_factory=dict)  # name -> start, end
    log: list[tuple[float, str]] = field(default_factory=list)
    presses: list[Press] = field(default_factory=list)
    mains: list[tuple[float, float, float]] = field(default_factory=list)  # start, end, level
    contacts: dict[str, list[tuple[float, bool]]] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    test_on_s: float = 0.0
    end_s: float = 0.0


def draw_timetable(
    draw: Draw, house: House, circuit: Circuit, habits: Habits, column: int, latest_s: float
) -> Timetable:
    """One survey. It ends before `latest_s`."""
    table = Timetable(contacts={"front": [], "garden": []})
    after_s = _measure(draw, house, table)
    _people(draw, house, habits, table, after_s, latest_s)
    for press in table.presses:
        _contact(draw, house, habits, press, table)
    for door, closings in table.contacts.items():
        closings.sort()
        table.changes += [Change(at, column, door, float(closed)) for at, closed in closings]
    _loads(house, circuit, table, column)
    _mains(draw, circuit, table, column)
    if house.radio:
        _radio(draw, house, table, column)
    for name in ("idle", "sound"):
        table.changes += [Change(at, column, "mark", 0.0) for at in table.bursts[name]]
    return table


def _measure(draw: Draw, house: House, table: Timetable) -> float:
    long_s = house.cycles / house.nominal_hz + 0.004
    start = float(draw.uniform(0.9, 1.4))
    table.bursts["idle"] = (start, start + long_s)
    step = start + long_s + draw.uniform(0.015, 0.03)
    table.bursts["step"] = (step, step + 0.3)
    table.test_on_s = step + draw.uniform(0.042, 0.055)
    test = step + 0.3 + draw.uniform(0.1, 0.16)
    table.bursts["test"] = (test, test + long_s)
    sound = test + long_s + draw.uniform(0.025, 0.04)
    burst = sound + draw.uniform(0.40, 0.48)
    table.bursts["sound"] = (burst, burst + long_s)
    end = burst + long_s + 0.03
    table.log = [(0.0, "idle"), (table.test_on_s, "test"), (sound, "sound"), (end, "idle")]
    return end


def _people(draw: Draw, house: House, habits: Habits, table: Timetable, after_s: float, latest_s: float) -> None:
    """Presses at the front, some at the garden door; between them, with the chime idle, what the mains do."""
    t = after_s + draw.uniform(0.4, 0.9)
    wanted = int(draw.integers(3, 9))
    events = list(habits.mains)
    for number in range(wanted):
        if events and number:
            level, cycles = events.pop(0)
            start = t + draw.uniform(0.3, 0.5)
            span = cycles / house.nominal_hz
            table.mains.append((start, start + span, level))
            t = start + span + draw.uniform(0.7, 1.1)
        hold = _hold(draw, house)
        if t + hold + 0.7 > latest_s:
            break
        press = Press(
            "front", t, t + hold, sounding=bool(draw.random() < 0.25 or (number == wanted - 1 and draw.random() < 0.7))
        )
        table.presses.append(press)
        busy = t + hold
        if press.sounding:
            on = t + draw.uniform(0.03, 0.08)
            off = on + draw.uniform(0.45, 0.8)
            table.log += [(on, "sound"), (off, "idle")]
            busy = max(busy, off + 0.02)
        gap = draw.uniform(0.09, 0.3) if draw.random() < 0.2 and not press.sounding else draw.uniform(0.25, 1.0)
        if house.garden and draw.random() < 0.3:
            start = t + draw.uniform(-0.05, 0.2) if draw.random() < 0.3 else busy + draw.uniform(0.1, 0.3)
            rear = Press("garden", start, start + log_uniform(draw, 0.03, 0.7))
            if rear.end_s + 0.5 < latest_s and not any(
                p.door == "garden" and start < p.end_s + 0.1 for p in table.presses
            ):
                table.presses.append(rear)
                gap += max(rear.end_s - busy, 0.0) * float(draw.random() < 0.7)
        t = busy + gap
    last = max([p.end_s for p in table.presses] + [at for at, _ in table.log] + [end for _, end, _ in table.mains])
    table.end_s = min(last + draw.uniform(0.3, 0.6), latest_s)
    table.log = [(at, load) for at, load in table.log if at < table.end_s]


def _hold(draw: Draw, house: House) -> float:
    """Seconds a finger stays: mostly some 0.2 s, some short, a few that lean on it (log-normal: common practice, no source)."""
    kind = draw.random()
    if kind < (0.3 if house.kind == "current" else 0.1):
        return log_uniform(draw, 0.006, 0.05)
    if kind > 0.97:
        return float(draw.uniform(1.5, 3.0))
    return float(min(max(0.19 * math.exp(0.7 * draw.normal()), 0.03), 1.2))


def _contact(draw: Draw, house: House, habits: Habits, press: Press, table: Timetable) -> None:
    """Closings and openings of one press: bounce at both ends, lapses while held."""
    hold = press.end_s - press.start_s
    made, broken = [(press.start_s, True)], [(press.end_s, False)]
    span, opens = habits.chatter.get(press.door, (0.0, 0.0))
    if opens:
        made += _bounces(draw, press.start_s, min(span, 0.4 * hold), opens)
        broken += _bounces(draw, press.end_s - min(span, 0.4 * hold), min(span, 0.4 * hold), opens)
    elif hold > 0.02:
        made += _bounces(draw, press.start_s, draw.uniform(0.0003, 0.003), float(draw.integers(0, house.bounces + 1)))
        if house.kind == "retrofit":
            broken += _bounces(
                draw, press.end_s - 0.002, draw.uniform(0.0003, 0.002), float(draw.integers(0, house.bounces + 1))
            )
    if press.door in habits.opens:
        fewest, most, longest = habits.opens[press.door]
        edge = 0.018
        for _ in range(int(draw.integers(fewest, most + 1))):
            lapse = log_uniform(draw, 0.004, longest)
            if hold < 2 * edge + lapse + 0.01:
                continue
            at = press.start_s + draw.uniform(edge, hold - edge - lapse)
            if all(at > end + 0.012 or at + lapse < start - 0.012 for start, end in press.opens):
                press.opens.append((at, at + lapse))
    press.opens.sort()
    lapses = [edge for at, end in press.opens for edge in ((at, False), (end, True))]
    table.contacts[press.door] += made + lapses + broken


def _bounces(draw: Draw, start: float, span: float, opens: float) -> list[tuple[float, bool]]:
    """About `opens` openings inside a span; the contact is closed before and after."""
    number = round(opens * draw.uniform(0.7, 1.3)) if opens > 3 else int(opens)
    if not number or span <= 0.0:
        return []
    edges = sorted(float(x) for x in draw.uniform(start + 2e-5, start + span, 2 * number))
    return [(at, bool(k % 2)) for k, at in enumerate(edges)]


def _loads(house: House, circuit: Circuit, table: Timetable, column: int) -> None:
    table.log.sort()
    for at, load in table.log:
        sounding, testing = load == "sound", load == "test"
        table.changes += [
            Change(at, column, "demand", circuit.sound if sounding else circuit.idle),
            Change(at, column, "share", house.sound_share if sounding else 0.0),
            Change(at, column, "test_a", house.test_a * house.test_error if testing else 0.0),
            Change(
                at, column, "test_s", 1.0 / (house.test_ohm * house.test_error) if testing and house.test_ohm else 0.0
            ),
        ]


def _mains(draw: Draw, circuit: Circuit, table: Timetable, column: int) -> None:
    """Dips and swells as set; flicker and steps of the phase as the street has them."""
    quiet = [(start - 0.3, end + 0.3) for start, end, _ in table.mains]
    for start, end, level in table.mains:
        table.changes += [
            Change(start, column, "level", circuit.level * level),
            Change(end, column, "level", circuit.level),
        ]
    for at in _moments(draw, circuit.flicker_per_s, table.end_s):
        span = draw.uniform(0.1, 0.3)
        if not any(at < end and at + span > start for start, end in quiet):
            level = circuit.level * (1.0 - draw.uniform(0.005, 0.015))
            table.changes += [Change(at, column, "level", level), Change(at + span, column, "level", circuit.level)]
            quiet.append((at, at + span))
    cycle_s = 1.0 / circuit.mains_hz
    for at in _moments(draw, circuit.phase_steps_per_s, table.end_s):
        bump = math.radians(draw.uniform(1.5, 6.0)) * float(draw.choice([-1.0, 1.0])) * 50e-6 / cycle_s
        table.changes += [Change(at, column, "bump", bump), Change(at + cycle_s, column, "bump", 0.0)]


def _moments(draw: Draw, per_s: float, end_s: float) -> list[float]:
    return sorted(float(x) for x in draw.uniform(0.0, end_s, int(draw.poisson(per_s * end_s)))) if per_s else []


def _radio(draw: Draw, house: House, table: Timetable, column: int) -> None:
    """Beacons, packets at any moment, and some after each press; a muted one is silent while the chime measures."""
    silent = (table.bursts["idle"][0] - 0.25, table.bursts["sound"][1]) if house.muted else (0.0, 0.0)
    first = float(draw.uniform(0, house.beacon_s))
    starts = [first + k * house.beacon_s for k in range(int(table.end_s / house.beacon_s))]
    starts += _moments(draw, house.packets_per_s, table.end_s)
    for press in table.presses:
        starts += [press.start_s + float(draw.uniform(0.03, 0.08)) for _ in range(int(draw.integers(2, 5)))]
    free = -1.0
    for start in sorted(starts):
        end = start + house.radio_packet_s
        if start < free or (start < silent[1] and end > silent[0]):
            continue
        free = end + 2e-4
        table.changes += [Change(start, column, "radio", house.radio), Change(end, column, "radio", 0.0)]
