"""A button, its detector and the mains for ngspice (Debian package ngspice), which shares no code with us: closed stretches to pulses."""

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from adapters.simulated.contacts import Span
from tests.presses.told import Wired

STEP_S = 4e-5
OPEN_V, SOURCE_OHM, DETECTOR_OHM, ON_A = 14.4, 5.6, 2200.0, 1.2e-3
NEED_NOT_BE_SENT_S = 0.2e-3
"""Shorter pulses, says the contract."""


def pulses(wired: Wired, closed: Sequence[Span], folder: Path) -> list[Span]:
    """When the LED's current is above `ON_A` [s]; the mains rise through zero at 0 s."""
    program = shutil.which("ngspice")
    assert program is not None, "ngspice is not installed; deploy/test installs it"
    end_s = closed[-1][1] + 0.1
    name = f"{wired.door}{wired.mains_hz:.0f}"
    deck, out, script = folder / f"{name}.cir", folder / f"{name}.data", folder / f"{name}.sp"
    deck.write_text(_deck(wired, closed))
    script.write_text(
        "\n".join([
            "*ng_script", ".control", "set noaskquit", "set wr_singlescale", f"source {deck}",
            f"tran {STEP_S} {end_s!r} 0 {STEP_S} uic", f"wrdata {out} v(d)", "quit", ".endc", "",
        ])
    )  # fmt: skip
    done = subprocess.run([program, "-b", str(script)], capture_output=True, text=True, timeout=50, check=False)
    assert out.exists(), done.stderr[-2000:]
    at, volts = np.loadtxt(out).T
    above = -volts / DETECTOR_OHM - ON_A
    rises, falls = _crossings(at, above), _crossings(at, -above)
    return [(a, b) for a, b in zip(rises, falls, strict=True) if b - a >= NEED_NOT_BE_SENT_S]


def _crossings(at: np.ndarray, values: np.ndarray) -> list[float]:
    before = np.flatnonzero((values[:-1] <= 0.0) & (values[1:] > 0.0))
    share = -values[before] / (values[before + 1] - values[before])
    return [float(moment) for moment in at[before] + share * (at[before + 1] - at[before])]


def _deck(wired: Wired, closed: Sequence[Span]) -> str:
    """1N4007 by the model card of check values (IS 3.872n, N 1.776, RS 16.6m; measured with ngspice 39.3 against data sheets). The
    front button stands between source and chime, with the diode that feeds it; the rear one between source and its detector."""
    moments = [(0.0, 0)]
    for start_s, end_s in closed:
        moments += [(start_s, 0), (start_s + 1e-6, 1), (end_s, 1), (end_s + 1e-6, 0)]
    control = " ".join(f"{at!r} {value}" for at, value in moments)
    fed = "" if wired.rear else "D1 s a rectifier\nD2 a rail rectifier\nC1 rail 0 470u ic=18.3\nBl rail 0 I=0.006"
    return f"""button
Bs source 0 V = {OPEN_V * 2.0**0.5!r}*sin({2.0 * np.pi * wired.mains_hz!r}*time)
R1 source s {SOURCE_OHM}
Vc c 0 PWL({control})
S1 s a c 0 contact
{fed}
R2 0 d {DETECTOR_OHM}
D3 d e rectifier
D4 e a led
.model contact SW(RON=0.05 ROFF=1e9 VT=0.5 VH=0.1)
.model rectifier D(IS=3.872n N=1.776 RS=16.6m CJO=10p)
.model led D(IS=1.2e-13 N=1.95 RS=2)
.options reltol=1e-4
.end
"""
