"""Promise: pulses of a circuit that ngspice solves become the presses that were made, bouncing and dropping out as published.

ngspice (Debian) is the outside reference: mains, wire, button, diodes, LED. The pulses that our simulated contacts give are held
against it too, so that the many draws of the other tests stand on it.
"""

from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from adapters.simulated import contacts
from adapters.simulated.circuit import Circuit, Parts
from adapters.simulated.contacts import Span
from service.presses.pulses import Fragment, fragments
from tests.presses import wiring
from tests.presses.told import WIRED, Wired

BOUNCE: list[Span] = [(0.0, 0.0004), (0.0010, 0.0021), (0.0030, 0.0049), (0.0062, 0.1000)]
"""Makes within 6.2 ms: the worst of a survey of switches, bar outliers (Ganssle, from memory)."""

MADE: dict[str, list[list[Span]]] = {
    # what was done -> its presses, each in closed stretches from its own beginning on [s]
    "a hold of 44 ms": [[(0.0, 0.044)]],  # the shortest of 607 key holds of one person (measured)
    "a hold of 97 ms": [[(0.0, 0.097)]],  # their mean
    "bounce": [BOUNCE],
    "a hole of 42 ms": [[(0.0, 0.15), (0.192, 0.35)]],  # in a published press: adamfk/bouncy-button-data
    "drop-outs of 5, 25 and 45 ms": [[(0.0, 0.08), (0.085, 0.16), (0.185, 0.26), (0.305, 0.4)]],
    "two presses 90 ms apart": [[(0.0, 0.1)], [(0.19, 0.29)]],
    "two that bounce, 90 ms apart": [BOUNCE, [(0.19 + a, 0.19 + b) for a, b in BOUNCE]],
}

APART_S = 0.2037
"""Between two of these; no whole number of cycles, so that they begin anywhere in one."""

Case = tuple[Wired, str]


def laid_out() -> dict[str, list[list[Span]]]:
    """All of it on one line of time."""
    found, at_s = {}, 0.1
    for what, made in MADE.items():
        found[what] = [[(at_s + a, at_s + b) for a, b in press] for press in made]
        at_s = found[what][-1][-1][1] + APART_S
    return found


LAID_OUT = laid_out()
CLOSED = [span for made in LAID_OUT.values() for press in made for span in press]


@pytest.fixture(scope="module")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> dict[Wired, list[Span]]:
    folder: Path = tmp_path_factory.mktemp("buttons")
    with ThreadPoolExecutor(2) as pool:
        return dict(zip(WIRED, pool.map(lambda wired: wiring.pulses(wired, CLOSED, folder), WIRED), strict=True))


def found(simulated: dict[Wired, list[Span]], wired: Wired, what: str) -> list[Fragment]:
    start_s, end_s = LAID_OUT[what][0][0][0], LAID_OUT[what][-1][-1][1]
    return [f for f in fragments(simulated[wired]) if start_s - 0.05 < f.start_up_s < end_s + 0.05]


every_door = pytest.mark.parametrize("wired", WIRED, ids=lambda w: f"{w.door} {w.mains_hz:g} Hz")


@every_door
@pytest.mark.parametrize("what", MADE)
def test_each_press_is_one_press(simulated: dict[Wired, list[Span]], wired: Wired, what: str) -> None:
    presses = found(simulated, wired, what)
    assert len(presses) == len(MADE[what])
    for press, closed in zip(presses, LAID_OUT[what], strict=True):
        assert 0.0 <= press.start_up_s - closed[0][0] < 1.0 / wired.mains_hz
        assert -1.0 / wired.mains_hz < press.last_up_s - closed[-1][1] < 0.001
        assert press.sure == "sure"


@every_door
def test_nothing_else_is_a_press(simulated: dict[Wired, list[Span]], wired: Wired) -> None:
    assert len(fragments(simulated[wired])) == sum(len(made) for made in MADE.values())


@every_door
def test_drop_outs_are_counted_where_a_pulse_is_missing(simulated: dict[Wired, list[Span]], wired: Wired) -> None:
    (press,) = found(simulated, wired, "a hole of 42 ms")
    assert press.drop_outs == 1
    assert 0.042 - 0.5 / wired.mains_hz < press.longest_gap_s < 0.042 + 1.0 / wired.mains_hz
    (press,) = found(simulated, wired, "drop-outs of 5, 25 and 45 ms")
    assert 1 <= press.drop_outs <= 2  # 5 ms swallow no whole pulse, 25 ms may leave parts of both
    for what in ("a hold of 44 ms", "a hold of 97 ms", "bounce"):
        assert found(simulated, wired, what)[0].drop_outs == 0


def test_bounce_is_seen_where_it_falls_into_a_pulse(simulated: dict[Wired, list[Span]]) -> None:
    """Beginning anywhere in a cycle, three of four bounces begin or end in the half that the detector sees."""
    bouncing = [
        press.bounce
        for wired in WIRED
        for what in ("bounce", "two that bounce, 90 ms apart")
        for press in found(simulated, wired, what)
    ]
    assert sum(bouncing) > 0
    firm = [found(simulated, wired, what)[0] for wired in WIRED for what in ("a hold of 44 ms", "a hold of 97 ms")]
    assert not any(press.bounce for press in firm)


@every_door
def test_our_simulated_contacts_give_the_same_pulses(simulated: dict[Wired, list[Span]], wired: Wired) -> None:
    parts = Parts(
        mains_hz=wired.mains_hz,
        open_circuit_v=wiring.OPEN_V,
        third=0.0,
        fifth=0.0,
        source_ohm=wiring.SOURCE_OHM,
        detector_ohm=wiring.DETECTOR_OHM,
        detector_on_a=wiring.ON_A,
    )
    ours = contacts.pulses(Circuit(parts), 0.0, CLOSED[-1][1] + 0.1, 0.0, wired.mains_hz, 1.0, CLOSED, wired.rear)
    theirs = simulated[wired]
    assert len(ours) == len(theirs)
    # ours are in ticks of 0.1 ms and have an optocoupler's delays of 20 and 60 us, and take the LED's drop as constant
    assert np.array(ours) == pytest.approx(np.array(theirs), abs=0.3e-3)
    assert min(b[0] - a[1] for a, b in pairwise(theirs)) > 0.0
