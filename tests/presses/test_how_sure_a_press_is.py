"""Promise: what may be no press is kept and marked, and a press that a restart cut off says that its end is not known."""

import numpy as np
import pytest

from adapters.sql.work import SqlStore
from service.model import Visit
from tests.builders import SITE, T0, arrival, pack
from tests.presses.told import BOUNCING, WIRED, Wired, edges, in_packs, pressed, presses, pulses, take_in

PULSE_S = 0.0085
"""About what a whole pulse lasts at 50 Hz."""


def visits(store: SqlStore) -> list[Visit]:
    return list(store.reader().visits(SITE, 0.0, 2.0 * T0)[0])


def one_pulse(seq: int, at_s: float, width_s: float, door: str = "front") -> object:
    made_s = round(at_s + 0.02, 4)
    return arrival(pack(seq, edges(door, [(at_s, at_s + width_s)], made_s), up_s=made_s), made_s + 0.05)


@pytest.mark.parametrize(
    ("width_s", "sure"), [(0.0002, "doubtful"), (0.0004, "likely"), (0.004, "likely"), (PULSE_S, "likely")]
)
def test_a_single_pulse_is_likely_a_short_touch_and_a_spike_is_doubtful(
    store: SqlStore, width_s: float, sure: str
) -> None:
    take_in(store, [one_pulse(0, 10.0, width_s)])  # type: ignore[list-item]
    (press,) = presses(store)
    assert (press.pulses, press.sure, press.doubtful) == (1, sure, sure == "doubtful")
    assert visits(store)[0].doubtful is (sure == "doubtful")


def test_single_pulses_again_and_again_are_damp_and_no_caller(store: SqlStore) -> None:
    take_in(store, [one_pulse(n, 10.0 + 7.0 * n, 0.003) for n in range(5)])  # type: ignore[misc]
    (visit,) = visits(store)
    assert len(visit.presses) == 5
    assert visit.doubtful


def test_beside_a_press_that_is_sure_single_pulses_are_a_callers(store: SqlStore) -> None:
    firm = in_packs(WIRED[0], [pulses(WIRED[0], [(40.0, 40.4)])])[0]
    strays = [one_pulse(n + 1, 50.0 + 7.0 * n, 0.003) for n in range(3)]
    take_in(store, [firm, *strays])  # type: ignore[list-item]
    (visit,) = visits(store)
    assert not visit.doubtful


@pytest.mark.parametrize("wired", WIRED, ids=lambda w: f"{w.door} {w.mains_hz:g} Hz")
def test_every_hold_that_a_finger_makes_is_sure(wired: Wired, store: SqlStore) -> None:
    # the shortest of 607 key holds of one person in a public keystroke record was 44 ms (measured)
    rng = np.random.default_rng(1)
    chunks = [pressed(wired, 10.0 + 100.0 * n, 0.044, BOUNCING, rng) for n in range(30)]
    take_in(store, in_packs(wired, chunks))
    found = presses(store)
    assert len(found) == 30
    assert {press.sure for press in found} == {"sure"}


# ── cut off ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def restarted(store: SqlStore, press_end_s: float, last_pack_s: float, starts_again: bool = True) -> bool:
    """A press whose pulses come in a pack made then; perhaps the chime starts again afterwards. Whether it counts as cut off."""
    held = pulses(WIRED[0], [(press_end_s - 0.4, press_end_s)])
    made_s = round(max(last_pack_s, held[-1][1]), 4)
    packs = [arrival(pack(0, edges("front", held, made_s), up_s=made_s), made_s + 0.05)]
    if starts_again:
        cause = {"n": "boot.cause", "vs": "brown-out"}
        packs.append(arrival(pack(0, cause, boot=2, up_s=1.0), made_s + 4.05))
    take_in(store, packs)
    return presses(store)[0].cut_off


def test_a_press_that_went_on_until_the_chime_went_down_is_cut_off(store: SqlStore) -> None:
    assert restarted(store, press_end_s=50.0, last_pack_s=50.01)


def test_a_press_that_was_over_before_is_not(store: SqlStore) -> None:
    assert not restarted(store, press_end_s=50.0, last_pack_s=50.2)


def test_a_chime_that_waits_just_until_the_press_must_be_over_has_seen_it_end(store: SqlStore) -> None:
    end_s = pulses(WIRED[0], [(49.6, 50.0)])[-1][1]
    assert not restarted(store, press_end_s=50.0, last_pack_s=end_s + 0.075)


def test_the_last_press_of_a_chime_that_has_not_started_again_is_not(store: SqlStore) -> None:
    assert not restarted(store, press_end_s=50.0, last_pack_s=50.01, starts_again=False)


def test_the_end_of_a_press_that_is_cut_off_is_its_last_pulse_and_after_the_restart_it_is_another(
    store: SqlStore,
) -> None:
    """Somebody goes on pressing over the restart: what the new power-up tells cannot be joined, its clock is another."""
    before, after = pulses(WIRED[0], [(49.6, 50.0)]), pulses(WIRED[0], [(0.3, 0.6)])
    packs = [
        arrival(pack(0, edges("front", before, 50.01), up_s=50.01), 50.06),
        arrival(pack(0, edges("front", after, 0.61), boot=2, up_s=0.61), 51.06),
    ]
    for order in (packs, packs[::-1]):
        chime_store = SqlStore("sqlite://")
        take_in(chime_store, order)
        first, second = presses(chime_store)
        assert (first.cut_off, second.cut_off) == (True, False)
        assert first.end_s == pytest.approx(T0 + before[-1][1] + 0.05, abs=0.03)
        assert len(visits(chime_store)) == 1
        chime_store.close()
