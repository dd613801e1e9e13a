"""Invented bell circuits for ngspice (Debian package ngspice), which shares no code with us, and what it finds at five points of each."""

import shutil
import subprocess
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from service.scope.naming import Point

SETTLE_S, KEEP_S = 0.6, 0.4
STEP_S = 2e-5


@dataclass(frozen=True)
class Wired:
    """One circuit in one state."""

    name: str
    mains_hz: float
    open_v: float  # rms
    transformer_ohm: float
    wire_ohm: float
    reservoir_f: float
    load_a: float
    regulator_v: float
    pressed: bool
    swapped: bool = False  # the probe and its ground clip before the rectifier are the other way round
    pull_up_ohm: float = 10_000.0


def drawn(count: int, seed: int) -> list[Wired]:
    """Each circuit at rest and pressed; every third sounds, at every fourth the probe is the other way round."""
    random = np.random.default_rng(seed)
    found = []
    for number in range(count):
        hertz = float(random.choice([50.0, 60.0]) * random.uniform(0.996, 1.004))
        sounding = number % 3 == 2
        volts = float(random.choice([8.0, 12.0, 16.0, 24.0]) * random.uniform(1.15, 1.3))
        load = float(random.uniform(0.06, 0.15) if sounding else random.uniform(0.004, 0.02))
        least = load / (hertz * 0.25 * volts * 1.414)  # ripple of a quarter at the most
        farad = float(random.choice([220e-6, 470e-6, 1000e-6, 2200e-6]))
        at_rest = Wired(
            f"circuit-{number}-rest",
            hertz,
            volts,
            float(random.uniform(1.0, 6.0)),
            float(random.uniform(0.2, 3.0)),
            max(farad, least),
            load,
            3.3 if volts < 12.0 else 5.0,
            pressed=False,
            swapped=number % 4 == 3,
            pull_up_ohm=float(random.choice([4_700.0, 10_000.0])),
        )
        found += [at_rest, replace(at_rest, name=f"circuit-{number}-pressed", pressed=True)]
    return found


def simulated(wired: list[Wired], folder: Path) -> list[tuple[np.ndarray, dict[Point, np.ndarray]]]:
    """For each circuit its moments [s] at a constant step, and volts at each point."""
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(lambda one: _run(one, folder), wired))


def _run(one: Wired, folder: Path) -> tuple[np.ndarray, dict[Point, np.ndarray]]:
    program = shutil.which("ngspice")
    assert program is not None, "ngspice is not installed; deploy/test installs it"
    deck, out, script = (folder / f"{one.name}.{end}" for end in ("cir", "data", "sp"))
    deck.write_text(_deck(one))
    script.write_text(
        "\n".join([
            "*ng_script", ".control", "set noaskquit", "set wr_singlescale", f"source {deck}",
            f"tran {STEP_S} {SETTLE_S + KEEP_S} {SETTLE_S} {STEP_S} uic", f"wrdata {out} v(s) v(t) v(rail) v(reg) v(out)",
            "quit", ".endc", "",
        ])
    )  # fmt: skip
    done = subprocess.run([program, "-b", str(script)], capture_output=True, text=True, timeout=120, check=False)
    assert out.exists(), done.stderr[-2000:]
    table = np.loadtxt(out)
    even = np.arange(SETTLE_S, SETTLE_S + KEEP_S - STEP_S, STEP_S)
    columns = [np.interp(even, table[:, 0], table[:, n]) for n in range(1, 6)]
    if one.swapped:
        columns[:2] = [-columns[0], -columns[1]]
    points: tuple[Point, ...] = ("transformer", "terminal", "rectifier", "regulated", "detector")
    return even - SETTLE_S, dict(zip(points, columns, strict=True))


def _deck(one: Wired) -> str:
    """1N4007 by the model card of check values (IS 3.872n, N 1.776, RS 16.6m; measured with ngspice 39.3 against data sheets). An
    instrument's 10 MOhm hang at the terminal; the optocoupler is a transistor that a pull-up and the LED's current drive."""
    full = one.open_v * 2.0**0.5
    return f"""bell circuit, invented
Bs source 0 V = {full!r}*sin({2.0 * np.pi * one.mains_hz!r}*time)
R1 source s {one.transformer_ohm!r}
R3 s b {one.wire_ohm!r}
D1 b t rectifier
Rb b t {0.05 if one.pressed else 1e9}
Rp t 0 10meg
D2 t rail rectifier
C1 rail esr {one.reservoir_f!r} ic={(full - 1.2) * 0.95!r}
Re esr 0 0.1
Bl rail 0 I = {one.load_a!r} * (0.5 + 0.5 * tanh((v(rail) - 2) * 4))
Br0 r0 0 V = max(0, min({one.regulator_v!r}, v(rail) - 1.6))
Rr r0 reg 5
Cr reg 0 10u
R2 0 d 2200
D3 d e rectifier
D4 e t led
Bo o1 0 V = max(0.15, 5 - {one.pull_up_ohm!r} * 0.8 * max(0, -v(d) / 2200))
Ro o1 out 1000
Co out 0 30n
.model rectifier D(IS=3.872n N=1.776 RS=16.6m CJO=10p)
.model led D(IS=1.2e-13 N=1.95 RS=2)
.options reltol=1e-4
.end
"""
