"""What goes wrong in an invented installation: each finding of the contract, from just noticeable (severity 0) to severe (1).

Ranges from just beyond the healthy scatter to what is met in old houses (common practice, no source). Refuses to know recordings
and what the service concludes.
"""

import math
from dataclasses import dataclass, field
from typing import Any

from deploy.calibration.houses import transformer
from deploy.calibration.parts import Circuit, Draw, House
from deploy.calibration.timetable import Habits

FINDINGS = (
    "button-diode-open", "button-diode-reversed", "button-diode-shorted", "contact-stuck", "lamp-in-button",
    "leak-across-button", "detector-dead", "contact-resistance", "contact-drops-out", "contact-bounce", "reservoir-aged",
    "source-resistance-high", "mains-low", "mains-dip", "mains-swell", "wrong-transformer", "load-high", "regulator-drops-out",
)  # fmt: skip
AT_A_DOOR = {"contact-stuck", "contact-drops-out", "contact-bounce"}
PAIRS = (
    ("reservoir-aged", "source-resistance-high"), ("reservoir-aged", "mains-low"), ("reservoir-aged", "load-high"),
    ("source-resistance-high", "mains-low"), ("source-resistance-high", "contact-drops-out"), ("load-high", "mains-low"),
    ("lamp-in-button", "reservoir-aged"), ("contact-bounce", "reservoir-aged"), ("contact-resistance", "source-resistance-high"),
    ("mains-dip", "reservoir-aged"), ("detector-dead", "reservoir-aged"), ("contact-drops-out", "load-high"),
)  # fmt: skip


@dataclass(slots=True)
class Fault:
    """What was done, for the truth; and what the drawing of the survey must know."""

    name: str
    severity: float
    door: str | None = None
    notes: dict[str, Any] = field(default_factory=dict)
    habits: Habits = field(default_factory=Habits)


def between(severity: float, slight: float, severe: float) -> float:
    """Geometric."""
    return math.exp(math.log(slight) + severity * (math.log(severe) - math.log(slight)))


def suits(name: str, house: House, then: Circuit) -> bool:
    """Whether this can befall this house: no higher transformer than the highest, no rail that nothing sensible pulls down."""
    if name == "wrong-transformer":
        return house.transformer_v < 20.0
    if name == "regulator-drops-out":
        sound_a = then.sound / (1.0 if house.linear else house.rated_rail_v)
        return house.rated_rail_v - house.dropout_v < 110.0 * sound_a
    return True


def inflict(draw: Draw, name: str, house: House, now: Circuit, then: Circuit) -> Fault:
    """Change the later circuit; `regulator-drops-out` is only begun here, its depth needs a trial."""
    severity = float(draw.uniform())
    fault = Fault(name, severity)
    if name in AT_A_DOOR:
        rear = house.garden and draw.random() < 0.4
        fault.door = "garden" if rear else "front"
    elif name.startswith(("button-", "lamp-", "leak-")) or name in ("contact-resistance", "detector-dead"):
        fault.door = "front"
    if name.startswith("button-diode-"):
        now.button = name.removeprefix("button-diode-")
    elif name == "contact-stuck":
        if fault.door == "garden":
            now.garden_stuck = True
        else:
            now.button = "stuck"
    elif name == "detector-dead":
        now.front_alive = False  # a dead one at the garden door, where no rail rises, would show nowhere
    else:
        _GRADED[name](draw, severity, fault, house, now, then)
    return fault


def _lamp(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    led = draw.random() < 0.65
    now.parallel_ohm = between(s, 4700, 680) * draw.uniform(0.9, 1.1) if led else between(s, 400, 120)
    now.parallel_drop_v = float(draw.uniform(1.7, 2.2)) if led else 0.0
    fault.notes = {"kind": "led" if led else "filament", "ohm": now.parallel_ohm}


def just_seen_ohm(house: House, now: Circuit) -> float:
    """Ohms across the button at which the detector's current just reaches its threshold."""
    peak = math.sqrt(2.0) * now.emf_v * now.level
    drop = house.detector_drop_v + 0.097 * math.log(house.detector_on_a * 1e3)
    return max((peak - drop) / house.detector_on_a - house.detector_ohm, 500.0)


def _leak(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    limit = just_seen_ohm(house, now)
    first = min(max(1.1 * limit, 2500.0), 60e3)
    now.parallel_ohm = between(s, first, min(max(0.08 * limit, 1500.0), 0.5 * first))
    fault.notes = {"ohm": now.parallel_ohm, "ohm_just_seen": limit}


def _contact_resistance(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    now.contact_ohm = between(s, 15.0, 3000.0)
    fault.notes = {"ohm": now.contact_ohm}


def _drops_out(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    fault.habits = Habits(opens={str(fault.door): (1, round(between(s, 1, 7)), between(s, 0.012, 0.045))})


def _bounce(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    fault.habits = Habits(chatter={str(fault.door): (between(s, 0.004, 0.012), between(s, 4, 14))})


def _aged(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    loss = 0.12 + s * (0.80 - 0.12)
    now.reservoir_f *= 1.0 - loss
    more = between(s, 1.3, 25.0) * draw.uniform(0.6, 1.4)
    now.esr_ohm *= more
    fault.notes = {"loss": loss, "esr_times": more}


def _source(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    was = then.source_ohm
    more = between(s, max(1.8, 0.25 * was), max(min(35.0, 9.0 * was + 12.0), 1.2 * was))
    kind = str(draw.choice(["joint", "wire", "transformer"]))
    if kind == "joint":
        now.joint_ohm += more
    elif kind == "wire":
        now.wire_ohm += more
    else:
        now.leakage_h *= 1.0 + more / now.transformer_ohm * draw.uniform(0.3, 1.0)
        now.transformer_ohm += more
    fault.notes = {"kind": kind, "ohm": more}


def _mains_low(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    now.level = then.level * between(s, 0.93, 0.76) * draw.uniform(0.99, 1.01)
    fault.notes = {"level": now.level / then.level}


def _mains_dip(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    depth, cycles = between(s, 0.85, 0.30), int(draw.integers(8, 31)) if s < 0.4 else int(draw.integers(4, 18))
    number = int(draw.integers(1, 3))
    fault.habits = Habits(mains=tuple((depth * draw.uniform(0.97, 1.03), cycles) for _ in range(number)))
    fault.notes = {"level": depth, "cycles": cycles}


def _mains_swell(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    height, cycles = between(s, 1.10, 1.30), int(draw.integers(5, 40))
    number = int(draw.integers(1, 3))
    fault.habits = Habits(mains=tuple((height * draw.uniform(0.99, 1.01), cycles) for _ in range(number)))
    fault.notes = {"level": height, "cycles": cycles}


def _wrong_transformer(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    volts = 24.0 if house.transformer_v >= 16.0 else float(draw.choice([16.0, 24.0]))
    va = float(draw.choice([5.0, 8.0, 10.0, 15.0, 20.0, 30.0]))
    now.emf_v, now.transformer_ohm, ratio = transformer(draw, volts, va)
    now.leakage_h = ratio * now.transformer_ohm / (2 * math.pi * house.nominal_hz)
    now.core_v = now.emf_v
    now.magnetising_a *= house.transformer_v / volts
    fault.notes = {"transformer_v": volts, "transformer_va": va}


def _load_high(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    kind = str(draw.choice(["idle", "sound", "both"]))
    per = 1.0 if house.linear else house.rated_rail_v
    if kind != "sound":
        now.idle += between(s, 0.005, 0.05) * per
    if kind != "idle":
        now.sound *= between(s, 1.2, 2.0)
    now.sound = max(now.sound, now.idle * 1.05)
    fault.notes = {"kind": kind}


def _dropping_out(draw: Draw, s: float, fault: Fault, house: House, now: Circuit, then: Circuit) -> None:
    fault.notes = {"below_dropout_v": 0.05 + 1.15 * s}


_GRADED = {
    "lamp-in-button": _lamp,
    "leak-across-button": _leak,
    "contact-resistance": _contact_resistance,
    "contact-drops-out": _drops_out,
    "contact-bounce": _bounce,
    "reservoir-aged": _aged,
    "source-resistance-high": _source,
    "mains-low": _mains_low,
    "mains-dip": _mains_dip,
    "mains-swell": _mains_swell,
    "wrong-transformer": _wrong_transformer,
    "load-high": _load_high,
    "regulator-drops-out": _dropping_out,
}
