"""The bell circuit in the time domain: many circuits side by side, one time step after another.

Line: mains with harmonics, transformer (winding ohms, magnetising branch with saturation, leakage), wire, joint. Button: diode
across a contact, perhaps with something else across it. Chime: board diode, reservoir with ESR, regulator, test load, divider.
Detector: resistor, LED and diode from common to the terminal, on the other half-cycle; a rear button has a terminal of its own.

Implicit Euler for the conduction path, so that no combination of ohms and henries can make it ring. Knows
no solver of the service.
"""

import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from deploy.calibration.conduction import Array, both_carry, omega, path
from deploy.calibration.parts import OPEN_OHM, Circuit, House

STEP_S = 50e-6
KEPT = 2  # every second step of the rail is kept
KNOT_S = 0.1  # spacing of the slow wander


@dataclass(frozen=True, slots=True)
class Change:
    """At that moment this column's quantity becomes the value. `front`, `garden`: 1 closed, 0 open."""

    at_s: float
    column: int
    what: str
    value: float


@dataclass(slots=True)
class Run:
    """What happened: rail[kept step, column] V; edges[door][column] and power[column] as (s, on) in order of time; charge
    [A s] at marks; restarts[column] s of a chime that forgot what it was doing."""

    rail: NDArray[np.float32]
    edges: dict[str, list[list[tuple[float, bool]]]]
    power: list[list[tuple[float, bool]]]
    marks: dict[tuple[int, float], float]
    restarts: list[list[float]]


class Bench:
    """Circuits side by side, one column each."""

    def __init__(self, columns: list[tuple[House, Circuit]], phases: Array, wander: Array) -> None:
        """`phases` [rad]: mains at the start. `wander` [knots, columns]: relative level."""
        houses, circuits = [h for h, _ in columns], [c for _, c in columns]
        self.count = len(columns)

        def of_house(name: str) -> Array:
            return np.array([float(getattr(h, name)) for h in houses])

        def of_circuit(name: str) -> Array:
            return np.array([float(getattr(c, name)) for c in circuits])

        self.wander = wander
        self.theta = phases.copy()
        self.step_theta = 2.0 * math.pi * of_circuit("mains_hz") * STEP_S
        self.amplitude = math.sqrt(2.0) * of_circuit("emf_v")
        self.harmonics = [
            (k, np.array([_share(c, k)[0] for c in circuits]), np.array([_share(c, k)[1] for c in circuits]))
            for k in (3, 5, 7)
        ]
        self.ahead_ohm = of_circuit("transformer_ohm") * of_circuit("ahead")
        self.magnetising_a, self.saturation = of_circuit("magnetising_a"), of_circuit("saturation")
        self.per_flux = (
            2.0 * math.pi * np.array([h.nominal_hz for h in houses]) / (math.sqrt(2.0) * of_circuit("core_v"))
        )
        self.flux = -self.amplitude * of_circuit("level") * np.cos(phases) / (2.0 * math.pi * of_circuit("mains_hz"))
        self.leak = of_circuit("leakage_h") / STEP_S
        self.farad_step, self.esr = STEP_S / of_circuit("reservoir_f"), of_circuit("esr_ohm")
        self.linear = of_house("linear") > 0.5
        self.per_dropout = 1.0 / of_house("dropout_v")
        self.off_v, self.on_v = of_house("off_v"), of_house("on_v")
        self.quiescent_a, self.soft_s = of_house("quiescent_a"), np.maximum(of_house("soft_s"), 1e-6)
        self.divider_s = 1.0 / of_house("divider_ohm") + 2e-6
        self.resumes = of_house("resumes") > 0.5
        self.idle, self.tone_hz = of_circuit("idle"), of_house("sound_hz")
        self.now = {
            "level": of_circuit("level"), "bump": np.zeros(self.count), "demand": self.idle.copy(), "share": np.zeros(self.count),
            "radio": np.zeros(self.count), "test_a": np.zeros(self.count), "test_s": np.zeros(self.count),
        }  # fmt: skip
        self._detectors(houses, circuits)
        self._paths(circuits)
        source_v = self.amplitude * of_circuit("level")
        self.supplied = np.array([c.button not in ("open", "reversed") for c in circuits])
        # from below, whence it settles soon: charging is quick, discharging by an idle chime is not
        self.reservoir_v = np.where(self.supplied, np.maximum(0.9 * source_v - 1.5, 1.0), 0.3)

    def _detectors(self, houses: list[House], circuits: list[Circuit]) -> None:
        """Rows: front, garden."""
        drops = [h.detector_drop_v - 0.0032 * (c.board_c - 25.0) for h, c in zip(houses, circuits, strict=True)]
        self.led_v = np.array([drops, drops])
        front = [h.detector_ohm * h.detector_error[0] + c.source_ohm for h, c in zip(houses, circuits, strict=True)]
        rear = [
            h.detector_ohm * h.detector_error[1] + c.transformer_ohm + h.garden_wire_ohm
            for h, c in zip(houses, circuits, strict=True)
        ]
        self.detector_ohm = np.array([front, rear])
        alive = [[c.front_alive for c in circuits], [h.garden for h in houses]]
        self.gain = np.array([h.detector_gain for h in houses]) * np.array(alive)
        self.cap = np.array([h.detector_cap for h in houses])
        self.high = np.array([h.detector_high for h in houses])
        self.low = np.array([h.detector_low for h in houses])
        self.rise = 1.0 - np.exp(-STEP_S / np.array([max(h.detector_on_s, 1e-9) for h in houses]))
        self.fall = 1.0 - np.exp(-STEP_S / np.array([max(h.detector_off_s, 1e-9) for h in houses]))

    def _paths(self, circuits: list[Circuit]) -> None:
        """The conduction path with the button open and closed: rows A [ohm], B [V], ln(A/B) + ln Is + A Is / B, Is; then what
        the detector's current meets: ohms, drop; then the ohms beside the diode where both carry (0: not so)."""
        self.shapes = {}
        for state, closed in (("open", False), ("closed", True)):
            rows = []
            for j, c in enumerate(circuits):
                series_ohm = self.esr[j] + self.farad_step[j] + self.leak[j]
                rows.append(path(c, closed or c.button == "stuck", float(series_ohm)))
            self.shapes[state] = np.array(rows).T.copy()
        self.path = self.shapes["open"].copy()
        self.board = np.array([c.board.at(c.board_c) for c in circuits]).T
        self.across = np.array([c.button_diode.at(c.button_c) for c in circuits]).T
        self.rear = np.array(
            [
                [c.contact_ohm if c.garden_stuck else OPEN_OHM for c in circuits],
                [c.garden_contact_ohm for c in circuits],
            ]
        )
        self.rear_ohm = self.rear[0].copy()

    def settle(self, for_s: float) -> None:
        """Let idle circuits find their steady state, without wander; those without a supply stay empty."""
        wander, self.wander = self.wander, np.zeros((2, self.count))
        self.run([], for_s)
        self.wander = wander

    def run(self, changes: list[Change], end_s: float) -> Run:
        """From 0 to the end."""
        due = defaultdict(list)
        for change in sorted(changes, key=lambda c: c.at_s):
            due[max(int(change.at_s / STEP_S), 0)].append(change)
        steps = int(end_s / STEP_S)
        kept = np.zeros((steps // KEPT + 1, self.count), np.float32)
        n = self.count
        edges: dict[str, list[list[tuple[float, bool]]]] = {
            door: [[] for _ in range(n)] for door in ("front", "garden")
        }
        out = Run(kept, edges, [[] for _ in range(n)], {}, [[] for _ in range(n)])
        i, load, charge = np.zeros(n), np.full(n, 0.0), np.zeros(n)
        v, rail = self.reservoir_v, self.reservoir_v.copy()
        running, on_since = self.supplied & (rail > self.off_v), np.full(n, -10.0)
        for j in np.flatnonzero(running):
            out.power[j].append((0.0, True))
        state, pulled = np.zeros((2, n), bool), np.zeros((2, n))
        names = ("front", "garden")
        (k3, h3, p3), (k5, h5, p5), (k7, h7, p7) = self.harmonics
        now, knots = self.now, self.wander
        magnetic = bool((self.magnetising_a > 0).any())
        im, stiff = np.zeros(n), np.ones(n)
        hardness = STEP_S * self.ahead_ohm * self.magnetising_a * self.per_flux
        both = np.flatnonzero(self.path[6])
        back_ohm = self.detector_ohm.copy()
        back_v = self.led_v.copy()
        a, b, shape, i_s = self.path[:4]
        last_knot = len(knots) - 2

        def refresh() -> None:
            nonlocal both, a, b, shape, i_s
            a, b, shape, i_s = self.path[:4]
            both = np.flatnonzero(self.path[6])
            back_ohm[0] = self.detector_ohm[0] + self.path[4]
            back_ohm[1] = self.detector_ohm[1] + self.rear_ohm
            back_v[0] = self.led_v[0] + self.path[5]

        refresh()
        for step in range(steps):
            t = step * STEP_S
            if step in due:
                moved_contact = False
                for c in due[step]:
                    if c.what == "front":
                        moved_contact = True
                        self.path[:, c.column] = self.shapes["closed" if c.value else "open"][:, c.column]
                    elif c.what == "garden":
                        moved_contact = True
                        self.rear_ohm[c.column] = self.rear[int(c.value), c.column]
                    elif c.what == "mark":
                        out.marks[(c.column, c.at_s)] = float(charge[c.column])
                    else:
                        now[c.what][c.column] = c.value
                if moved_contact:
                    refresh()
            knot = t / KNOT_S
            at = min(int(knot), last_knot)
            level = now["level"] * (1.0 + knots[at] + (knot - at) * (knots[at + 1] - knots[at]))
            self.theta += self.step_theta + now["bump"]
            th = self.theta
            e = (
                (np.sin(th) + h3 * np.sin(k3 * th + p3) + h5 * np.sin(k5 * th + p5) + h7 * np.sin(k7 * th + p7))
                * level
                * self.amplitude
            )
            inside = e
            if magnetic:
                x = self.flux * self.per_flux
                x4 = x * x
                x4 *= x4
                x4 *= x4
                im = self.magnetising_a * x * (1.0 + self.saturation * x4)
                stiff = 1.0 + hardness * (1.0 + 9.0 * self.saturation * x4)
                inside = e - self.ahead_ohm * im
            drive = inside + self.leak * i - v + (self.esr + self.farad_step) * load
            w = omega(drive / b + shape)
            i = np.maximum(w * b / a - i_s, 0.0)
            if both.size:
                i[both] = both_carry(
                    self.path[:, both], self.board[:, both], self.across[:, both], drive[both], i[both]
                )
            net = i - load
            v = v + self.farad_step * net
            rail = v + self.esr * net
            if magnetic:
                self.flux += STEP_S * (e - self.ahead_ohm * (i + im)) / stiff
            # the regulator and what else draws from the rail
            up = np.where(running, rail > self.off_v, rail > self.on_v)
            if (up != running).any():
                for j in np.flatnonzero(up != running):
                    out.power[j].append((t, bool(up[j])))
                    if up[j]:
                        on_since[j] = t
                        if not self.resumes[j]:
                            now["demand"][j], now["share"][j], now["test_a"][j], now["test_s"][j] = (
                                self.idle[j],
                                0.0,
                                0.0,
                                0.0,
                            )
                            out.restarts[j].append(t)
                running = up
            tone = np.where((t * self.tone_hz) % 1.0 < 0.5, 1.0, -1.0)
            wanted = now["demand"] * (1.0 + now["share"] * tone) + now["radio"]
            soft = np.minimum((t - on_since) / self.soft_s, 1.0)
            per = np.where(self.linear, np.minimum(rail * self.per_dropout, 1.0), soft / np.maximum(rail, 2.0))
            drawn = np.where(running, self.quiescent_a + wanted * per, 0.0)
            charge += drawn * STEP_S
            load = drawn + np.where(running, now["test_a"] + rail * now["test_s"], 0.0) + rail * self.divider_s
            # the detectors, on the other half-cycle
            over = -inside - back_v
            rough = np.maximum(over / back_ohm, 1e-6)
            led = np.maximum((over - 0.097 * np.log(rough * 1e3)) / back_ohm, 0.0)
            target = np.minimum(led * self.gain, self.cap)
            moved = pulled + np.where(target > pulled, self.rise, self.fall) * (target - pulled)
            limit = np.where(state, self.low, self.high)
            above = moved > limit
            if (above != state).any():
                for row, j in zip(*np.nonzero(above != state), strict=True):
                    before, after = pulled[row, j], moved[row, j]
                    share = (limit[row, j] - before) / (after - before)
                    edges[names[row]][j].append((float(t + (share - 1.0) * STEP_S), bool(above[row, j])))
                state = above
            pulled = moved
            if step % KEPT == 0:
                kept[step // KEPT] = rail
        self.reservoir_v = v
        return out


def _share(circuit: Circuit, order: int) -> tuple[float, float]:
    return next(((share, phase) for k, share, phase in circuit.harmonics if k == order), (0.0, 0.0))


def open_circuit_v(columns: list[tuple[House, Circuit]]) -> Array:
    """What a true-rms meter shows at the unloaded transformer [V], for each circuit."""
    bench = Bench(columns, np.zeros(len(columns)), np.zeros((2, len(columns))))
    total, steps = np.zeros(bench.count), round(0.5 / STEP_S)
    for step in range(steps):
        bench.theta += bench.step_theta
        e = np.sin(bench.theta)
        for k, share, phase in bench.harmonics:
            e = e + share * np.sin(k * bench.theta + phase)
        e *= bench.now["level"] * bench.amplitude
        x = bench.flux * bench.per_flux
        im = bench.magnetising_a * x * (1.0 + bench.saturation * x**8)
        bench.flux += STEP_S * (e - bench.ahead_ohm * im)
        if step >= steps - round(0.2 / STEP_S):  # whole cycles at 50 and at 60 Hz
            total += (e - bench.ahead_ohm * im) ** 2
    rms: Array = np.sqrt(total / round(0.2 / STEP_S))
    return rms
