"""Faults by name and severity, as changes to an installation.

Severity runs from 0, just noticeable, to 1, severe. Its ends are those of the reference installations; between them
resistances and losses that span decades go geometrically. Knows nothing of how a fault will show.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from adapters.simulated.circuit import STEP_S, Circuit, State
from adapters.simulated.contacts import Contact
from adapters.simulated.installation import Installation, MainsEvents
from service.errors import SettingError

Change = Callable[[Installation, float], Installation]


def apply(name: str | None, severity: float, house: Installation | None = None) -> Installation:
    """The installation with this fault; unchanged for None. Raises SettingError for an unknown name or a severity outside 0..1."""
    house = house or Installation()
    if name is None:
        return house
    if name not in FAULTS:
        raise SettingError(f"{name!r} is no fault of the simulated house. There are: {', '.join(FAULTS)}.")
    if not 0.0 <= severity <= 1.0:
        raise SettingError(f"Severity {severity:g} is outside 0 (just noticeable) to 1 (severe).")
    return FAULTS[name](house, severity)


def _between(low: float, high: float, severity: float) -> float:
    return low + (high - low) * severity


def _geometric(low: float, high: float, severity: float) -> float:
    return float(low * (high / low) ** severity)


def _parts(house: Installation, **changes: Any) -> Installation:
    return replace(house, parts=replace(house.parts, **changes))


def _diode(state: str) -> Change:
    return lambda house, _: _parts(house, button_diode=state)


def _contact_stuck(house: Installation, _: float) -> Installation:
    return replace(house, front=replace(house.front, stuck=True))


def _lamp(house: Installation, severity: float) -> Installation:
    """From a light-emitting diode behind 4.7 kilohm to one behind 680 ohm."""
    return _parts(house, leak_ohm=_geometric(4700.0, 680.0, severity))


def _leak(house: Installation, severity: float) -> Installation:
    """From 1.2 times the leak that the detector can just see down to 0.08 of it."""
    parts = house.parts
    peak = parts.fundamental_v * (1.0 - parts.third + parts.fifth)
    seen = (peak - parts.detector_drop_v) / parts.detector_on_a - parts.detector_ohm
    mildest = min(max(1.2 * seen, 2500.0), 60_000.0)
    return _parts(house, leak_ohm=_geometric(mildest, max(0.08 * seen, 1500.0), severity))


def _detector_dead(house: Installation, _: float) -> Installation:
    return _parts(house, detector_works=False)


def _contact_resistance(house: Installation, severity: float) -> Installation:
    return _parts(house, contact_ohm=_geometric(15.0, 3000.0, severity))


def _drops_out(house: Installation, severity: float) -> Installation:
    most = round(_between(1, 7, severity))
    return replace(
        house, front=replace(house.front, drop_outs=(1, most), drop_out_s=(4e-3, _between(12e-3, 45e-3, severity)))
    )


def _bounce(house: Installation, severity: float) -> Installation:
    longest, openings = _between(4e-3, 12e-3, severity), round(_between(4, 14, severity))
    span = (0.7 * longest, longest)
    return replace(house, front=Contact(make_bounce_s=span, break_bounce_s=span, bounce_openings=openings))


def _aged(house: Installation, severity: float) -> Installation:
    return _parts(
        house,
        reservoir_f=house.parts.reservoir_f * _between(0.88, 0.20, severity),
        esr_ohm=house.parts.esr_ohm * _geometric(1.3, 25.0, severity),
    )


def _source(house: Installation, severity: float) -> Installation:
    ohm = house.parts.source_ohm
    return _parts(house, source_ohm=ohm + _between(max(1.8, 0.22 * ohm), max(35.0, 1.2 * ohm), severity))


def _mains_low(house: Installation, severity: float) -> Installation:
    return replace(house, mains_level=_between(0.925, 0.76, severity))


def _mains_dip(house: Installation, severity: float) -> Installation:
    return replace(
        house,
        events=MainsEvents(
            _between(0.85, 0.30, severity), round(_between(8, 4, severity)), round(_between(25, 16, severity))
        ),
    )


def _mains_swell(house: Installation, severity: float) -> Installation:
    return replace(house, events=MainsEvents(_between(1.09, 1.30, severity), 5, 40))


def _wrong_transformer(house: Installation, severity: float) -> Installation:
    """16 V to 24 V where the sheet says 12 V."""
    return _parts(house, open_circuit_v=house.parts.open_circuit_v * _between(16.0, 24.0, severity) / 12.0)


def _load_high(house: Installation, severity: float) -> Installation:
    return replace(
        house,
        idle_a=house.idle_a + _between(5e-3, 50e-3, severity),
        sound_a=house.sound_a * _between(1.18, 2.0, severity),
    )


def _drops_out_sounding(house: Installation, severity: float) -> Installation:
    """A louder sound on a transformer so soft that the rail falls 0.05 V to 1.2 V below drop-out."""
    louder = replace(house, sound_a=1.1 * house.sound_a)
    wanted = house.parts.dropout_v - _between(0.05, 1.2, severity)
    low, high = house.parts.source_ohm, 20.0 * house.parts.source_ohm
    for _ in range(12):
        middle = 0.5 * (low + high)
        if lowest_sounding_v(_parts(louder, source_ohm=middle)) > wanted:
            low = middle
        else:
            high = middle
    return _parts(louder, source_ohm=high)


def lowest_sounding_v(house: Installation) -> float:
    """The lowest rail [V] of a second of sounding at the nominal level, from rest."""
    circuit = Circuit(house.parts)
    state = State.at(circuit.settled_v(np.array([house.mains_level]), house.idle_a), running=True)
    cycles = (np.arange(round(1.0 / STEP_S)) + 0.5) * STEP_S * house.parts.mains_hz
    source = circuit.source_v(cycles)[:, None] * house.mains_level
    return float(circuit.step(state, source, None, np.full((len(cycles), 1), house.sound_a)).min())


FAULTS: dict[str, Change] = {
    "button-diode-open": _diode("open"),
    "button-diode-reversed": _diode("reversed"),
    "button-diode-shorted": _diode("shorted"),
    "contact-stuck": _contact_stuck,
    "lamp-in-button": _lamp,
    "leak-across-button": _leak,
    "detector-dead": _detector_dead,
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
    "regulator-drops-out": _drops_out_sounding,
}
