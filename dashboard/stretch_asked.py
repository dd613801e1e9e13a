"""Which stretch of a record is asked for: whole days, or moments within two of them; and the ways to other stretches. Draws nothing."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from dashboard import stretch_contexts, words
from dashboard.house import House, midnight_s
from dashboard.language import marked, say
from service import model

DAY_S, HOUR_S = 86_400.0, 3_600.0
LEAST_S = 600.0
"""A shorter stretch is widened about its middle [s]."""

WHOLE_S = 2 * DAY_S
"""A longer stretch is one of whole days [s]."""

LENGTHS = (
    (marked("ten years"), 3653),
    (marked("a year"), 365),
    (marked("a quarter"), 91),
    (marked("a month"), 30),
    (marked("a week"), 7),
    (marked("a day"), 1),
)
TICKS = 4
TICKS_S = (60.0, 300.0, 600.0, 900.0, 1800.0, HOUR_S, 2 * HOUR_S, 3 * HOUR_S, 6 * HOUR_S, 12 * HOUR_S)


@dataclass(frozen=True, slots=True)
class Asked:
    """From `start_s` to `end_s`, which may lie after now [POSIX s]; the days in which they lie, both included. `whole`: those days and
    nothing less. `burst_s`: a survey that is opened [POSIX s]."""

    start_s: float
    end_s: float
    first: date
    last: date
    whole: bool
    burst_s: float | None = None

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1

    @property
    def query(self) -> str:
        """What asks for it."""
        return f"first={self.first}&last={self.last}" if self.whole else _query(self.start_s, self.end_s)


def asked_of(house: House, chime: model.Chime, first: str, last: str, burst_s: float | None) -> Asked:
    """Each a day (2026-11-01) or a moment (2026-11-01T14:00:00Z; without a zone that of the house). Without any: since the chime was
    first heard. Raises ValueError for what is neither."""
    start_s = _moment_s(first, house, False) if first else chime.first_heard_s
    end_s = _moment_s(last, house, True) if last else house.now_s
    if start_s > end_s:
        start_s, end_s = _moment_s(last, house, False) if last else end_s, _moment_s(first, house, True)
    if start_s < house.now_s:
        end_s = min(end_s, midnight_s(house.today + timedelta(days=1), house.zone))
    if _is_moment(first) and _is_moment(last) and end_s - start_s <= WHOLE_S:
        middle_s, half_s = (start_s + end_s) / 2, max(end_s - start_s, LEAST_S) / 2
        start_s, end_s = middle_s - half_s, middle_s + half_s
        return Asked(start_s, end_s, _day(start_s, house), _day(end_s, house), False, burst_s)
    begin, end = _day(start_s, house), _day(max(end_s - 1.0, start_s), house)
    return _whole(house, begin, end, burst_s)


def lengths(house: House, asked: Asked) -> list[stretch_contexts.Way]:
    """Other lengths about the same end."""
    found = []
    for text, days in LENGTHS:
        first = max(asked.last - timedelta(days=days - 1), date(1970, 1, 2))
        current = asked.whole and asked.days == days
        found.append(stretch_contexts.Way(say(text), f"first={first}&last={asked.last}", current))
    return found


def steps(house: House, asked: Asked) -> list[stretch_contexts.Way]:
    """Half its length to either side, and closer."""
    ways = [(say("earlier"), _moved(house, asked, -1)), (say("later"), _moved(house, asked, 1))]
    third_s = (asked.end_s - asked.start_s) / 3
    if third_s > WHOLE_S:
        third = asked.days // 3
        middle = asked.first + timedelta(days=third)
        ways.append((say("the middle third"), f"first={middle}&last={middle + timedelta(days=third - 1)}"))
    elif third_s >= LEAST_S:
        ways.append((say("the middle third"), _query(asked.start_s + third_s, asked.end_s - third_s)))
    return [stretch_contexts.Way(text, query, False) for text, query in ways if query]


def ticks(house: House, asked: Asked) -> list[tuple[float, str]]:
    """Few enough for a phone: days by name, or hours by their numerals."""
    if asked.whole and asked.days > 2:
        every = max(round(asked.days / 3), 1)
        days = [asked.first + timedelta(days=n) for n in range(0, asked.days + 1, every)]
        named = words.month_short if asked.days > 400 else words.day_short
        return [(midnight_s(day, house.zone), named(day)) for day in days]
    return list(_hours(house, asked))


def _hours(house: House, asked: Asked) -> Iterator[tuple[float, str]]:
    length_s = asked.end_s - asked.start_s
    step_s = next((step for step in TICKS_S if length_s / step <= TICKS), TICKS_S[-1])
    zero_s = midnight_s(asked.first, house.zone)
    number = -(-(asked.start_s - zero_s) // step_s)
    while (moment_s := zero_s + number * step_s) <= asked.end_s:
        then = words.local(moment_s, house.zone)
        midnight = then.hour == then.minute == 0
        if not midnight or moment_s == asked.start_s or (asked.whole and moment_s == asked.end_s):
            text = words.clock(moment_s, house.zone) if step_s < HOUR_S else words.hour(then.hour)
            yield moment_s, "24" if midnight and moment_s == asked.end_s and asked.days == 1 else text
        else:
            yield moment_s, words.day_short(then.date())
        number += 1


def _moved(house: House, asked: Asked, way: int) -> str:
    """Empty where all of it would lie after today."""
    if asked.whole:
        by = way * timedelta(days=max(asked.days // 2, 1))
        return "" if asked.last + by > house.today else f"first={asked.first + by}&last={asked.last + by}"
    by_s = way * (asked.end_s - asked.start_s) / 2
    return "" if asked.start_s + by_s > house.now_s else _query(asked.start_s + by_s, asked.end_s + by_s)


def _whole(house: House, first: date, last: date, burst_s: float | None) -> Asked:
    start_s = midnight_s(first, house.zone)
    return Asked(start_s, midnight_s(last + timedelta(days=1), house.zone), first, last, True, burst_s)


def _day(moment_s: float, house: House) -> date:
    return words.local(moment_s, house.zone).date()


def _is_moment(text: str) -> bool:
    return "T" in text


def _moment_s(text: str, house: House, end: bool) -> float:
    if not _is_moment(text):
        return midnight_s(date.fromisoformat(text) + timedelta(days=int(end)), house.zone)
    then = datetime.fromisoformat(text)
    return (then if then.tzinfo else then.replace(tzinfo=house.zone)).timestamp()


def _query(start_s: float, end_s: float) -> str:
    first, last = (datetime.fromtimestamp(round(moment_s), UTC) for moment_s in (start_s, end_s))
    return f"first={first:%Y-%m-%dT%H:%M:%SZ}&last={last:%Y-%m-%dT%H:%M:%SZ}"
