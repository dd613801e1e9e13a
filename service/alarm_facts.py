"""The facts that rules look at, read from the record: of one chime, only what its rules ask for, only as far back as they need.

Knows no SQL and no rule's verdict.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from itertools import groupby
from math import inf
from zoneinfo import ZoneInfo

from service.alarms.facts import Called, Facts, Found, Pressed, Reading, Unseen
from service.alarms.rules import (
    BlindTime,
    HeldPress,
    ManyVisits,
    NoPack,
    OpenFinding,
    QuantityBeyond,
    QuietPress,
    Rule,
    Trend,
)
from service.findings.life import State
from service.model import Chime
from service.ports import Reader

OF_WINDOWS = {
    "rail_mean_v": "mean_v",
    "rail_min_v": "min_v",
    "rail_max_v": "max_v",
    "rail_low_v": "low_v",
    "regulated_min_v": "regulated_min_v",
    "temperature_c": "temperature_c",
    "link_dbw": "link_dbw",
}
"""Quantities that come with windows of the rail, and their column; the others are measured by examinations."""

MOST_READINGS = 10_000
"""Of one stretch; windows of a longer one are joined until they are no more, so that a year needs no more memory than a day."""

WINDOW_S = 10.0
"""The shortest that chimes send [s]."""

LOCAL_STEP_S = 3600.0
PAGE = 1000


def facts_of(reader: Reader, chime: Chime, rules: Sequence[Rule], since: Mapping[str, float], to_s: float) -> Facts:
    """Parameters
    ----------
    since : by rule, from when on the facts are needed [POSIX s]; never before the chime was first heard.
    """
    site, name, first_s = chime.site, chime.chime, chime.first_heard_s

    def earliest(*kinds: type) -> float:
        return max(min((since[rule.id] for rule in rules if isinstance(rule.watch, kinds)), default=inf), first_s)

    values = [rule for rule in rules if isinstance(rule.watch, QuantityBeyond | Trend)]
    others = [since[rule.id] for rule in rules if rule not in values]
    presses_s, blind_s = earliest(HeldPress, QuietPress), earliest(BlindTime)
    return Facts(
        from_s=max(min(others, default=to_s), first_s),
        to_s=to_s,
        readings=_readings(reader, site, name, values, since, first_s, to_s),
        presses=_presses(reader, site, name, presses_s, to_s) if presses_s < to_s else (),
        visits=_visits(reader, site, name, earliest(ManyVisits), to_s),
        unseen=[
            Unseen(one.start_s, one.end_s, one.why)
            for one in (reader.blind_spells(site, blind_s, to_s, to_s) if blind_s < to_s else ())
            if one.chime == name and one.door is None
        ],
        packs_s=_packs_s(reader, chime, rules, earliest(NoPack), to_s),
        findings=_findings(reader, site, name) if any(isinstance(rule.watch, OpenFinding) for rule in rules) else (),
        local=_local(reader.site(site).time_zone, presses_s, to_s) if presses_s < to_s else (),
    )


def _readings(
    reader: Reader,
    site: str,
    chime: str,
    rules: Sequence[Rule],
    since: Mapping[str, float],
    first_s: float,
    to_s: float,
) -> dict[str, Sequence[Reading]]:
    from_s: dict[str, float] = {}
    for rule in rules:
        assert isinstance(rule.watch, QuantityBeyond | Trend)
        watched = rule.watch.name
        from_s[watched] = max(min(from_s.get(watched, inf), since[rule.id]), first_s)
    found: dict[str, Sequence[Reading]] = {}
    # windows are read once for all names that need the same stretch
    windowed = sorted((start_s, name) for name, start_s in from_s.items() if name in OF_WINDOWS)
    for start_s, names in groupby(windowed, key=lambda one: one[0]):
        long = (to_s - start_s) / MOST_READINGS
        points = reader.supply(site, chime, start_s, to_s, long if long > WINDOW_S else None, MOST_READINGS)
        for _, name in names:
            told = ((min(point.end_s, to_s), getattr(point, OF_WINDOWS[name])) for point in points)
            found[name] = [Reading(at_s, value) for at_s, value in told if value is not None]
    for name, start_s in from_s.items():
        if name not in OF_WINDOWS:
            measured = reader.quantities(site, chime, name, start_s, to_s, MOST_READINGS)
            found[name] = [Reading(one.at_s, one.measured.value) for one in measured]
    return found


def _presses(reader: Reader, site: str, chime: str, start_s: float, to_s: float) -> list[Pressed]:
    """Doubtful ones call nobody."""
    found: list[Pressed] = []
    cursor: str | None = None
    while True:
        page, cursor = reader.presses(site, start_s, to_s, chime=chime, cursor=cursor, limit=PAGE)
        found += [Pressed(one.door, one.start_s, one.end_s) for one in page if not one.doubtful]
        if cursor is None:
            return found


def _visits(reader: Reader, site: str, chime: str, start_s: float, to_s: float) -> list[Called]:
    found: list[Called] = []
    cursor: str | None = None
    while start_s < to_s:
        page, cursor = reader.visits(site, start_s, to_s, chime=chime, cursor=cursor, limit=PAGE)
        found += [Called(one.door, one.start_s) for one in page if not one.doubtful]
        if cursor is None:
            break
    return found


def _packs_s(reader: Reader, chime: Chime, rules: Sequence[Rule], start_s: float, to_s: float) -> list[float]:
    """Moments at which the chime was heard: the last of all exactly, those before it as close as the shortest silence asks for."""
    if start_s >= to_s:
        return []
    shortest_s = min(rule.watch.longer_than_s for rule in rules if isinstance(rule.watch, NoPack))
    step_s = min(max(shortest_s / 4.0, WINDOW_S), 600.0)
    step_s = max(step_s, (to_s - start_s) / MOST_READINGS)
    heard_s = [point.end_s for point in reader.supply(chime.site, chime.chime, start_s, to_s, step_s, MOST_READINGS)]
    for boot in reader.boots(chime.site, chime.chime, start_s, to_s):
        heard_s += [boot.start_s, boot.last_heard_s]
    heard_s += [one.start_s for one in _presses(reader, chime.site, chime.chime, start_s, to_s)]
    return sorted({min(at_s, to_s, chime.last_heard_s) for at_s in heard_s} | {min(chime.last_heard_s, to_s)})


def _findings(reader: Reader, site: str, chime: str) -> list[Found]:
    states = [state.value for state in State]
    return [
        Found(
            held.finding.name,
            held.finding.door,
            held.finding.likelihood,
            held.raised_s,
            held.cleared_s,
            next((one.at_s for one in held.changes if one.after is State.CONFIRMED), None),
        )
        for held in sorted(reader.findings(site, chime, states=states), key=lambda held: held.raised_s)
    ]


def _local(time_zone: str, start_s: float, to_s: float) -> list[Reading]:
    """By how much local time is ahead, from each change on."""
    zone, found = ZoneInfo(time_zone), list[Reading]()
    for at_s in _steps(start_s, to_s):
        offset = datetime.fromtimestamp(at_s, UTC).astimezone(zone).utcoffset()
        ahead_s = offset.total_seconds() if offset is not None else 0.0
        if not found or found[-1].value != ahead_s:
            found.append(Reading(at_s, ahead_s))
    return found


def _steps(start_s: float, to_s: float) -> Iterable[float]:
    at_s = start_s // LOCAL_STEP_S * LOCAL_STEP_S  # clocks are changed at full hours
    while at_s <= to_s:
        yield at_s
        at_s += LOCAL_STEP_S
