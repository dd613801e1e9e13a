"""Calendars in and out, as iCalendar (RFC 5545): when the household is away, and who rang. The only place that knows the format.

What comes in is read with limits, since a rule of one line can mean a million events; what cannot be read is refused in one
sentence. What goes out says times in UTC, because local time cannot tell the two half past twos of an autumn night apart
(section 3.3.5), and has no alarms. Knows no store and no clock but the one on the wall.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from math import ceil, floor
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

import recurring_ical_events  # type: ignore[import-untyped]
from icalendar import Calendar, Component, Event

from adapters.calendar_limits import (
    MOST_AWAYS,
    MOST_DAYS,
    MOST_TEXT,
    BadCalendar,
    check,
    day_or_time,
    sentence,
)
from adapters.calendars_apart import MOST_BYTES
from service.model import Site, Visit
from service.presses.away import Away

PRODID = "-//Bellcrank//Bellcrank 1//EN"

DAY = timedelta(days=1)
STEP = timedelta(days=92)
"""Recurring events are written out a quarter at a time, so that the limit is met before memory is."""


def read_away(ics: bytes, from_s: float, until_s: float, zone: ZoneInfo) -> list[Away]:
    """Absences that touch the period, in order of time. `zone` is the site's, for whole days and for times without a zone.

    Every event counts, also one that is marked as taking up no time (TRANSP): being in this calendar is what says "away". Those
    that are cancelled do not, nor those without any length.

    Raises
    ------
    BadCalendar : one sentence, with the limit or the event at fault.
    """
    if len(ics) > MOST_BYTES:
        raise BadCalendar(f"The calendar has {len(ics)} bytes; at most {MOST_BYTES} are read.")
    if not until_s - from_s <= MOST_DAYS * 86_400.0:
        raise BadCalendar(
            f"A period of {(until_s - from_s) / 86_400.0:.0f} days; at most {MOST_DAYS} are read at once."
        )
    try:
        calendar = Calendar.from_ical(ics)
        check(calendar, datetime.fromtimestamp(until_s, zone).date())
        found = list(_occurrences(calendar, from_s, until_s, zone))
    except BadCalendar:
        raise
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        # What the libraries raise on calendars that break the standard is not a closed list, but always of these.
        raise BadCalendar(f"The calendar cannot be read: {sentence(str(error) or type(error).__name__)}") from error
    return sorted(found, key=lambda one: (one.start_s, one.end_s, one.uid))


def write_visits(
    visits: Iterable[Visit],
    site: Site,
    zone: ZoneInfo,
    doors: Mapping[str, str] | None = None,
) -> bytes:
    """Visits as a calendar, each with who a person said it was, or else whose cadence it shows. `doors`: names by door.

    The same visit has the same UID in every export, so that importing twice changes nothing; DTSTAMP is the end of the visit,
    the last time that its facts changed (3.8.7.2). A visit of doubtful presses only is tentative (3.8.1.11).
    """
    calendar = _calendar(f"{site.name}: who rang")
    for visit in visits:
        door = (doors or {}).get(visit.door, visit.door)
        presses = "1 press" if len(visit.presses) == 1 else f"{len(visit.presses)} presses"
        event = _event(
            f"visit/{visit.site}/{visit.chime}/{visit.door}/{_first_pack(visit)}",
            f"{visit.who or visit.cadence or 'Somebody'} rang at {door}, {presses}",
            visit.start_s,
            visit.end_s,
            visit.end_s,
        )
        told = [
            *([visit.note] if visit.note else []),
            *(_told(press.start_s, press.end_s, zone) for press in visit.presses),
        ]
        event.add("DESCRIPTION", "\n".join(told))
        event.add("LOCATION", f"{site.name}, {door}")
        event.add(
            "STATUS", "TENTATIVE" if visit.presses and all(press.doubtful for press in visit.presses) else "CONFIRMED"
        )
        event.add("TRANSP", "TRANSPARENT")
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def write_away(aways: Iterable[Away], site: Site, stamp_s: float) -> bytes:
    """Absences as a calendar, one event each, recurring ones written out. `stamp_s`: when this was last changed."""
    calendar = _calendar(f"{site.name}: away")
    for away in aways:
        name = f"away/{site.site}/{away.uid}/{floor(away.start_s)}"
        event = _event(name, away.summary, away.start_s, away.end_s, stamp_s)
        event.add("TRANSP", "OPAQUE")
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _occurrences(calendar: Component, from_s: float, until_s: float, zone: ZoneInfo) -> Iterator[Away]:
    query = recurring_ical_events.of(calendar)
    # A day more at either end: the library compares times without a zone by the clock on the wall.
    at, end = datetime.fromtimestamp(from_s, zone) - DAY, datetime.fromtimestamp(until_s, zone) + DAY
    seen: set[tuple[str, float, float]] = set()
    while at < end:
        until = min(at + STEP, end)
        for event in query.between(at, until):
            if str(event.get("STATUS", "")).upper() == "CANCELLED":
                continue
            summary = str(event.get("SUMMARY", ""))[:MOST_TEXT]
            away = Away(str(event["UID"]), summary, _posix(event, "DTSTART", zone), _posix(event, "DTEND", zone))
            key = (away.uid, away.start_s, away.end_s)
            if away.start_s < away.end_s and away.start_s < until_s and away.end_s > from_s and key not in seen:
                seen.add(key)
                yield away
            if len(seen) > MOST_AWAYS:
                raise BadCalendar(
                    f"The calendar means more than {MOST_AWAYS} events in this period; ask for a shorter one."
                )
        at = until


def _first_pack(visit: Visit) -> str:
    """What stays the same of a visit when everything derived is made anew."""
    packs = [press.pack_id for press in visit.presses if press.pack_id is not None]
    return str(min(packs)) if packs else f"row {visit.id}"


def _posix(event: Component, name: str, zone: ZoneInfo) -> float:
    """A day begins at midnight of the site's zone; a time without a zone is the site's own (3.3.5, form 1)."""
    moment = day_or_time(event, name)
    if not isinstance(moment, datetime):
        moment = datetime(moment.year, moment.month, moment.day)
    return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).timestamp()


def _calendar(name: str) -> Calendar:
    calendar = Calendar()
    calendar.add("VERSION", "2.0")
    calendar.add("PRODID", PRODID)
    calendar.add("NAME", name)  # RFC 7986, 5.1
    return calendar


def _event(name: str, summary: str, start_s: float, end_s: float, stamp_s: float) -> Event:
    """Whole seconds, as the format has no others: never shorter than it was, and never without length."""
    event = Event()
    event.add("UID", str(uuid5(NAMESPACE_URL, f"bellcrank:{name}")))  # RFC 7986, 5.3: a UUID
    event.add("DTSTAMP", datetime.fromtimestamp(floor(stamp_s), UTC))
    event.add("DTSTART", datetime.fromtimestamp(floor(start_s), UTC))
    event.add("DTEND", datetime.fromtimestamp(max(ceil(end_s), floor(start_s) + 1), UTC))
    event.add("SUMMARY", summary)
    return event


def _told(start_s: float, end_s: float | None, zone: ZoneInfo) -> str:
    at = datetime.fromtimestamp(start_s, zone)
    held = "release not heard" if end_s is None else f"{end_s - start_s:.2f} s"
    return f"{at:%Y-%m-%d %H:%M:%S %Z}, {held}"
