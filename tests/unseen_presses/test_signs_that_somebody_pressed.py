"""Promise: where somebody probably pressed and the record has no press, the log has an entry of its own kind, once, with its reasons.

What a recorded press explains is no sign, and neither is what the chime did to itself.
"""

import random
import struct
from base64 import urlsafe_b64encode
from typing import Any

import numpy as np
import pytest

from adapters.sql.work import SqlStore
from service.model import Arrival, Unseen
from tests.blind_time.listening import PRESS, SITE, T0, memory, minutes, sent, take_in

LSB_V, CYCLE_S = 0.008, 0.02


def unseen(store: SqlStore, start_s: float = -1e6, end_s: float = 1e6) -> list[Unseen]:
    return list(store.reader().unseen(SITE, T0 + start_s, T0 + end_s))


def whys(store: SqlStore) -> list[tuple[str, ...]]:
    return [one.why for one in unseen(store)]


def base64url(octets: bytes) -> str:
    return urlsafe_b64encode(octets).rstrip(b"=").decode()


def rise(volts: float, span_s: float = 0.3, ago_s: float = 2.0) -> list[dict[str, Any]]:
    """A rise in so many words."""
    return [
        {"n": "rail.rise", "u": "V", "v": volts, "t": -ago_s},
        {"n": "rail.rise.span", "u": "s", "v": span_s, "t": -ago_s},
    ]


def sounds(ago_s: float, on: bool = True) -> dict[str, Any]:
    return {"n": "sound", "vb": on, "t": -ago_s}


def peaks(lifted: range, volts: float = 0.7, count: int = 400, ago_s: float = 9.0) -> list[dict[str, Any]]:
    """Cycle maxima at 14 V with noise, some of them lifted as by the drop of a diode that the contact bridges."""
    rail = 14.0 + np.random.default_rng(3).normal(0.0, 0.01, count)
    rail[lifted.start : lifted.stop] += volts
    codes = np.rint(rail / LSB_V).astype(int).tolist()
    return [
        {"n": "rail.cycle", "u": "s", "v": CYCLE_S},
        {"n": "rail.lsb", "u": "V", "v": LSB_V},
        {"n": "load.log", "vs": "idle", "t": -ago_s - 20.0},
        {"n": "rail.peaks", "t": -ago_s, "vd": base64url(struct.pack(f"<{count}h", *codes))},
    ]


def burst(kind: str, ago_s: float) -> list[dict[str, Any]]:
    return [
        {"n": "rail.rate", "u": "Hz", "v": 2000.0},
        {"n": "rail.lsb", "u": "V", "v": LSB_V},
        {"n": f"rail.burst.{kind}", "t": -ago_s, "vd": base64url(struct.pack("<400h", *([1750] * 400)))},
    ]


# ── what is a sign ──────────────────────────────────────────────────────────────────────────────────────────────────


def test_the_rail_rose_as_under_a_press_and_the_detector_was_silent(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 200.0, *rise(0.7))])
    (one,) = unseen(store)
    assert (one.why, one.rise_v) == (("rail rose",), 0.7)
    assert one.start_s == pytest.approx(T0 + 198.0, abs=0.1)
    assert one.end_s == pytest.approx(T0 + 198.3, abs=0.1)


def test_a_rise_is_found_in_the_cycles_that_a_chime_sends(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 200.0, *peaks(range(200, 216)))])
    (one,) = unseen(store)
    assert one.why == ("rail rose",)
    assert one.rise_v == pytest.approx(0.7, abs=0.05)
    assert one.start_s == pytest.approx(
        T0 + 191.0 + 200 * CYCLE_S, abs=0.1
    )  # the pack is made 9 s after its first cycle
    assert one.end_s - one.start_s == pytest.approx(16 * CYCLE_S, abs=0.05)


def test_cycles_without_a_rise_are_no_sign(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 200.0, *peaks(range(0)))])
    assert unseen(store) == []


@pytest.mark.parametrize(
    ("volts", "span_s"),
    [
        (0.1, 0.3),  # noise: a diode's drop is 0.57 V at 1 mA and more (1N4007, ngspice 39.3, measured)
        (3.0, 0.3),  # the mains swelled
        (0.7, 60.0),  # no finger leans so long
    ],
)
def test_what_no_finger_does_to_the_rail_is_no_sign(store: SqlStore, volts: float, span_s: float) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 200.0, *rise(volts, span_s, ago_s=70.0))])
    assert unseen(store) == []


def test_the_chime_sounded_and_nothing_was_pressed(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 200.0, sounds(3.0), sounds(0.5, on=False))])
    assert whys(store) == [("sounded alone",)]


def test_a_survey_sounds_by_itself(store: SqlStore) -> None:
    surveyed = [sounds(3.0), sounds(1.0, on=False), *burst("sound", 2.5)]
    take_in(store, [*minutes(0, 2), sent(3, 200.0, *surveyed)])
    assert unseen(store) == []


def test_a_burst_of_another_kind_explains_no_sound(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 200.0, sounds(3.0), sounds(1.0, on=False), *burst("idle", 2.5))])
    assert whys(store) == [("sounded alone",)]


@pytest.mark.parametrize(
    ("cause", "back_after_s", "found"),
    [
        ("brown-out", 3.0, [("restarted",)]),
        ("brown-out", 30.0, []),  # so long no press keeps a rail down: the mains were away
        ("power-on", 3.0, []),
        ("watchdog", 3.0, []),
    ],
)
def test_a_press_may_have_pulled_the_rail_down(
    store: SqlStore, cause: str, back_after_s: float, found: list[object]
) -> None:
    take_in(store, [*minutes(0, 5), sent(0, 1.0, boot=2, on_s=305.0 + back_after_s, cause=cause)])
    assert whys(store) == found


def test_packs_are_missing(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 5), *minutes(8, 9)])
    (one,) = unseen(store)
    assert (one.why, one.packs) == (("packs missing",), 2)
    take_in(store, [sent(6, 365.0, at_s=900.0), sent(7, 425.0, at_s=901.0)])
    assert unseen(store) == []


def test_records_were_dropped(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 5), sent(6, 365.0, dropped=9)])
    (one,) = unseen(store)
    assert (one.why, one.records) == (("records dropped",), 9)


# ── what a press explains ───────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("late", [False, True], ids=["told before", "told hours later"])
def test_a_recorded_press_explains_rise_sound_and_restart(store: SqlStore, late: bool) -> None:
    press = sent(3, 200.0, {**PRESS, "t": -2.2}, at_s=9000.0 if late else None)
    signs = [
        sent(4, 201.0, *rise(0.7, ago_s=3.0), sounds(2.9)),
        sent(0, 0.5, boot=2, on_s=203.0, cause="brown-out"),
    ]
    take_in(store, [*minutes(0, 2), *([*signs, press] if late else [press, *signs])])
    assert unseen(store) == []


def test_a_press_at_any_door_explains(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 200.0, {**PRESS, "n": "garden.edges", "t": -2.0}, *rise(0.7), sounds(1.9))])
    assert unseen(store) == []


def test_a_press_a_minute_before_explains_nothing(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 140.0, PRESS), sent(4, 200.0, *rise(0.7))])
    assert whys(store) == [("rail rose",)]


def test_a_press_that_lasts_explains_all_of_its_time(store: SqlStore) -> None:
    closed = [sent(3, 200.0, {"n": "front.press", "vb": True}), sent(6, 230.0, {"n": "front.press", "vb": False})]
    take_in(store, [*minutes(0, 2), closed[0], sent(4, 215.0, *rise(0.7)), sent(5, 225.0, sounds(1.0)), closed[1]])
    assert unseen(store) == []


# ── together ────────────────────────────────────────────────────────────────────────────────────────────────────────


def three_signs_of_one_press() -> list[Arrival]:
    return [
        *minutes(0, 2),
        sent(3, 200.0, *rise(0.6, ago_s=1.5)),
        sent(4, 200.5, sounds(1.8)),
        sent(0, 0.5, boot=2, on_s=203.0, cause="brown-out"),
    ]


def test_signs_of_one_press_are_one_entry_with_several_reasons(store: SqlStore) -> None:
    take_in(store, three_signs_of_one_press())
    (one,) = unseen(store)
    assert set(one.why) == {"rail rose", "sounded alone", "restarted"}
    assert one.rise_v == 0.6


def test_signs_a_minute_apart_are_two_entries(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 200.0, *rise(0.6)), sent(4, 260.0, *rise(0.8))])
    assert [one.rise_v for one in unseen(store)] == [0.6, 0.8]


@pytest.mark.parametrize("seed", range(3))
def test_the_order_of_arrival_does_not_matter(seed: int) -> None:
    again = {"boot": 2, "on_s": 203.0}
    more = [
        sent(3, 300.0, *rise(0.8), **again),
        sent(5, 500.0, PRESS, *rise(0.7, ago_s=0.4), **again),
        sent(6, 560.0, sounds(2.0), **again),
    ]
    arrivals, found = [*three_signs_of_one_press(), *more], []
    for _ in range(2):
        with memory() as store:
            take_in(store, arrivals, at_once=3)
            found.append([(one.why, round(one.start_s, 1), round(one.end_s, 1), one.packs) for one in unseen(store)])
        random.Random(seed).shuffle(arrivals)
    assert found[0] == found[1]
    assert len(found[0]) == 5  # also two holes: of packs 1 and 2, and of pack 4


def test_entries_belong_to_the_stretch_in_which_they_begin(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 2), sent(3, 200.0, *rise(0.6)), sent(4, 900.0, *rise(0.6))])
    assert len(unseen(store, 0.0, 500.0)) == len(unseen(store, 500.0, 1000.0)) == 1
    assert unseen(store, 198.5, 500.0) == []
