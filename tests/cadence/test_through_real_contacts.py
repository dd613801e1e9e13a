"""Promise: a cadence is taught and recognised from detector pulses, at front and rear doors, at 50 and 60 Hz, with bounce and drop-outs.

The contact bounces 0.3 to 3 ms and now and then opens for up to 42 ms while it is held: a published press contains a hole as
long (adamfk/bouncy-button-data). The circuit is that of the simulated house.
"""

from contextlib import suppress

import numpy as np

from adapters.simulated.circuit import Circuit, Parts
from adapters.simulated.contacts import Contact, closures, pulses
from service.errors import Refused
from service.presses.cadence import Cadence, recognise
from service.presses.lesson import teach
from service.presses.pulses import fragments
from tests.cadence.hands import Hand, Presses

HAND = Hand((0.2, 0.2, 0.9), (0.3, 0.3))
WORN = Contact(drop_outs=(0, 1), drop_out_s=(0.005, 0.042))


def heard(hand: Hand, rng: np.random.Generator, mains_hz: float, rear: bool) -> Presses:
    """Presses as the service makes them of the pulses of one phrase."""
    tempo, at, closed = np.exp(rng.normal(0.0, hand.tempo)), 0.1, []
    for hold, gap in zip(hand.holds_s, (*hand.gaps_s, 0.0), strict=True):
        held = float(hold * tempo * np.exp(rng.normal(0.0, hand.own)))
        closed += closures(at, held, WORN, rng)
        at += held + float(gap * tempo * np.exp(rng.normal(0.0, hand.own)))
    circuit = Circuit(Parts(mains_hz=mains_hz))
    seen = pulses(circuit, 0.0, at + 0.1, float(rng.uniform(0.0, 1.0)), mains_hz, 1.0, closed, rear)
    return [(one.start_up_s, one.end_up_s) for one in fragments(seen)]


def learnt(rng: np.random.Generator, mains_hz: float, rear: bool) -> Cadence:
    for _ in range(20):
        with suppress(Refused):
            return teach("family", [heard(HAND, rng, mains_hz, rear) for _ in range(3)])
    raise AssertionError("refused twenty times")


def test_from_pulses_at_least_95_of_100_visits_are_recognised() -> None:
    rng = np.random.default_rng(50)
    found = []
    for mains_hz, rear in ((50.0, False), (50.0, True), (60.0, False), (60.0, True)) * 4:
        cadence = learnt(rng, mains_hz, rear)
        found += [recognise(heard(HAND, rng, mains_hz, rear), [cadence]) is not None for _ in range(16)]
    assert np.mean(found) >= 0.95


def test_what_was_taught_at_the_front_door_is_recognised_at_the_rear() -> None:
    rng = np.random.default_rng(51)
    found = []
    for _ in range(8):
        cadence = learnt(rng, 50.0, rear=False)
        found += [recognise(heard(HAND, rng, 50.0, rear=True), [cadence]) is not None for _ in range(12)]
    assert np.mean(found) >= 0.95
