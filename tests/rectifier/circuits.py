"""Installations drawn at random, and the same circuits for ngspice (Debian package ngspice), which shares no code with us."""

import re
import shutil
import subprocess
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from service.supply.diodes import SCHOTTKY, SILICON, Diode
from service.supply.rectifier import Supply, steady_state

CYCLES = 30  # that ngspice runs before it is measured
STEPS = 500  # its longest step is this part of a cycle
PHASES = (0.6, 1.2, 1.8, 2.4, 4.0)  # at which the rail itself is compared [rad]

Kind = Literal["plain", "coil", "load"]


def drawn(kind: Kind, count: int, seed: int) -> list[Supply]:
    """Installations one by one.

    "plain": neither inductance nor harmonics; standing and pressed, silicon and Schottky, 0 to 50 °C. "coil": X/R 0.05 to
    0.4 and mains with harmonics. "load": constant power, resistors, test currents, a radio. All carry their load.
    """
    random = np.random.default_rng(seed)
    supplies: list[Supply] = []
    while len(supplies) < count:
        hertz = float(random.choice([50.0, 60.0]))
        open_v = float(random.uniform(8.0, 24.0) * random.uniform(1.1, 1.3))
        ohm = float(np.exp(random.uniform(np.log(0.4), np.log(25.0))))
        farad = float(np.exp(random.uniform(np.log(100e-6), np.log(2200e-6))))
        load = float(np.exp(random.uniform(np.log(0.002), np.log(0.3))))
        if load / (hertz * farad) > 0.5 * open_v or load * ohm > 0.15 * open_v:
            continue  # would not stand
        more: dict[str, Any] = {
            "esr_ohm": float(random.uniform(0.02, 0.8)),
            "temperature_c": float(random.uniform(0.0, 50.0)),
            "board_diode": SCHOTTKY if random.random() < 0.3 else SILICON,
            "button_diode": None if random.random() < 0.3 else SILICON,
            "drop_shift_v": float(random.uniform(-0.05, 0.05)),
        }
        if kind == "coil":
            more["leakage_h"] = ohm * float(random.uniform(0.05, 0.4)) / (2.0 * np.pi * hertz)
            for order, share in (("third", 0.06), ("fifth", 0.03)):
                more[order] = float(random.uniform(0.0, share))
                more[order + "_phase"] = float(random.uniform(-np.pi, np.pi))
        if kind == "load":
            if random.random() < 0.6:
                more |= {"regulator": "switching", "rated_rail_v": open_v, "dropout_v": 0.2 * open_v}
            if random.random() < 0.5:
                more["test_ohm"] = float(random.uniform(200.0, 1000.0))
            else:
                more["test_a"] = float(random.uniform(0.0, 0.05))
            more |= {"radio_a": 0.05, "radio_s": 0.003, "radio_every_s": 0.1}
        supply = Supply(hertz, open_v, ohm, farad, load, **more)
        state = steady_state(supply)
        if state.rail_min_v[0] > max(0.3 * open_v, 2.0):
            supplies.append(supply)
    return supplies


def together(supplies: Sequence[Supply]) -> list[tuple[list[int], Supply]]:
    """The same side by side: one supply of arrays for each set of diodes and regulator, and which they are."""
    groups: dict[tuple[Any, ...], list[int]] = {}
    for place, supply in enumerate(supplies):
        groups.setdefault((supply.board_diode, supply.button_diode, supply.regulator), []).append(place)
    names = [f.name for f in fields(Supply) if f.name not in ("board_diode", "button_diode", "regulator")]
    return [
        (
            places,
            replace(supplies[places[0]], **{n: np.array([getattr(supplies[p], n) for p in places]) for n in names}),
        )
        for places in groups.values()
    ]


def simulated(supplies: Sequence[Supply], folder: Path) -> dict[str, np.ndarray]:
    """What ngspice finds: rail highest, lowest, mean, rms of the current, highest current, and the rail at PHASES."""
    program = shutil.which("ngspice")
    assert program is not None, "ngspice is not installed; deploy/test installs it"
    halves = [list(range(0, len(supplies), 2)), list(range(1, len(supplies), 2))]
    with ThreadPoolExecutor(2) as pool:
        told = list(pool.map(lambda half: _run(program, supplies, half, folder), halves))
    found = told[0] | told[1]
    names = ["highest", "lowest", "mean", "rms", "peak", *(f"phase{k}" for k in range(len(PHASES)))]
    return {name: np.array([found[place][name] for place in range(len(supplies))]) for name in names}


def _run(program: str, supplies: Sequence[Supply], places: list[int], folder: Path) -> dict[int, dict[str, float]]:
    lines = ["*ng_script", ".control", "set noaskquit"]
    for place in places:
        deck = folder / f"{place}.cir"
        deck.write_text(_deck(supplies[place]))
        period = 1.0 / float(supplies[place].mains_hz)
        start = (CYCLES - 1) * period
        step = period / STEPS
        lines += [
            f"source {deck}",
            f"echo place {place}",
            f"tran {step!r} {CYCLES * period + 2 * step!r} {start - 2 * step!r} {step!r} uic",
        ]
        window = f"from={start!r} to={CYCLES * period!r}"
        lines += [
            f"meas tran highest MAX v(rail) {window}",
            f"meas tran lowest MIN v(rail) {window}",
            f"meas tran mean AVG v(rail) {window}",
            f"meas tran rms RMS i(vsense) {window}",
            f"meas tran peak MAX i(vsense) {window}",
        ]
        for k, phase in enumerate(PHASES):
            lines.append(f"meas tran phase{k} FIND v(rail) AT={start + phase / (2.0 * np.pi) * period!r}")
        lines += ["destroy all", "remcirc"]
    script = folder / f"run{places[0]}.sp"
    script.write_text("\n".join([*lines, "quit", ".endc", ""]))
    done = subprocess.run([program, "-b", str(script)], capture_output=True, text=True, timeout=50, check=False)
    found: dict[int, dict[str, float]] = {}
    for block in re.split(r"^place ", done.stdout, flags=re.MULTILINE)[1:]:
        place, _, rest = block.partition("\n")
        told = re.findall(r"^(\w+)\s+=\s+([-+.\deE]+)", rest, re.MULTILINE)
        found[int(place)] = {name: float(value) for name, value in told}
    assert sorted(found) == sorted(places), done.stderr[-2000:]
    return found


def _deck(supply: Supply) -> str:
    """The netlist. It starts with the reservoir at our rail, which it leaves if that is wrong."""
    state = steady_state(supply)
    radio_a = float(supply.radio_a) * float(supply.radio_s) / float(supply.radio_every_s)
    regulated = float(supply.load_a) + radio_a
    power = regulated * float(supply.rated_rail_v)
    draw = f"{power!r}/max(v(rail), 0.5)" if supply.regulator == "switching" else repr(regulated)
    draw += f" + {float(supply.test_a)!r} + v(rail)*{1.0 / float(supply.test_ohm)!r}"
    omega = 2.0 * np.pi * float(supply.mains_hz)
    amplitude = float(supply.open_circuit_v) * np.sqrt(
        2.0 / (1.0 + float(supply.third) ** 2 + float(supply.fifth) ** 2)
    )
    shape = f"sin({omega!r}*time)"
    for order, share, phase in ((3, supply.third, supply.third_phase), (5, supply.fifth, supply.fifth_phase)):
        shape += f" + {float(share)!r}*sin({order * omega!r}*time + {float(phase)!r})"
    button = "R3 b d 1u" if supply.button_diode is None else "D2 b d button"
    # Cut off, a coil rings with the junction's capacitance at megahertz: a resistor beside it damps that.
    coil = f"L1 s a {float(supply.leakage_h)!r}\nR2 s a 20k" if float(supply.leakage_h) > 0.0 else "R2 s a 1u"
    resting = float(state.rail_at(np.array([0.0]))[0, 0])
    return f"""drawn installation
Bs source 0 V = {float(amplitude)!r}*({shape})
R1 source s {float(supply.source_ohm)!r}
{coil}
D1 a b board
{button}
Vshift d e {float(supply.drop_shift_v)!r}
Vsense e rail 0
Re rail c {float(supply.esr_ohm)!r}
C1 c 0 {float(supply.reservoir_f)!r} ic={resting!r}
Bl rail 0 I = {draw}
{_card("board", supply.board_diode)}
{_card("button", supply.button_diode or SILICON)}
.options temp={float(supply.temperature_c)!r} reltol=1e-5 abstol=1e-10
.end
"""


def _card(name: str, diode: Diode) -> str:
    """A model card; a junction of 10 pF steadies the simulator and takes no charge to speak of."""
    return (
        f".model {name} D(IS={diode.saturation_a!r} N={diode.emission!r} RS={diode.series_ohm!r} CJO=10p "
        f"TNOM={diode.temperature_c!r} EG={diode.gap_ev!r} XTI={diode.saturation_exponent!r})"
    )


def stepped(
    supply: Supply, sound_a: float, at_rad: float, cycles: int, folder: Path
) -> tuple[list[float], list[float]]:
    """Highest and lowest rail of each cycle after the load of a settled supply has stepped, by ngspice."""
    period = 1.0 / float(supply.mains_hz)
    start = (CYCLES + at_rad / (2.0 * np.pi)) * period
    deck = _deck(supply).replace(
        f"Bl rail 0 I = {float(supply.load_a)!r}",
        f"Bl rail 0 I = time < {start!r} ? {float(supply.load_a)!r} : {sound_a!r}",
    )
    (folder / "step.cir").write_text(deck)
    step = period / STEPS
    lines = ["*ng_script", ".control", "set noaskquit", f"source {folder / 'step.cir'}"]
    lines.append(f"tran {step!r} {start + (cycles + 1) * period!r} {start - period!r} {step!r} uic")
    for k in range(cycles):
        window = f"from={start + k * period!r} to={start + (k + 1) * period!r}"
        lines += [f"meas tran highest{k} MAX v(rail) {window}", f"meas tran lowest{k} MIN v(rail) {window}"]
    (folder / "step.sp").write_text("\n".join([*lines, "quit", ".endc", ""]))
    program = shutil.which("ngspice")
    assert program is not None, "ngspice is not installed; deploy/test installs it"
    done = subprocess.run(
        [program, "-b", str(folder / "step.sp")], capture_output=True, text=True, timeout=50, check=False
    )
    told = dict(re.findall(r"^((?:highest|lowest)\d+)\s+=\s+([-+.\deE]+)", done.stdout, re.MULTILINE))
    return [float(told[f"highest{k}"]) for k in range(cycles)], [float(told[f"lowest{k}"]) for k in range(cycles)]
