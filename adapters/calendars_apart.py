"""Calendars in and out, read and written in a process of its own: the libraries for it would stay in memory, and what strangers
put into a calendar is not looked at here."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from service.apart import apart
from service.errors import Refused
from service.model import Site, Visit
from service.presses.away import Away
from service.presses.patterns import LocalHour, WallClock

MOST_BYTES = 1 << 20
"""A calendar of ten years of absences has some 100 kB."""


def read_away(ics: bytes, from_s: float, until_s: float, zone: ZoneInfo) -> list[Away]:
    """See `calendars.read_away`. Raises Refused with its sentence."""
    return apart(_read_away, ics, from_s, until_s, zone)


def write_visits(visits: Sequence[Visit], site: Site, zone: ZoneInfo, doors: Mapping[str, str]) -> bytes:
    """See `calendars.write_visits`."""
    return apart(_write_visits, tuple(visits), site, zone, dict(doors))


def write_away(aways: Sequence[Away], site: Site, stamp_s: float) -> bytes:
    """See `calendars.write_away`."""
    return apart(_write_away, tuple(aways), site, stamp_s)


def wall_clock(zone: ZoneInfo) -> WallClock:
    """The clock on the wall of a house in that zone."""

    def place(at_s: float) -> LocalHour:
        local = datetime.fromtimestamp(at_s, zone)
        year, week, weekday = local.isocalendar()
        return LocalHour(weekday - 1, local.hour, local.date().isoformat(), f"{year}-W{week:02d}")

    return place


def _read_away(ics: bytes, from_s: float, until_s: float, zone: ZoneInfo) -> list[Away]:
    from adapters import calendar_limits, calendars

    try:
        return calendars.read_away(ics, from_s, until_s, zone)
    except calendar_limits.BadCalendar as error:
        raise Refused(str(error)) from None  # one that can be told without those libraries


def _write_visits(visits: Sequence[Visit], site: Site, zone: ZoneInfo, doors: Mapping[str, str]) -> bytes:
    from adapters import calendars

    return calendars.write_visits(visits, site, zone, doors)


def _write_away(aways: Sequence[Away], site: Site, stamp_s: float) -> bytes:
    from adapters import calendars

    return calendars.write_away(aways, site, stamp_s)
