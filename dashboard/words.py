"""Numbers, times and sentences, in British English or the reader's language. Knows no record and no page.

Thin no-break spaces stand before units, and inside a duration a no-break space, so that a figure is never torn apart.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from dashboard.language import ENGLISH, figure, language, marked, point, say, say_counted

THIN = "\u202f"
KEPT = "\u00a0"

_NUMBERS = (
    marked("no"),
    marked("one"),
    marked("two"),
    marked("three"),
    marked("four"),
    marked("five"),
    marked("six"),
    marked("seven"),
    marked("eight"),
    marked("nine"),
    marked("ten"),
    marked("eleven"),
    marked("twelve"),
    marked("thirteen"),
    marked("fourteen"),
    marked("fifteen"),
    marked("sixteen"),
    marked("seventeen"),
    marked("eighteen"),
    marked("nineteen"),
    marked("twenty"),
)
DAYS = (
    marked("Monday"),
    marked("Tuesday"),
    marked("Wednesday"),
    marked("Thursday"),
    marked("Friday"),
    marked("Saturday"),
    marked("Sunday"),
)
"""Of the week, Monday first."""

SHORT_DAYS = (marked("Mon"), marked("Tue"), marked("Wed"), marked("Thu"), marked("Fri"), marked("Sat"), marked("Sun"))
_MONTHS = (
    marked("January"),
    marked("February"),
    marked("March"),
    marked("April"),
    marked("May"),
    marked("June"),
    marked("July"),
    marked("August"),
    marked("September"),
    marked("October"),
    marked("November"),
    marked("December"),
)
_SHORT_MONTHS = (
    marked("Jan"),
    marked("Feb"),
    marked("Mar"),
    marked("Apr"),
    marked("May"),
    marked("Jun"),
    marked("Jul"),
    marked("Aug"),
    marked("Sep"),
    marked("Oct"),
    marked("Nov"),
    marked("Dec"),
)


def number(count: int) -> str:
    """In words up to twenty, in figures beyond.

    >>> number(0), number(20), number(1421)
    ('no', 'twenty', '1421')
    """
    return say(_NUMBERS[count]) if 0 <= count < len(_NUMBERS) else str(count)


def counted(count: int, one: str, many: str | None = None) -> str:
    """
    >>> counted(1, "visit"), counted(2, "press", "presses"), counted(0, "visit")
    ('one visit', 'two presses', 'no visit')
    """
    return say_counted(count, f"{{number}} {one}", f"{{number}} {many or one + 's'}", number=number(count))


def times(count: int) -> str:
    """
    >>> times(1), times(2), times(5)
    ('once', 'twice', 'five times')
    """
    return {1: say("once"), 2: say("twice")}.get(count) or say("{number} times", number=number(count))


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "…")) else ".")


def listed(parts: Sequence[str]) -> str:
    """
    >>> listed(["front", "garden", "chime"])
    'front, garden and chime'
    """
    return parts[0] if len(parts) == 1 else say("{parts} and {last}", parts=", ".join(parts[:-1]), last=parts[-1])


def person(name: str) -> str:
    """Who did something, as the record has it: a name, or somebody."""
    return say("somebody") if name == "somebody" else name


def inside(text: str) -> str:
    """A name as it stands inside a sentence: in small letters, where the language writes its nouns so."""
    return text.lower() if language() == ENGLISH else text


def within(text: str) -> str:
    """The same for its first letter alone."""
    return text[:1].lower() + text[1:] if language() == ENGLISH else text


def local(time_s: float, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(time_s, UTC).astimezone(zone)


def clock(time_s: float, zone: ZoneInfo) -> str:
    """The time of day as 09.14."""
    return in_hours(local(time_s, zone))


def in_hours(then: datetime | time, seconds: bool = False) -> str:
    """A time of day as 09.14, or 09.14.30; where hours are written with a colon, so."""
    text = then.strftime("%H.%M.%S" if seconds else "%H.%M")
    return text if language() == ENGLISH else text.replace(".", say("09.14")[2])


def hour(number: int) -> str:
    """A full hour as 09.00; the last midnight is 24.00."""
    return f"{number:02d}{say('09.14')[2]}00"


def other_time(time_s: float, beside_s: float, zone: ZoneInfo) -> str:
    """A time told beside another one: with its seconds where the minute is the same, with its day where that is another.

    >>> zone = ZoneInfo("Europe/London")
    >>> [other_time(t, 1795616040.0, zone).replace(KEPT, " ") for t in (1795615320.0, 1795616070.0, 1795500000.0)]
    ['14.02', '14.14.30', '06.00 on 24 November']
    """
    then, beside = local(time_s, zone), local(beside_s, zone)
    if then.date() != beside.date():
        return say("{clock} on {day}", clock=clock(time_s, zone), day=day_and_month(then.date()))
    return in_hours(then, seconds=then.strftime("%H.%M") == beside.strftime("%H.%M"))


def one_in(share: float) -> str:
    """A share of time in words: small ones as one hour in so many, large ones in tenths.

    >>> [one_in(s) for s in (0.00001, 0.0187, 0.34)]
    ['less than one hour in a thousand', 'about one hour in 53', 'about one hour in three']
    >>> [one_in(s) for s in (0.75, 0.97, 1.0)]
    ['about eight hours in ten', 'nearly all of it', 'all of it']
    """
    if share < 0.001:
        return say("less than one hour in a thousand")
    if share < 0.4:
        return say("about one hour in {number}", number=number(round(1 / share)))
    if share < 0.95:
        return say("about {number} hours in ten", number=number(round(10 * share)))
    return say("all of it") if share > 0.9995 else say("nearly all of it")


def span(start_s: float, end_s: float, zone: ZoneInfo) -> str:
    """Two times of one day, as 11.08 to 13.00."""
    return to(clock(start_s, zone), clock(end_s, zone))


def to(first: str, last: str) -> str:
    """From one to the other."""
    return say("{first} to {last}", first=first, last=last)


def weekday(day: date) -> str:
    return say(DAYS[day.weekday()])


def day_and_month(day: date) -> str:
    """As 25 November."""
    return say("{day}\u00a0{month}", day=day.day, month=say(_MONTHS[day.month - 1]))


def day_short(day: date) -> str:
    """As 25 Nov."""
    return say("{day}\u00a0{month}", day=day.day, month=say(_SHORT_MONTHS[day.month - 1]))


def month_short(day: date) -> str:
    """As Nov 2026."""
    return f"{say(_SHORT_MONTHS[day.month - 1])} {day.year}"


def weekday_short(day: date) -> str:
    """As Wed."""
    return say(SHORT_DAYS[day.weekday()])


def day_long(day: date) -> str:
    """As Wednesday 25 November 2026."""
    return say("{weekday} {day} {year}", weekday=weekday(day), day=day_and_month(day), year=day.year)


def day_and_year(time_s: float, zone: ZoneInfo) -> str:
    """The day of a moment, as 25 November 2026."""
    day = local(time_s, zone).date()
    return f"{day_and_month(day)} {day.year}"


def month_and_year(day: date) -> str:
    """As November 2026."""
    return f"{say(_MONTHS[day.month - 1])} {day.year}"


def days(start_s: float, end_s: float, now_s: float, zone: ZoneInfo) -> str:
    """A stretch by its days; by its hours where it lies within one day. What ends at midnight does not touch the day after.

    >>> zone = ZoneInfo("Europe/London")
    >>> found = [days(*s, 1795630800.0, zone) for s in ((1795132800.0, 1795478400.0), (1795597200.0, 1795626000.0))]
    >>> [one.replace(KEPT, " ") for one in found]
    ['20 to 23 November', '09.00 to 17.00']
    """
    start, end = local(start_s, zone), local(end_s, zone)
    last = local(end_s - 1.0, zone).date() if end.strftime("%H.%M.%S") == "00.00.00" else end.date()
    if start.date() == end.date():
        hours = span(start_s, end_s, zone)
        today = start.date() == local(now_s, zone).date()
        return hours if today else say("{clock} on {day}", clock=hours, day=day_and_month(start.date()))
    if start.date() == last:
        return day_and_month(last)
    if (start.year, start.month) == (last.year, last.month):
        return say("{first} to {day}", first=start.day, day=day_and_month(last))
    return to(day_and_month(start.date()), day_and_month(last))


def moment(time_s: float, now_s: float, zone: ZoneInfo) -> str:
    """A time as said today: at 16.02; at 16.02 yesterday; at 16.02 on 3 November."""
    day = _day_of(time_s, now_s, zone)
    if day == "yesterday":
        return say("at {clock} yesterday", clock=clock(time_s, zone))
    return (
        say("at {clock} on {day}", clock=clock(time_s, zone), day=day)
        if day
        else say("at {clock}", clock=clock(time_s, zone))
    )


def stamp(time_s: float, now_s: float, zone: ZoneInfo) -> str:
    """The same by itself, or after a word such as since: 16.02; 16.02 yesterday; 16.02 on 3 November."""
    day = _day_of(time_s, now_s, zone)
    if day == "yesterday":
        return say("{clock} yesterday", clock=clock(time_s, zone))
    return say("{clock} on {day}", clock=clock(time_s, zone), day=day) if day else clock(time_s, zone)


def _day_of(time_s: float, now_s: float, zone: ZoneInfo) -> str:
    """Empty for today."""
    then, today = local(time_s, zone).date(), local(now_s, zone).date()
    days = (today - then).days
    if days in (0, 1):
        return "yesterday" if days else ""
    return day_and_month(then) + (f" {then.year}" if then.year != today.year else "")


def duration(length_s: float) -> str:
    """A length of time in one or two units; hours are not made into days, so that they can be added in the head.

    >>> [duration(s).replace(THIN, " ").replace(KEPT, " ") for s in (0.038, 0.4, 24.2, 600, 6720, 535_080)]
    ['38 ms', '0.4 s', '24 s', '10 min', '1 h 52 min', '148 h 38 min']
    """
    if length_s < 0.0995:
        return f"{max(1, round(length_s * 1000))}{THIN}ms"
    if length_s < 9.95:
        return f"{figure(length_s, '.1f')}{THIN}s".replace(f"{point()}0{THIN}", THIN)
    if length_s < 119.5:
        return f"{length_s:.0f}{THIN}s"
    hours, minutes = divmod(round(length_s / 60), 60)
    parts = ([f"{hours}{THIN}h"] if hours else []) + ([f"{minutes}{THIN}min"] if minutes or not hours else [])
    return KEPT.join(parts)


def measured(value: float | None, unit: str, decimals: int = 2) -> str:
    """A figure with its unit and a true minus; a dash where there is none.

    >>> measured(-0.3, "V", 1).replace(THIN, " ")
    '−0.3 V'
    """
    if value is None:
        return "–"
    return f"{figure(value, f'.{decimals}f')}{THIN}{unit}".replace("-", "−")


def bytes_in_words(size: int) -> str:
    return say_counted(size, "{size}\u202fbyte", "{size}\u202fbytes", size=size)
