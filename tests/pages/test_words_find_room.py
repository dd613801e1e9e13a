"""Words beside marks never overlap, keep their order, and their leaders never cross."""

import itertools
import random
import re

import pytest

from dashboard import across, down, type_measure
from dashboard.house import day_stretch, gather
from dashboard.marks import Day, day_of
from dashboard.placing import nested, onward, spread
from tests.pages import places
from tests.pages.tern_cottage import LONDON, NOW_S, empty_house, health


def busy_day(seed: int, visits: int) -> Day:
    """Invented: visits at random minutes of the day until now."""
    chance = random.Random(seed)
    record = empty_house("24 Nov 2026 08.00")
    for minute in sorted(chance.sample(range(18 * 60), visits)):
        record.rang(
            chance.choice(["front", "garden"]),
            f"25 Nov 2026 {minute // 60:02d}.{minute % 60:02d}",
            sounds=chance.random() < 0.7,
        )
    house = gather(record, record.site_list[0], health(), NOW_S - 86400, NOW_S, 180.0)
    return day_of(house, *day_stretch(house.today, house.zone))


@pytest.mark.parametrize("visits", [0, 1, 2, 7, 15, 40])
@pytest.mark.parametrize("seed", range(5))
def test_words_down_a_sheet_have_the_height_they_need(seed: int, visits: int) -> None:
    day = busy_day(seed, visits)
    drawn = down.draw(day, LONDON)
    assert len(drawn.steps) == len(day.marks) + 1
    for mark, steps in zip(drawn.told, drawn.steps, strict=False):
        lines = type_measure.lines(mark.heading, down.COLUMN, True) + type_measure.lines(mark.text, down.COLUMN)
        assert steps * down.STEP >= lines * down.LINE - down.STEP


@pytest.mark.parametrize("width", [across.MEDIUM, across.WIDE])
@pytest.mark.parametrize("visits", [0, 1, 2, 7, 15, 40])
@pytest.mark.parametrize("seed", range(5))
def test_words_across_a_sheet_stand_clear_of_each_other(seed: int, visits: int, width: across.Width) -> None:
    day = busy_day(seed, visits)
    drawn = across.draw(day, LONDON, width)
    assert len(drawn.places) == len(day.marks)
    taken: set[tuple[int, int]] = set()
    for place in drawn.places:
        assert place.span >= width.least - 1
        assert place.track + place.span <= across.TRACKS
        cells = {(place.row, place.track + n) for n in range(place.span)}
        assert not cells & taken
        taken |= cells


def crossings(wants: list[float], places_: list[float], levels: list[int]) -> int:
    """Pairs of leaders of which a level run meets an upright run of the other. Levels count from the marks."""
    found = 0
    for i in range(len(wants)):
        low, high = sorted((wants[i], places_[i]))
        for j in range(len(wants)):
            if i == j or (levels[i] == 0 and wants[i] == places_[i]):
                continue
            if low < wants[j] < high and levels[j] >= levels[i]:
                found += 1
            if low < places_[j] < high and levels[j] <= levels[i]:
                found += 1
    return found


@pytest.mark.parametrize("seed", range(60))
def test_leaders_never_cross(seed: int) -> None:
    chance = random.Random(seed)
    count = chance.randint(2, 9)
    wants = sorted(chance.uniform(0, 90) for _ in range(count))
    for placed in (onward(wants, [10.0] * count, 100.0), spread(wants, [10.0] * count, 0.0, 100.0)):
        assert crossings(wants, placed, nested(wants, placed)) == 0


@pytest.mark.parametrize("seed", range(30))
def test_spread_moves_words_as_little_as_can_be(seed: int) -> None:
    """No other admissible placing found at random lies nearer to the marks (least squares)."""
    chance = random.Random(seed)
    wants = sorted(chance.uniform(0, 30) for _ in range(5))
    placed = spread(wants, [4.0] * 5, 0.0, 40.0)
    best = sum((a - b) ** 2 for a, b in zip(wants, placed, strict=True))
    assert all(after - before >= 4.0 - 1e-9 for before, after in itertools.pairwise(placed))
    for _ in range(200):
        other = [place + chance.gauss(0, 1.0) for place in placed]
        if other[0] >= 0 and other[-1] <= 36.0 and all(b - a >= 4.0 for a, b in itertools.pairwise(other)):
            assert sum((a - b) ** 2 for a, b in zip(wants, other, strict=True)) >= best - 1e-9


def test_the_places_in_the_style_sheet_are_those_of_the_drawings() -> None:
    assert places.FILE.read_text() == places.text()


def test_every_place_that_a_drawing_names_is_in_the_style_sheet() -> None:
    known = set(re.findall(r"\.([mw][rs]?\d+|n\d+)\{", places.text()))
    for seed in range(3):
        day = busy_day(seed, 30)
        for letter, width in (("m", across.MEDIUM), ("w", across.WIDE)):
            for place in across.draw(day, LONDON, width).places:
                assert {f"{letter}{place.track}", f"{letter}r{place.row}", f"{letter}s{place.span}"} <= known
