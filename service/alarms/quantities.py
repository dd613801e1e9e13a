"""The quantities that a rule can watch, with unit and the range in which a limit makes sense. Knows no reading."""

from typing import NamedTuple


class Quantity(NamedTuple):
    """`low` and `high` bound limits generously: a limit beyond them is a slip of the pen."""

    unit: str
    low: float
    high: float
    meaning: str


QUANTITIES: dict[str, Quantity] = {
    "rail_mean_v": Quantity("V", 0.0, 100.0, "rail, mean of a window"),
    "rail_min_v": Quantity("V", 0.0, 100.0, "rail, lowest of a window"),
    "rail_max_v": Quantity("V", 0.0, 100.0, "rail, highest of a window"),
    "rail_low_v": Quantity("V", 0.0, 100.0, "rail, lowest while sounding"),
    "regulated_min_v": Quantity("V", 0.0, 60.0, "regulated rail, lowest of a window"),
    "temperature_c": Quantity("Cel", -60.0, 150.0, "temperature inside the chime"),
    "link_dbw": Quantity("dBW", -200.0, 0.0, "received radio power"),
    "mains_hz": Quantity("Hz", 16.0, 410.0, "frequency of the mains"),
    "reservoir_f": Quantity("F", 1e-6, 1.0, "capacitance of the reservoir"),
    "source_ohm": Quantity("Ohm", 0.0, 1000.0, "resistance of transformer and wires"),
    "open_circuit_v": Quantity("V", 0.0, 200.0, "voltage of the transformer, open, peak"),
    "idle_a": Quantity("A", 0.0, 5.0, "what the chime draws at rest"),
    "sound_a": Quantity("A", 0.0, 5.0, "what it draws while it sounds"),
    "ripple_v": Quantity("V", 0.0, 100.0, "ripple at rest, peak to peak"),
    "headroom_v": Quantity("V", -100.0, 100.0, "how far the rail stays above drop-out of the regulator"),
    "esr_ohm": Quantity("Ohm", 0.0, 1000.0, "inner resistance of the reservoir"),
    "shortest_sure_press_s": Quantity("s", 0.0, 10.0, "shortest press that is surely seen"),
}
"""By name: windows of the rail as the chime sends them, then what an examination measures, by the names of the contract."""
