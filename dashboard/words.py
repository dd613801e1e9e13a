"""Numbers, times and sentences in British English. Knows no record and no page.

Thin no-break spaces stand before units, and inside a duration a no-break space, so that a figure is never torn apart.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

THIN = "\u202f"
KEPT = "\u00a0"

_NUMBERS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
    "twenty",
)
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def number(count: int) -> str:
    """In words up to twenty, in figures beyond.

    >>> number(0), number(20), number(1421)
    ('no', 'twenty', '1421')
    """
    return _NUMBERS[count] if 0 <= count < len(_NUMBERS) else str(count)


def counted(count: int, one: str, many: str | None = None) -> str:
    """
    >>> counted(1, "visit"), counted(2, "press", "presses"), counted(0, "visit")
    ('one visit', 'two presses', 'no visit')
    """
    return f"{number(count)} {one if count in (0, 1) else many or one + 's'}"


def times(count: int) -> str:
    """
    >>> times(1), times(2), times(5)
    ('once', 'twice', 'five times')
    """
    return {1: "once", 2: "twice"}.get(count, f"{number(count)} times")


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "…")) else ".")


def listed(parts: Sequence[str]) -> str:
    """
    >>> listed(["front", "garden", "chime"])
    'front, garden and chime'
    """
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def local(time_s: float, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(time_s, UTC).astimezone(zone)


def clock(time_s: float, zone: ZoneInfo) -> str:
    """The time of day as 09.14."""
    return local(time_s, zone).strftime("%H.%M")


def other_time(time_s: float, beside_s: float, zone: ZoneInfo) -> str:
    """A time told beside another one: with its seconds where the minute is the same, with its day where that is another.

    >>> zone = ZoneInfo("Europe/London")
    >>> [other_time(t, 1795616040.0, zone).replace(KEPT, " ") for t in (1795615320.0, 1795616070.0, 1795500000.0)]
    ['14.02', '14.14.30', '06.00 on 24 November']
    """
    then, beside = local(time_s, zone), local(beside_s, zone)
    if then.date() != beside.date():
        return f"{clock(time_s, zone)} on {day_and_month(then.date())}"
    same = then.strftime("%H.%M") == beside.strftime("%H.%M")
    return then.strftime("%H.%M.%S") if same else clock(time_s, zone)


def one_in(share: float, what: str = "hour") -> str:
    """A share in words: small ones as one in so many, large ones in tenths.

    >>> [one_in(s) for s in (0.00001, 0.0187, 0.34)]
    ['less than one hour in a thousand', 'about one hour in 53', 'about one hour in three']
    >>> [one_in(s) for s in (0.75, 0.97, 1.0)]
    ['about eight hours in ten', 'nearly all of it', 'all of it']
    """
    if share < 0.001:
        return f"less than one {what} in a thousand"
    if share < 0.4:
        return f"about one {what} in {number(round(1 / share))}"
    if share < 0.95:
        return f"about {number(round(10 * share))} {what}s in ten"
    return "all of it" if share > 0.9995 else "nearly all of it"


def span(start_s: float, end_s: float, zone: ZoneInfo) -> str:
    """Two times of one day, as 11.08 to 13.00."""
    return f"{clock(start_s, zone)} to {clock(end_s, zone)}"


def weekday(day: date) -> str:
    return _DAYS[day.weekday()]


def day_and_month(day: date) -> str:
    """As 25 November."""
    return f"{day.day}{KEPT}{_MONTHS[day.month - 1]}"


def day_long(day: date) -> str:
    """As Wednesday 25 November 2026."""
    return f"{weekday(day)} {day_and_month(day)} {day.year}"


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
        day = "" if start.date() == local(now_s, zone).date() else f" on {day_and_month(start.date())}"
        return f"{span(start_s, end_s, zone)}{day}"
    if start.date() == last:
        return day_and_month(last)
    if (start.year, start.month) == (last.year, last.month):
        return f"{start.day} to {day_and_month(last)}"
    return f"{day_and_month(start.date())} to {day_and_month(last)}"


def moment(time_s: float, now_s: float, zone: ZoneInfo) -> str:
    """A time as said today: at 16.02; at 16.02 yesterday; at 16.02 on 3 November."""
    then, today = local(time_s, zone).date(), local(now_s, zone).date()
    days = (today - then).days
    text = f"at {clock(time_s, zone)}"
    if days == 0:
        return text
    if days == 1:
        return f"{text} yesterday"
    return f"{text} on {day_and_month(then)}" + (f" {then.year}" if then.year != today.year else "")


def duration(length_s: float) -> str:
    """A length of time in one or two units; hours are not made into days, so that they can be added in the head.

    >>> [duration(s).replace(THIN, " ").replace(KEPT, " ") for s in (0.038, 0.4, 24.2, 600, 6720, 535_080)]
    ['38 ms', '0.4 s', '24 s', '10 min', '1 h 52 min', '148 h 38 min']
    """
    if length_s < 0.0995:
        return f"{max(1, round(length_s * 1000))}{THIN}ms"
    if length_s < 9.95:
        return f"{length_s:.1f}{THIN}s".replace(".0" + THIN, THIN)
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
    return f"{value:.{decimals}f}{THIN}{unit}".replace("-", "−")


def bytes_in_words(size: int) -> str:
    return f"{size}{THIN}byte" if size == 1 else f"{size}{THIN}bytes"
