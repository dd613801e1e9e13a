"""Promise: the simulated chime keeps to the contract, and a fault shows in what it sends as physics says."""

from collections.abc import Callable
from dataclasses import dataclass
from statistics import mean, median

import pytest

from adapters.simulated import history
from adapters.simulated.faults import FAULTS
from adapters.sql.work import SqlStore
from service.errors import SettingError
from service.examine import take_in
from service.intake import Understander
from service.model import Press, SupplyPoint

DAY_S = 86400.0
END_S = 1_789_380_000.0
START_S = END_S - 6 * DAY_S
SITE, CHIME = "tern-cottage", "hall"


@dataclass(frozen=True)
class Half:
    """Half of the past: before the fault sets in, or after."""

    supply: list[SupplyPoint]
    presses: list[Press]

    def level(self) -> float:
        return mean(p.mean_v for p in self.supply if p.mean_v is not None)

    def ripple(self) -> float:
        return median(p.max_v - p.min_v for p in self.supply if p.max_v is not None and p.min_v is not None)

    def low(self) -> float:
        return median(p.low_v for p in self.supply if p.low_v is not None)


def past(fault: str | None, severity: float = 0.7) -> tuple[Half, Half]:
    store = SqlStore("sqlite://")
    take_in(store, history.history(start_s=START_S, end_s=END_S, fault=fault, severity=severity), Understander(store))
    reader = store.reader()
    counts = reader.counts()
    assert (counts.quarantined, counts.unexpected, counts.duplicates, counts.pending) == (0, 0, 0, 0)

    def half(start_s: float, end_s: float) -> Half:
        supply = reader.supply(SITE, CHIME, start_s, end_s, limit=100_000)
        return Half(list(supply), list(reader.presses(SITE, start_s, end_s, limit=10_000)[0]))

    halves = half(START_S, END_S - 3 * DAY_S), half(END_S - 1.5 * DAY_S, END_S)
    store.close()
    return halves


def test_a_healthy_past_is_understood_whole() -> None:
    before, after = past(None)
    assert len(before.presses) > 5
    assert not any(press.doubtful for press in before.presses)
    assert after.level() == pytest.approx(before.level(), rel=0.02)


SHOWS: dict[str, Callable[[Half, Half], bool]] = {
    "mains-low": lambda b, a: a.level() < 0.92 * b.level(),
    "wrong-transformer": lambda b, a: a.level() > 1.25 * b.level(),
    "reservoir-aged": lambda b, a: a.ripple() > 1.5 * b.ripple(),
    "source-resistance-high": lambda b, a: a.low() < b.low() - 1.0,
    "load-high": lambda b, a: a.low() < b.low() - 0.5,
    "regulator-drops-out": lambda b, a: a.low() < 7.0 < b.low(),  # the fit-out sheet's drop-out voltage
    "detector-dead": lambda b, a: not a.presses,
    "button-diode-open": lambda b, a: len(a.supply) < 0.2 * len(b.supply),
    "contact-stuck": lambda b, a: any((p.pulses or 0) > 10_000 for p in a.presses),
    "contact-drops-out": lambda b, a: sum(p.drop_outs for p in a.presses) > sum(p.drop_outs for p in b.presses),
    "contact-bounce": lambda b, a: mean(p.bounce for p in a.presses) > mean(p.bounce for p in b.presses),
}


@pytest.mark.parametrize("fault", SHOWS)
def test_a_fault_shows_as_physics_says(fault: str) -> None:
    before, after = past(fault)
    assert SHOWS[fault](before, after)


def test_every_fault_of_the_contract_can_be_chosen_and_no_other() -> None:
    # the names of the contract, "What examining a recording answers"
    assert set(FAULTS) == {
        "button-diode-open", "button-diode-reversed", "button-diode-shorted", "contact-stuck", "lamp-in-button",
        "leak-across-button", "detector-dead", "contact-resistance", "contact-drops-out", "contact-bounce", "reservoir-aged",
        "source-resistance-high", "mains-low", "mains-dip", "mains-swell", "wrong-transformer", "load-high",
        "regulator-drops-out",
    }  # fmt: skip
    with pytest.raises(SettingError, match="reservoir-aged"):
        next(iter(history.history(start_s=START_S, end_s=END_S, fault="gremlins")))


def test_the_same_seed_invents_the_same_past() -> None:
    one, other = (list(history.history(start_s=END_S - DAY_S, end_s=END_S, seed=5)) for _ in range(2))
    assert one == other
