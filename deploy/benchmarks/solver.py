"""How fast the rectifier's steady state is found: many installations side by side, a batch as a fit takes it, and one alone.

Prints for each kind of circuit the installations solved per second in bulk, the milliseconds of a batch of forty and of one, each
with all its figures read out.
"""

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from service.supply.rectifier import SteadyState, Supply, steady_state

FIGURES = ("rail_max_v", "rail_mean_v", "conduction_rad", "peak_a", "rms_a", "reverse_v", "load_mean_a", "carried")
BULK, BATCH, REPEATS = 8192, 40, 25


def drawn(count: int, random: np.random.Generator) -> Supply:
    """Bells of 8 to 24 V that mostly carry what they are asked for."""
    return Supply(
        mains_hz=random.choice([50.0, 60.0], count),
        open_circuit_v=random.uniform(9.0, 30.0, count),
        source_ohm=np.exp(random.uniform(np.log(0.5), np.log(20.0), count)),
        reservoir_f=np.exp(random.uniform(np.log(200e-6), np.log(2200e-6), count)),
        load_a=np.exp(random.uniform(np.log(0.002), np.log(0.12), count)),
        esr_ohm=random.uniform(0.02, 0.6, count),
    )


def solved(supply: Supply) -> SteadyState:
    """With its figures, which are read out when they are asked for."""
    state = steady_state(supply)
    for name in FIGURES:
        getattr(state, name)
    return state


def seconds(work: Callable[[], object], repeats: int) -> float:
    """The quickest of several goes, after one that warms up: what else runs can only slow it."""
    work()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return min(taken)


def main() -> None:
    random = np.random.default_rng(20_261_125)
    kinds: dict[str, Callable[[Supply], Supply]] = {
        "resistive source, constant current": lambda supply: supply,
        "leakage inductance": lambda supply: replace(supply, leakage_h=2e-4 * np.asarray(supply.source_ohm)),
        "mains with harmonics": lambda supply: replace(supply, third=0.05, third_phase=3.0, fifth=0.02),
        "constant power": lambda supply: replace(supply, regulator="switching", dropout_v=4.0),
    }
    for name, made in kinds.items():
        bulk, batch, one = (made(drawn(count, random)) for count in (BULK, BATCH, 1))
        per_second = BULK / seconds(lambda bulk=bulk: solved(bulk), 5)  # type: ignore[misc]
        of_batch = seconds(lambda batch=batch: solved(batch), REPEATS)  # type: ignore[misc]
        alone = seconds(lambda one=one: solved(one), REPEATS)  # type: ignore[misc]
        print(
            f"{name}: {per_second:,.0f} installations/s ({1e6 / per_second:.0f} µs each), "
            f"{of_batch * 1e3:.1f} ms for {BATCH}, {alone * 1e3:.1f} ms for one"
        )


if __name__ == "__main__":
    main()
