"""How far a healthy supply moves by itself. Known to whoever judges a change and to whoever looks ahead; measures nothing."""

HEALTHY_SD = {"reservoir_f": 0.012, "source_ohm": 0.07, "open_circuit_v": 0.022, "idle_a": 0.11, "sound_a": 0.03}
"""How far healthy supplies move between two looks, half a year apart, as standard deviations of logarithms: temperature of the
reservoir and the copper, mains of a few per cent, an idle load that is not always the same."""
