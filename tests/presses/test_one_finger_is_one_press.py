"""Promise: one finger is one press, whatever the contact does meanwhile: bounces, drops out, leans, or does not come free.

Front doors have a diode in the button, rear doors none; the mains have 50 or 60 Hz. The contacts are simulated; what they do to
the detector is checked against ngspice in another file.
"""

from itertools import pairwise

import numpy as np
import pytest

from adapters.simulated import contacts
from adapters.simulated.contacts import Contact
from adapters.sql.work import SqlStore
from service.presses.pulses import MISSING_PULSE_S, STUCK_GAP_S, fragments
from tests.builders import SITE, arrival, pack
from tests.presses.told import (
    BOUNCING,
    DROPPING,
    FIRM,
    WIRED,
    Wired,
    in_packs,
    later,
    pressed,
    presses,
    pulses,
    take_in,
)

every_door = pytest.mark.parametrize("wired", WIRED, ids=lambda w: f"{w.door} {w.mains_hz:g} Hz")

KEY_HOLD_S = (0.097, 0.026, 0.044)
"""Mean, spread and shortest of 607 key holds of one person in a public keystroke record (measured)."""


def holds(count: int, rng: np.random.Generator) -> list[float]:
    mean, spread, shortest = KEY_HOLD_S
    return np.maximum(rng.normal(mean, spread, count), shortest).tolist()


@every_door
def test_a_firm_press_has_neither_drop_outs_nor_bounce(wired: Wired) -> None:
    rng = np.random.default_rng(1)
    for hold_s in holds(40, rng):
        (press,) = fragments(pressed(wired, 1.0, hold_s, FIRM, rng))
        assert (press.drop_outs, press.bounce) == (0, False)
        # one per mains cycle (common practice, no source), and beginnings at both ends
        assert press.pulses == pytest.approx(hold_s * wired.mains_hz, abs=1.6)


@every_door
def test_a_contact_that_bounces_is_one_press_and_said_to_bounce(wired: Wired) -> None:
    rng = np.random.default_rng(2)
    found = [fragments(pressed(wired, 1.0, hold_s, BOUNCING, rng)) for hold_s in holds(60, rng)]
    assert [len(parts) for parts in found] == [1] * 60
    # a contact that closes while the mains stand the wrong way shows nothing: not every bounce can be seen
    assert 20 < sum(parts[0].bounce for parts in found) < 60
    assert sum(parts[0].drop_outs for parts in found) == 0


@every_door
def test_a_finger_that_slips_for_less_than_45_ms_is_one_press_with_drop_outs(wired: Wired) -> None:
    rng = np.random.default_rng(3)
    found = [fragments(pressed(wired, 1.0, 0.6, DROPPING, rng)) for _ in range(60)]
    assert [len(parts) for parts in found] == [1] * 60
    assert sum(parts[0].drop_outs for parts in found) > 40
    assert all(bool(parts[0].drop_outs) == (parts[0].longest_gap_s > MISSING_PULSE_S) for parts in found)


@every_door
def test_the_published_hole_of_42_ms_is_one_drop_out_wherever_it_falls(wired: Wired) -> None:
    # a published press contains a hole of 42 ms: adamfk/bouncy-button-data
    for phase in np.arange(0.0, 1.0, 0.05):
        (press,) = fragments(pulses(wired, [(1.0, 1.2), (1.242, 1.6)], phase))
        assert press.drop_outs == 1
        assert 0.042 - 0.01 < press.longest_gap_s < 0.042 + 2.0 / wired.mains_hz


@every_door
def test_a_second_press_90_ms_after_the_first_is_a_second_press(wired: Wired) -> None:
    rng = np.random.default_rng(4)
    for hold_s in holds(60, rng):
        first = contacts.closures(1.0, hold_s, BOUNCING, rng)
        second = contacts.closures(first[-1][1] + 0.090, 0.1, BOUNCING, rng)
        assert len(fragments(pulses(wired, first + second, float(rng.uniform())))) == 2


@every_door
def test_a_finger_that_leans_for_a_minute_is_one_press(wired: Wired, store: SqlStore) -> None:
    told = pressed(wired, 1.0, 60.0, BOUNCING, np.random.default_rng(5))
    chunk = int(wired.mains_hz / 2)  # half a second of pulses in each pack
    take_in(store, in_packs(wired, [told[n : n + chunk] for n in range(0, len(told), chunk)]))
    (press,) = presses(store)
    assert press.pulses == len(told)
    assert press.end_s is not None
    assert press.end_s - press.start_s == pytest.approx(60.0, abs=1.5 / wired.mains_hz)
    assert (press.sure, press.drop_outs) == ("sure", 0)


@pytest.mark.parametrize("wired", [WIRED[0]], ids=["front 50 Hz"])
def test_a_stuck_contact_that_chatters_for_an_hour_is_one_press_and_not_a_thousand(
    wired: Wired, store: SqlStore
) -> None:
    rng = np.random.default_rng(6)
    ways = [pressed(wired, 0.0, float(hold_s), FIRM, rng) for hold_s in rng.uniform(5.0, 25.0, 20)]
    chunks, at_s = [], 1.0
    while at_s < 3600.0:
        chunks.append(later(ways[int(rng.integers(20))], at_s))
        at_s = chunks[-1][-1][1] + float(
            rng.uniform(0.1, 0.8)
        )  # longer than a press holds together, shorter than STUCK_GAP_S
    assert max(b[0][0] - a[-1][1] for a, b in pairwise(chunks)) < STUCK_GAP_S
    assert sum(len(fragments(chunk)) for chunk in chunks) > 150
    packs = in_packs(wired, chunks)
    take_in(store, [packs[n] for n in rng.permutation(len(packs))])
    (press,) = presses(store)
    assert press.pulses == sum(len(chunk) for chunk in chunks)
    assert press.drop_outs == len(chunks) - 1
    assert press.end_s is not None
    assert press.end_s - press.start_s > 3590.0
    (visit,) = store.reader().visits(press.site, 0.0, 2.0 * press.start_s)[0]
    assert [p.id for p in visit.presses] == [press.id]


@every_door
def test_somebody_who_rings_again_and_again_for_a_while_is_no_stuck_contact(wired: Wired, store: SqlStore) -> None:
    rng = np.random.default_rng(7)
    chunks = [pressed(wired, 1.0 + 1.5 * n, 0.3, Contact(), rng) for n in range(50)]  # 1.2 s between two
    take_in(store, in_packs(wired, chunks))
    assert len(presses(store)) == 50
    assert len(store.reader().visits(SITE, 0.0, 4e9)[0]) == 1


def test_a_chime_that_debounces_by_itself_tells_a_stuck_contact_as_one_press_too(store: SqlStore) -> None:
    changes = [(2.0 * n + (0.0 if closed else 1.2), closed) for n in range(50) for closed in (True, False)]
    take_in(
        store,
        [
            arrival(pack(seq, {"n": "front.press", "vb": closed}, up_s=1.0 + at_s), 1.05 + at_s)
            for seq, (at_s, closed) in enumerate(changes)
        ],
    )
    (press,) = presses(store)
    assert press.end_s == pytest.approx(press.start_s + 99.2)
