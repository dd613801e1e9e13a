"""The rig would see it: a press that is missing, doubled, invented, misdated, cut short, or lies in no blind time.

Logs made by hand beside one invented life; every expected number can be counted on the fingers.
"""

from dataclasses import replace
from random import Random

import pytest

from deploy.endurance.log import Logged, Spell
from deploy.endurance.pressing import TICK_S, Shape, Thumb
from deploy.endurance.scoring import Score, score
from deploy.endurance.truth import Fate, Life, Pack, Press

START_S = 1_800_000_000.0
WHOLE = Shape((((0, 80), (200, 280)),))
HALVES = Shape((((0, 80), (200, 280), (400, 480)), ((600, 680), (800, 900))))


def pack(seq: int, made_s: float, fate: Fate = Fate.DELIVERED, flown: bool = True) -> Pack:
    return Pack(7, seq, b"%d" % seq, 5, START_S + made_s - 10.0, START_S + made_s, fate, flown)


def life(*presses: Press, packs: tuple[Pack, ...] = (), powerless: tuple[tuple[float, float], ...] = ()) -> Life:
    found = Life("hall", START_S, list(packs), list(presses))
    found.powerless += [(START_S + start, START_S + end) for start, end in powerless]
    return found


def pressed(at_s: float, *packs: Pack, shape: Shape = WHOLE) -> Press:
    return Press("hall", "front", START_S + at_s, shape, list(packs))


def logged(at_s: float, length_s: float = 0.028, pulses: int = 2, uncertainty_s: float = 0.05) -> Logged:
    return Logged("hall", "front", START_S + at_s, START_S + at_s + length_s, pulses, uncertainty_s)


def spell(start_s: float, end_s: float | None, door: str | None = None) -> Spell:
    return Spell("hall", START_S + start_s, None if end_s is None else START_S + end_s, "chime without power", door)


def scored(one: Life, entries: list[Logged], told: list[Spell] | None = None, **options: set[bytes]) -> Score:
    return score([one], entries, told or [], START_S + 100.0, **options)


def test_a_press_in_the_log_once_at_its_time_is_right() -> None:
    found = scored(life(pressed(20.0, pack(1, 21.0))), [logged(20.01)])
    assert (found.made, found.once, found.within, found.good) == (1, 1, 1, True)
    assert found.misdated == []


@pytest.mark.parametrize("fate", [Fate.DELIVERED, Fate.WAITING])
def test_a_press_that_is_owed_and_missing_is_lost(fate: Fate) -> None:
    found = scored(life(pressed(20.0, pack(1, 21.0, fate))), [], [spell(0.0, 100.0)])
    assert (len(found.lost), found.good) == (1, False)


def test_a_press_twice_in_the_log_is_doubled() -> None:
    found = scored(life(pressed(20.0, pack(1, 21.0))), [logged(20.0), logged(3620.0)])
    assert (len(found.doubled), found.once, found.good) == (1, 0, False)


def test_an_entry_that_nobody_pressed_is_invented() -> None:
    found = scored(life(), [logged(20.0)])
    assert (len(found.invented), found.good) == (1, False)
    assert len(scored(life(pressed(20.0, pack(1, 21.0))), [replace_end(logged(20.0))]).invented) == 1


def replace_end(entry: Logged) -> Logged:
    return entry._replace(end_s=None)


@pytest.mark.parametrize(
    ("late_s", "uncertainty_s", "wrong"), [(0.9, 0.05, 0), (1.1, 0.05, 1), (1.1, 1.2, 0), (-3600.0, 0.05, 1)]
)
def test_a_time_is_wrong_beyond_a_second_and_the_stated_uncertainty(
    late_s: float, uncertainty_s: float, wrong: int
) -> None:
    found = scored(life(pressed(20.0, pack(1, 21.0))), [logged(20.0 + late_s, uncertainty_s=uncertainty_s)])
    assert (found.once, len(found.misdated)) == (1, wrong)


def test_a_press_told_in_two_packs_must_be_whole() -> None:
    both = life(pressed(20.0, pack(1, 20.1), pack(2, 20.2), shape=HALVES))
    assert scored(both, [logged(20.0, 0.09, 5)]).good
    split = scored(both, [logged(20.0, 0.048, 3), logged(20.06, 0.03, 2)])
    assert len(split.doubled) == 1
    assert len(scored(both, [logged(20.0, 0.048, 3)]).lost) == 1


def test_of_a_press_whose_second_half_was_thrown_away_the_first_is_owed() -> None:
    half = life(pressed(20.0, pack(1, 20.1), pack(2, 20.2, Fate.OVERRUN, False), shape=HALVES))
    assert scored(half, [logged(20.0, 0.048, 3)]).good
    assert len(scored(half, []).lost) == 1
    late = life(pressed(20.0, pack(1, 20.1, Fate.OVERRUN, False), pack(2, 20.2), shape=HALVES))
    assert scored(late, [logged(20.06, 0.03, 2)]).misdated == []


def test_what_could_not_be_recorded_must_lie_in_blind_time_of_its_door() -> None:
    dark = life(pressed(20.0), powerless=((15.0, 30.0),))
    assert scored(dark, [], [spell(15.0, 30.0)]).good
    assert scored(dark, [], [spell(15.0, None)]).good
    for told in ([], [spell(40.0, 50.0)], [spell(15.0, 30.0, "garden")]):
        found = scored(dark, [], told)
        assert (dict(found.unrecordable), len(found.uncovered)) == ({"chime without power": 1}, 1)


def test_what_was_under_way_may_stand_in_the_log_or_in_blind_time_but_not_in_neither() -> None:
    flying = life(pressed(20.0, pack(1, 21.0, Fate.POWERLESS)))
    assert scored(flying, [logged(20.0)]).good
    assert scored(flying, [], [spell(15.0, 30.0)]).good
    assert not scored(flying, []).good


def test_what_the_broker_lost_is_not_held_against_the_service_but_must_be_told() -> None:
    one = life(pressed(20.0, pack(1, 21.0)), packs=(pack(1, 21.0),))
    found = scored(one, [], [spell(11.0, 21.0)], lost_by_broker={b"1"})
    assert (dict(found.unrecordable), found.good) == ({"lost by the broker": 1}, True)
    assert found.blind_true_s == 20.0
    assert not scored(one, [], lost_by_broker={b"1"}).good


def test_blind_time_is_weighed_by_the_second() -> None:
    one = life(packs=(pack(1, 60.0, Fate.OVERRUN),), powerless=((10.0, 20.0),))  # the pack stands for 50 to 60
    found = scored(one, [], [spell(5.0, 20.0), spell(55.0, 58.0), spell(90.0, None)])
    assert (found.blind_true_s, found.blind_told_s, found.claimed_wrongly_s, found.untold_s) == (40.0, 56.0, 30.0, 14.0)
    assert found.door_time_s == 200.0


def test_what_is_told_of_one_door_counts_for_that_door() -> None:
    assert scored(life(), [], [spell(5.0, 20.0, "garden")]).claimed_wrongly_s == 15.0


def test_blind_time_before_a_chime_was_heard_counts_only_where_it_does_not_end_with_it() -> None:
    assert scored(life(), [], [spell(-500.0, 0.0)]).claimed_wrongly_s == 0.0
    assert scored(life(), [], [spell(-3600.0, -3590.0)]).claimed_wrongly_s == 20.0


@pytest.mark.parametrize("hertz", [50.0, 60.0])
def test_presses_can_be_told_apart_and_hold_together(hertz: float) -> None:
    thumb = Thumb(Random(1), hertz)
    shapes = [thumb.press() for _ in range(300)]
    marks = [mark for shape in shapes for mark in shape.marks]
    for number, (count, ticks) in enumerate(marks):
        assert all(count != other or abs(ticks - length) > 8 for other, length in marks[:number])
    gaps = [(b[0] - a[1]) * TICK_S for shape in shapes for a, b in zip(shape.pulses, shape.pulses[1:], strict=False)]
    assert (
        0.0 < min(gaps) < 0.004
    )  # a contact that bounces: 1.6 ms is the mean of a survey, 6.2 ms its worst (Ganssle, from memory)
    assert 0.042 < max(gaps) < 0.06  # a published press has a hole of 42 ms (adamfk/bouncy-button-data)
    assert any(len(shape.parts) == 2 for shape in shapes)
    assert replace(shapes[0]).length_s > 0.05
