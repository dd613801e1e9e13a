"""What was really so in an invented installation, and which of its faults can be seen in the recording at all."""

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray

from deploy.calibration.chime import Told, alive
from deploy.calibration.circuit import KEPT, STEP_S, Run
from deploy.calibration.faults import Fault
from deploy.calibration.parts import Circuit, House
from deploy.calibration.timetable import Timetable

Json = dict[str, Any]
INDISTINGUISHABLE = {
    "contact-stuck": ["button-diode-shorted"],
    "button-diode-shorted": ["contact-stuck"],
    "lamp-in-button": ["leak-across-button"],
    "leak-across-button": ["lamp-in-button"],
    "mains-low": ["source-resistance-high"],
}


class Seen:
    """One survey with everything known about it."""

    def __init__(
        self, house: House, circuit: Circuit, table: Timetable, run: Run, column: int, told: Told, open_circuit_v: float
    ) -> None:
        self.house, self.circuit, self.table, self.told = house, circuit, table, told
        self.rail = run.rail[:, column]
        self.spans = alive(house, run, column, table.end_s)
        self.open_circuit_v = open_circuit_v
        self.means = {name: self._mean(name, run, column) for name in ("idle", "sound")}

    def _mean(self, name: str, run: Run, column: int) -> float:
        """Mean current of the chime in a burst, without test load; where it was off, what it would draw at its rated rail."""
        start, end = self.table.bursts[name]
        if any(on <= start and end <= off for on, off in self.spans):
            return (run.marks[(column, end)] - run.marks[(column, start)]) / (end - start)
        wanted = getattr(self.circuit, name)
        return float(wanted if self.house.linear else self.house.quiescent_a + wanted / self.house.rated_rail_v)

    def rail_between(self, start: float, end: float) -> NDArray[np.float32]:
        return self.rail[int(start / STEP_S / KEPT) : max(int(end / STEP_S / KEPT), int(start / STEP_S / KEPT) + 1)]

    def dropouts(self) -> list[str]:
        """Bursts in which the rail is below the drop-out voltage or the chime off."""
        low = []
        for name in ("idle", "test", "sound"):
            start, end = self.table.bursts[name]
            covered = any(on <= start and end <= off for on, off in self.spans)
            if not covered or self.rail_between(start, end).min() < self.house.dropout_v:
                low.append(name)
        return low

    def figures(self) -> Json:
        return {
            "mains_hz": self.circuit.mains_hz,
            "reservoir_f": self.circuit.reservoir_f,
            "source_ohm": self.circuit.source_ohm,
            "open_circuit_v": self.open_circuit_v,
            "idle_a": self.means["idle"],
            "sound_a": self.means["sound"],
            "esr_ohm": self.circuit.esr_ohm,
            "board_c": self.circuit.board_c,
            "level": self.circuit.level,
            "dropout": self.dropouts(),
        }

    def presses(self) -> list[Json]:
        clock = self.house.clock
        return [
            {
                "door": p.door,
                "start_s": p.start_s * clock,
                "end_s": p.end_s * clock,
                "sounding": p.sounding,
                "opens": p.opens,
                "powered": any(on <= p.start_s and p.end_s <= off for on, off in self.spans),
                "pulses": sum(
                    p.start_s * clock - 0.002 <= rise <= p.end_s * clock + 0.02 for rise, _ in self.told.edges[p.door]
                ),
            }
            for p in sorted(self.table.presses, key=lambda p: p.start_s)
        ]


def truth(house: House, faults: list[Fault], then: Seen, now: Seen) -> Json:
    """The truth beside a recording, as JSON."""
    names = [fault.name for fault in faults]
    ambiguous = [other for name in names for other in INDISTINGUISHABLE.get(name, [])]
    if names and "regulator-drops-out" not in names and "sound" in now.dropouts():
        ambiguous.append("regulator-drops-out")
    return {
        "kind": house.kind,
        "label": "healthy" if not names else names[0] if len(names) == 1 else "double",
        "faults": names,
        "door": next((fault.door for fault in faults if fault.door), None),
        "severity": {fault.name: round(fault.severity, 3) for fault in faults},
        "notes": {fault.name: fault.notes for fault in faults},
        "observable": {fault.name: bool(_observable(fault, then, now)) for fault in faults},
        "ambiguous_with": ambiguous,
        "then": then.figures() | {"presses": then.presses()},
        "now": now.figures() | {"presses": now.presses()},
        "chime": {
            "regulator": "linear" if house.linear else "switching", "muted": house.muted, "radio": house.radio,
            "board_diode": "silicon" if now.circuit.board.gap_ev > 1.0 else "schottky", "detector_on_a": house.detector_on_a,
            "bits": house.bits, "rate_hz": house.rate_hz, "garden": house.garden,
        },
    }  # fmt: skip


def _observable(fault: Fault, then: Seen, now: Seen) -> bool:
    """Whether the fault left a trace that a careful reader of the recording could find."""
    name, was, is_now = fault.name, then.circuit, now.circuit
    if name in ("lamp-in-button", "leak-across-button"):
        return len(_between_presses(now, "front")) >= 3
    if name in ("contact-stuck", "button-diode-shorted"):
        return len(now.told.edges[fault.door or "front"]) > 20
    if name == "button-diode-open":  # a chime that came up and heard the button; else the record only ends
        return any(p["pulses"] for p in now.presses())
    if name == "button-diode-reversed":
        return len(_between_presses(now, "front")) >= 3
    if name == "contact-bounce":
        n, rate = _bounce_rate(now, str(fault.door))
        return n >= 4 and rate > 2.0 * _bounce_rate(then, str(fault.door))[1] + 0.3
    if name == "contact-drops-out":
        return _lapse_seen(now, str(fault.door))
    if name == "contact-resistance":
        long = any(p.door == "front" and not p.sounding and p.end_s - p.start_s > 0.09 for p in now.table.presses)
        return is_now.contact_ohm * 7.0 * now.means["idle"] > 0.45 and long
    if name == "detector-dead":
        return any(
            p["door"] == "front" and not p["sounding"] and p["powered"] and p["end_s"] - p["start_s"] > 0.09
            for p in now.presses()
        )
    if name in ("mains-dip", "mains-swell"):
        return any(_excursion(now, start, end, name == "mains-dip") for start, end, _ in now.table.mains)
    return {
        "source-resistance-high": is_now.source_ohm > max(was.source_ohm + 2.0, 1.25 * was.source_ohm),
        "reservoir-aged": is_now.reservoir_f < 0.9 * was.reservoir_f,
        "load-high": now.means["idle"] > then.means["idle"] + 0.004 or now.means["sound"] > 1.15 * then.means["sound"],
        "mains-low": is_now.level < 0.945 * was.level,
        "regulator-drops-out": "sound" in now.dropouts(),
    }.get(name, True)


def _between_presses(seen: Seen, door: str) -> list[tuple[float, float]]:
    held = [(p.start_s - 0.02, p.end_s + 0.04) for p in seen.table.presses if p.door == door]
    return [pulse for pulse in seen.told.edges[door] if not any(start < pulse[0] < end for start, end in held)]


def _bounce_rate(seen: Seen, door: str) -> tuple[int, float]:
    edges = seen.told.edges[door]
    short = sum(b[0] - a[1] < 0.25 / seen.house.nominal_hz for a, b in itertools.pairwise(edges))
    return short, short / max(sum(p.door == door for p in seen.table.presses), 1)


def _lapse_seen(seen: Seen, door: str) -> bool:
    edges = seen.told.edges[door]
    if len(edges) < 3:
        return False
    width = float(np.median([fall - rise for rise, fall in edges]))
    limit = 1.0 / seen.house.nominal_hz - width + 0.002
    return any(
        p.door == door and p.start_s < a[1] and b[0] < p.end_s + 0.002 and b[0] - a[1] > limit
        for p in seen.table.presses
        for a, b in itertools.pairwise(edges)
    )


def _excursion(seen: Seen, start: float, end: float, down: bool) -> bool:
    before, inside = seen.rail_between(start - 0.25, start), seen.rail_between(start, end + 0.02)
    if down:
        return bool(before.min() - inside.min() > max(0.25, 0.025 * before.min()))
    return bool(inside.max() - before.max() > max(0.25, 0.03 * before.max()))
