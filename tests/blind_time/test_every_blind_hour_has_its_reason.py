"""Promise: every stretch in which a press could not have been recorded is told, with its reason, and no other."""

import pytest

from adapters.sql.work import SqlStore
from service import dating
from service.presses.blind import SILENT_AFTER_S
from tests.blind_time.listening import HOST, PRESS, T0, alive, blind_s, brief, minutes, sent, take_in, told, unnumbered
from tests.builders import CHIME, SITE, arrival, pack


def test_a_chime_that_listens_all_the_time_is_never_blind(store: SqlStore) -> None:
    take_in(store, [alive(0.0, True), *minutes(0, 60)])
    assert told(store, now_s=3700.0) == []


@pytest.mark.parametrize(
    ("cause", "why"),
    [
        ("power-on", "chime without power"),
        ("brown-out", "chime without power"),
        ("unknown", "chime without power"),
        ("watchdog", "chime restarted"),
        ("software", "chime restarted"),
    ],
)
def test_from_the_last_pack_of_a_power_up_to_the_first_of_the_next(store: SqlStore, cause: str, why: str) -> None:
    take_in(store, [*minutes(0, 5), *minutes(0, 5, boot=2, on_s=4000.0, cause=cause)])
    assert brief(told(store)) == [(305, 4005, why)]


def test_a_chime_that_is_heard_long_after_its_power_up_was_not_without_power_meanwhile(store: SqlStore) -> None:
    """Its first pack came after ten minutes, and none is missing: it listened, and had nothing to say."""
    take_in(store, [*minutes(0, 5), sent(0, 600.0, boot=2, on_s=4000.0)])
    assert brief(told(store)) == [(305, 4000, "chime without power")]


def test_where_its_first_packs_are_missing_it_may_have_pressed_unheard(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 5), *minutes(10, 12, boot=2, on_s=4000.0)])
    assert brief(told(store)) == [(305, 4000, "chime without power"), (4000, 4605, "packs lost")]
    assert told(store)[1].packs == 10


def test_a_chime_taken_over_in_the_middle_of_its_life_is_not_blamed_for_the_time_before(store: SqlStore) -> None:
    take_in(store, minutes(5000, 5003))
    assert told(store) == []


def test_packs_lost_before_anything_of_the_chime_had_arrived_are_told_as_well(store: SqlStore) -> None:
    """It listened from the start, its first packs waited, and two were lost before anybody heard of it."""
    waited = [sent(seq, 60.0 * seq + 5.0, at_s=900.0 + seq) for seq in (9, 0, 1, 2, 5, 6, 7, 8)]
    take_in(store, [*waited, *minutes(10, 12)])
    (spell,) = told(store)
    assert brief([spell]) == [(125, 305, "packs lost")]
    assert spell.packs == 2


def test_a_power_up_that_is_dated_only_by_what_came_late_may_have_ended_earlier(store: SqlStore) -> None:
    """Power from 100 to 126 s; its packs come long after the next power-up has begun, so that it is dated to end with that. The cut lies
    from 126 to 180 s, and nobody can say where between 65 and 180 s the 26 s with power lie: all of it may have been blind."""
    second = [sent(seq, up_s, boot=2, on_s=100.0, at_s=300.0) for seq, up_s in ((0, 5.0), (1, 25.0))]
    take_in(store, [*minutes(0, 1), *second, *minutes(0, 5, boot=3, on_s=180.0)])
    assert blind_s(store, 66.0, 184.0) == pytest.approx(118.0, abs=0.1)


def test_a_power_up_of_which_a_pack_came_at_once_ended_when_it_says(store: SqlStore) -> None:
    second = [sent(seq, 5.0 + 20.0 * seq, boot=2, on_s=100.0) for seq in range(3)]
    take_in(store, [*minutes(0, 1), *second, *minutes(0, 5, boot=3, on_s=180.0)])
    assert blind_s(store, 66.0, 184.0) == pytest.approx(118.0 - 40.0, abs=1.0)


def test_packs_that_nothing_explains_are_lost(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 5), *minutes(9, 12)])
    (spell,) = told(store)
    assert brief([spell]) == [(305, 545, "packs lost")]
    assert spell.packs == 3


def test_a_chime_that_could_not_send_and_threw_away_its_oldest_packs(store: SqlStore) -> None:
    """It keeps four packs. From the tenth on nobody answers, for twelve packs; while it throws away, it counts."""
    kept = [sent(seq, 60.0 * seq + 5.0, dropped=6 * max(seq - 13, 0), at_s=1330.0) for seq in range(18, 22)]
    take_in(store, [*minutes(0, 9), alive(590.0, False), alive(1325.0, True), *kept, *minutes(22, 30, dropped=48)])
    (spell,) = told(store)
    assert brief([spell]) == [(545, 1085, "buffer overrun")]
    assert spell.packs == 8


def test_a_chime_that_throws_away_what_it_cannot_keep_any_more(store: SqlStore) -> None:
    """It goes on numbering where it left off, so that no pack is missing; only its own count tells."""
    take_in(store, [*minutes(0, 9), sent(10, 2400.0, dropped=37), sent(11, 2460.0, dropped=37)])
    (spell,) = told(store)
    assert brief([spell]) == [(545, 2400, "buffer overrun")]
    assert (spell.packs, spell.records) == (0, 37)


def test_a_pack_once_lost_does_not_hide_what_is_thrown_away_later(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 9), *minutes(11, 20), sent(21, 4000.0, dropped=200)])
    assert brief(told(store)) == [(545, 665, "packs lost"), (1205, 4000, "buffer overrun")]


def test_a_chime_whose_power_fails_while_it_is_cut_off_takes_its_packs_with_it(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 9), alive(590.0, False), alive(4006.0, True), *minutes(0, 3, boot=2, on_s=4000.0)])
    assert brief(told(store)) == [(545, 4005, "chime without power")]


def test_packs_kept_back_while_the_service_was_down_leave_no_blind_time(store: SqlStore) -> None:
    with store.work() as work:
        dating.listen(work, HOST, T0 + 0.0, anew=True)
        work.still_listening(T0 + 620.0)
        dating.listen(work, HOST, T0 + 1500.0, anew=True)
    back = [sent(seq, 60.0 * seq + 5.0, at_s=1501.0) for seq in range(11, 25)]
    take_in(store, [*minutes(0, 10), *back, *minutes(25, 30)])
    assert told(store) == []


def test_packs_lost_while_the_service_was_down_are_its_fault(store: SqlStore) -> None:
    with store.work() as work:
        dating.listen(work, HOST, T0 + 0.0, anew=True)
        work.still_listening(T0 + 620.0)
        dating.listen(work, HOST, T0 + 1500.0, anew=True)
    take_in(store, [*minutes(0, 10), *minutes(25, 30)])
    assert brief(told(store)) == [(605, 1505, "service down")]


def test_packs_lost_while_the_disk_was_full_are_its_fault(store: SqlStore) -> None:
    with store.work() as work:
        work.add_store_trouble(T0 + 650.0, T0 + 1400.0)
    take_in(store, [*minutes(0, 10), *minutes(25, 30)])
    assert brief(told(store)) == [(605, 1505, "store full")]


def test_a_chime_that_numbers_nothing_was_unheard_whenever_the_service_was_down(store: SqlStore) -> None:
    with store.work() as work:
        dating.listen(work, HOST, T0 + 0.0, anew=True)
        work.still_listening(T0 + 620.0)
        dating.listen(work, HOST, T0 + 680.0, anew=True)
    take_in(store, [unnumbered(60.0 * n + 5.0) for n in range(30)])
    assert brief(told(store)) == [(620, 680, "service down")]


def test_a_chime_that_numbers_nothing_and_sends_nothing_for_long_had_no_power(store: SqlStore) -> None:
    take_in(store, [unnumbered(60.0 * n + 5.0) for n in (*range(10), *range(40, 50))])
    assert brief(told(store)) == [(545, 2405, "chime without power")]


def test_a_chime_that_numbers_nothing_is_absent_when_its_presence_says_so(store: SqlStore) -> None:
    windows = [unnumbered(60.0 * n + 5.0) for n in range(30)]
    take_in(store, [*windows[:10], alive(560.0, False), alive(600.0, True), *windows[10:]])
    assert brief(told(store)) == [(560, 600, "chime absent")]


def test_a_chime_that_has_fallen_silent_is_blind_until_it_speaks_again(store: SqlStore) -> None:
    take_in(store, minutes(0, 10))
    assert told(store, now_s=605.0 + SILENT_AFTER_S - 5.0) == []
    assert brief(told(store, now_s=605.0 + SILENT_AFTER_S + 5.0)) == [(605, None, "chime silent")]
    take_in(store, [sent(seq, 60.0 * seq + 5.0, at_s=5000.0) for seq in range(11, 84)])  # it had kept everything
    assert told(store, now_s=5100.0) == []


def test_a_chime_whose_presence_says_it_is_away_is_silent_at_once(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 10), alive(640.0, False)])
    assert brief(told(store, now_s=645.0)) == [(605, None, "chime silent")]


def test_a_chime_that_tells_presses_only_is_not_called_silent(store: SqlStore) -> None:
    """Nobody can say when it listened: it speaks when somebody presses."""
    take_in(store, [arrival(pack(seq, PRESS, up_s=10_000.0 * seq + 9.0), 10_000.0 * seq + 9.05) for seq in range(3)])
    assert told(store, now_s=900_000.0) == []


def test_a_door_is_blind_until_it_is_heard_of_and_the_others_are_not(store: SqlStore) -> None:
    garden = {**PRESS, "n": "garden.edges"}
    take_in(store, [sent(0, 5.0, PRESS), *minutes(1, 9), sent(10, 605.0, garden), *minutes(11, 20)])
    spells = told(store)
    assert [(s.door, s.why, round(s.end_s or 0.0) - round(T0)) for s in spells] == [
        ("garden", "door not fitted yet", 605)
    ]
    assert blind_s(store, 0.0, 1200.0) == 0.0
    assert told(store, 700.0, 1200.0) == []
    assert told(store, -700.0, -100.0) == []


def test_nothing_is_known_of_any_door_between_the_first_listening_and_the_first_word(store: SqlStore) -> None:
    """The service listens for 100 s before the chime is heard of: whoever pressed meanwhile, no record can know."""
    with store.work() as work:
        dating.listen(work, HOST, T0 - 100.0, anew=True)
    take_in(store, [sent(0, 5.0, PRESS), *minutes(1, 5)])
    spells = told(store)
    assert [(s.door, s.why, round(s.start_s - T0), round((s.end_s or 0.0) - T0)) for s in spells] == [
        ("front", "door not fitted yet", -100, 5)
    ]


def test_a_sheet_that_names_a_door_says_that_it_is_fitted(store: SqlStore) -> None:
    garden = {**PRESS, "n": "garden.edges"}
    take_in(store, [sent(0, 5.0, PRESS), *minutes(1, 9), sent(10, 605.0, garden), *minutes(11, 20)])
    with store.work() as work:
        work.keep_fitout(SITE, CHIME, {"doors": {"front": {}, "garden": {"diode": True}}}, T0 + 65.0, "Ann")
        work.keep_fitout(SITE, CHIME, {"doors": {"front": {}}}, T0 + 900.0, "Ann")
    assert [(s.door, round(s.end_s or 0.0) - round(T0)) for s in told(store)] == [("garden", 65)]
