"""Rails of installations of our own drawing, run by ngspice (Debian package), and the chime's converter that samples them."""

import shutil
import subprocess
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from service.supply.folding import Run
from service.supply.unknowns import Chime, Kind

CYCLES = 11  # of a burst
STEP_S = 2e-5


@dataclass(frozen=True)
class House:
    """A linear chime behind a bell transformer. `flat`: how flat the mains are on top (0: a sine); `coil_h`: leakage inductance."""

    hertz: float
    open_v: float
    ohm: float
    farad: float
    idle_a: float
    sound_a: float
    test_a: float = 0.0
    test_ohm: float = 0.0
    esr_ohm: float = 0.15
    coil_h: float = 0.0
    flat: float = 0.0
    diode_c: float = 27.0

    @property
    def chime(self) -> Chime:
        """What the chime's maker says of it; the grid is known to be near 50 or 60 Hz."""
        return Chime(
            mains_hz=50.0 if self.hertz < 55.0 else 60.0,
            test_a=self.test_a or None,
            test_ohm=self.test_ohm or None,
        )


HOUSES = (
    House(50.03, 14.5, 4.0, 470e-6, 0.006, 0.12, test_ohm=330.0, flat=0.5, coil_h=1.5e-3),
    House(59.97, 19.0, 2.2, 1000e-6, 0.010, 0.20, test_a=0.05, flat=0.6, coil_h=0.8e-3),
    House(49.95, 21.5, 9.0, 680e-6, 0.012, 0.10, test_ohm=470.0, coil_h=3e-3, diode_c=40.0),
    House(60.02, 11.0, 3.0, 330e-6, 0.008, 0.08, test_ohm=270.0, flat=0.4, coil_h=1e-3, esr_ohm=0.25),
    House(50.00, 27.0, 14.0, 220e-6, 0.015, 0.09, test_a=0.04, flat=0.5, coil_h=5e-3, diode_c=15.0),
)


def rails(house: House, folder: Path) -> dict[Kind, np.ndarray]:
    """The settled rail under each load, every `STEP_S` over `CYCLES` cycles and a little more [V]."""
    program = shutil.which("ngspice")
    assert program is not None, "ngspice is not installed; deploy/test installs it"
    settle = 30 + int(8.0 * (house.ohm + 3.0) * house.farad * house.hertz)
    start, end = settle / house.hertz, (settle + CYCLES + 1) / house.hertz
    lines = ["*ng_script", ".control", "set noaskquit", "set wr_singlescale"]
    for kind in ("idle", "test", "sound"):
        deck, out = folder / f"{kind}.cir", folder / f"{kind}.data"
        deck.write_text(_deck(house, kind))
        lines += [f"source {deck}", f"tran {STEP_S} {end!r} {start!r} {STEP_S} uic", "linearize v(rail)"]
        lines += [f"wrdata {out} v(rail)", "destroy all", "remcirc"]
    (folder / "run.sp").write_text("\n".join([*lines, "quit", ".endc", ""]))
    done = subprocess.run(
        [program, "-b", "run.sp"], cwd=folder, capture_output=True, text=True, timeout=50, check=False
    )
    found: dict[Kind, np.ndarray] = {}
    for kind in ("idle", "test", "sound"):
        assert (folder / f"{kind}.data").exists(), done.stderr[-2000:]
        found[kind] = np.loadtxt(folder / f"{kind}.data")[:, 1]
    return found


def _deck(house: House, kind: str) -> str:
    """1N4007 by the model card of check values (IS 3.872n, N 1.776, RS 16.6m; measured with ngspice 39.3 against data sheets)."""
    omega = 2.0 * np.pi * house.hertz
    sine = f"sin({omega!r}*time)"
    angle = np.arange(4000) * 2.0 * np.pi / 4000
    wave = np.tanh(house.flat * np.sin(angle)) if house.flat else np.sin(angle)
    shape = f"tanh({house.flat!r}*{sine})" if house.flat else sine
    amplitude = house.open_v / float(np.sqrt(np.mean(wave**2)))
    draw = house.sound_a if kind == "sound" else house.idle_a
    extra = house.test_a if kind == "test" else 0.0
    resistor = f"Rt rail 0 {house.test_ohm!r}" if kind == "test" and house.test_ohm else ""
    coil = f"L1 s a {house.coil_h!r}\nR2 s a 20k" if house.coil_h else "R2 s a 1u"
    return f"""house
Bs source 0 V = {amplitude!r}*({shape})
R1 source s {house.ohm!r}
{coil}
D1 a b rectifier
D2 b e rectifier
R3 e rail 1u
R4 rail c {house.esr_ohm!r}
C1 c 0 {house.farad!r} ic={house.open_v!r}
Bl rail 0 I = {draw + extra!r}
{resistor}
.model rectifier D(IS=3.872n N=1.776 RS=16.6m CJO=10p)
.options temp={house.diode_c!r} reltol=1e-5 abstol=1e-10
.end
"""


@dataclass(frozen=True)
class Converter:
    rate_hz: float = 2000.0
    bits: int = 12
    full_v: float = 40.0
    noise_v: float = 0.006

    def run(self, volts: np.ndarray, start_s: float, hertz: float, random: np.random.Generator) -> Run:
        """Ten cycles and a bit of a rail every `STEP_S`, begun at a phase of chance."""
        first = random.uniform(0.0, 1.0 / hertz)
        at = first + np.arange(int((CYCLES - 0.7) / hertz * self.rate_hz)) / self.rate_hz
        lsb = self.full_v / 2**self.bits
        clean = np.interp(at, np.arange(len(volts)) * STEP_S, volts)
        codes = np.rint((clean + random.normal(0.0, self.noise_v, len(at))) / lsb)
        return Run(start_s + at - at[0], codes * lsb, lsb)

    def runs(self, rails: Mapping[Kind, np.ndarray], hertz: float, random: np.random.Generator) -> dict[Kind, Run]:
        return {kind: self.run(volts, float(k), hertz, random) for k, (kind, volts) in enumerate(rails.items())}
