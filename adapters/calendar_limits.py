"""How much a calendar may hold and mean, looked at before any of it is written out: one line can mean a million events.

Knows the format (RFC 5545) and what the libraries do with it, but neither absences nor visits.
"""

from datetime import date, datetime
from math import prod

from dateutil.rrule import rrulestr  # type: ignore[import-untyped]
from icalendar import Component, vRecur

from service.errors import Refused

MOST_EVENTS = 5_000
MOST_AWAYS = 5_000
MOST_DAYS = 3_660
"""A period that is read at once: ten years."""

MOST_A_DAY = 4
"""How often one event may repeat within a day."""

MOST_STEPS = 200_000
"""Days from the beginnings of all recurring events to the end of the period, which the library goes through one by one: fifty
daily events of ten years; some five seconds of a small computer."""

FIRST_YEAR = 1900

PROBE = datetime(9960, 1, 1)
"""A rule that matches nothing is followed to the year 9999; from here that is forty years, in which weekdays and leap days have
gone through all their combinations (28 years)."""

MOST_TEXT = 200
"""Characters of a summary, and of what is quoted in a sentence."""


class BadCalendar(Refused):
    """A calendar that cannot be read, or means too much. Answer with the sentence."""


def check(calendar: Component, until: date) -> None:
    """Refuse, with `BadCalendar`, what is broken or too much to be written out until then. Events without a UID are given one."""
    events = calendar.walk("VEVENT")
    if len(events) > MOST_EVENTS:
        raise BadCalendar(f"The calendar has {len(events)} events; at most {MOST_EVENTS} are read.")
    steps = 0
    for number, event in enumerate(events, 1):
        event.setdefault("UID", f"event-{number}")
        if event.errors:
            name, error = event.errors[0]
            raise BadCalendar(f"{_named(event)}: {name} cannot be read: {sentence(str(error))}")
        if "DTSTART" not in event:
            raise BadCalendar(f"{_named(event)} has no beginning (DTSTART).")
        start = day_or_time(event, "DTSTART")
        if start.year < FIRST_YEAR:
            raise BadCalendar(f"{_named(event)} begins in the year {start.year}; {FIRST_YEAR} is the earliest.")
        told = event.get("RRULE", [])
        for rule in told if isinstance(told, list) else [told]:
            days = until.toordinal() - start.toordinal()
            steps += max(0, days) * _times_a_day(event, rule)
    if steps > MOST_STEPS:
        raise BadCalendar(
            f"The recurring events go through {steps} days; at most {MOST_STEPS} are read: begin them later."
        )


def day_or_time(event: Component, name: str) -> date:
    moment = event.decoded(name)
    if not isinstance(moment, date):
        raise BadCalendar(f"{_named(event)}: {name} is neither a day nor a time.")
    return moment


def sentence(text: str) -> str:
    """One line of a length that fits a sentence."""
    return " ".join(text.split())[:MOST_TEXT]


def _times_a_day(event: Component, rule: vRecur) -> int:
    """How often at the most; refuses rules without an end to the work they make."""
    frequency = str((rule.get("FREQ") or [""])[0])
    if frequency not in ("DAILY", "WEEKLY", "MONTHLY", "YEARLY"):
        raise BadCalendar(
            f"{_named(event)} repeats {frequency or 'without a frequency'}; daily is the most often that is read."
        )
    times = prod(max(1, len(rule.get(part) or [])) for part in ("BYHOUR", "BYMINUTE", "BYSECOND"))
    if times > MOST_A_DAY:
        raise BadCalendar(f"{_named(event)} repeats {times} times a day; at most {MOST_A_DAY} are read.")
    interval = (rule.get("INTERVAL") or [1])[0]
    if not isinstance(interval, int) or interval < 1:
        raise BadCalendar(f"{_named(event)} repeats at an interval of {interval}; 1 is the least (3.3.10).")
    days = vRecur({part: value for part, value in rule.items() if part not in ("COUNT", "UNTIL", "INTERVAL")})
    bare = days.to_ical().decode()  # type: ignore[no-untyped-call]
    if next(iter(rrulestr(bare, dtstart=PROBE)), None) is None:
        raise BadCalendar(f"{_named(event)} repeats on days that do not exist: {sentence(bare)}")
    return times


def _named(event: Component) -> str:
    return f"The event “{sentence(str(event.get('SUMMARY') or event['UID']))}”"
