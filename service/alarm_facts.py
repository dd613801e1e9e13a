"""The facts that rules look at, read from the record: of one chime, only what its rules ask for, only as far back as they need.

Knows no SQL and no rule's verdict.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from math import inf
from zoneinfo import ZoneInfo

from service.alarm_kept import HOUR_S, Kept
from service.alarm_ports import Ring
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
from service.model import Chime, is_nobody
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

WINDOW_S = 10.0
"""The shortest that chimes send [s]."""

LOCAL_STEP_S = 3600.0


def facts_of(
    reader: Reader,
    chime: Chime,
    rules: Sequence[Rule],
    since: Mapping[str, float],
    to_s: float,
    kept: Kept | None = None,
) -> Facts:
    """Parameters
    ----------
    since : by rule, from when on the facts are needed [POSIX s]; never before the chime was first heard.
    kept : what an earlier look at this chime has left at hand; it changes no answer.
    """
    first_s = chime.first_heard_s
    at_hand = kept or Kept()
    at_hand.renew(reader, chime)

    def earliest(*kinds: type) -> float:
        return max(min((since[rule.id] for rule in rules if isinstance(rule.watch, kinds)), default=inf), first_s)

    values = [rule for rule in rules if isinstance(rule.watch, QuantityBeyond | Trend)]
    others = [since[rule.id] for rule in rules if rule not in values]
    presses_s, visits_s, blind_s = earliest(HeldPress, QuietPress), earliest(ManyVisits), earliest(BlindTime)
    packs_from_s = earliest(NoPack)
    rings_s = min(presses_s, visits_s)
    rings = at_hand.rings(reader, chime, rings_s) if rings_s < to_s else ()
    quiet = any(isinstance(rule.watch, QuietPress) for rule in rules)
    return Facts(
        from_s=max(min(others, default=to_s), first_s),
        to_s=to_s,
        readings=_readings(reader, chime, at_hand, values, since, to_s),
        presses=[
            Pressed(one.door, one.start_s, one.end_s)
            for one in rings
            if one.start_s < to_s and _lasts(one, presses_s) and not one.doubtful  # doubtful ones call nobody
        ],
        visits=[one for one in _visits(rings) if visits_s <= one.start_s < to_s],
        unseen=[
            Unseen(one.start_s, one.end_s, one.why)
            for one in (reader.blind_of(chime, blind_s, to_s) if blind_s < to_s else ())
        ],
        packs_s=_packs_s(reader, chime, at_hand, rules, packs_from_s, to_s),
        packs_from_s=packs_from_s if packs_from_s < to_s else None,
        findings=at_hand.findings(partial(_findings, reader, chime.site, chime.chime))
        if any(isinstance(rule.watch, OpenFinding) for rule in rules)
        else (),
        local=_local(reader.site(chime.site).time_zone, presses_s, to_s) if quiet and presses_s < to_s else (),
    )


def _readings(
    reader: Reader, chime: Chime, kept: Kept, rules: Sequence[Rule], since: Mapping[str, float], to_s: float
) -> dict[str, Sequence[Reading]]:
    from_s: dict[str, float] = {}
    for rule in rules:
        assert isinstance(rule.watch, QuantityBeyond | Trend)
        watched = rule.watch.name
        from_s[watched] = max(min(from_s.get(watched, inf), since[rule.id]), chime.first_heard_s)
    windowed = {name: start_s for name, start_s in from_s.items() if name in OF_WINDOWS}
    found = kept.windows(reader, chime, OF_WINDOWS, windowed, to_s)
    for name, start_s in from_s.items():
        if name not in OF_WINDOWS:
            found[name] = kept.measured(reader, chime, name, start_s, to_s)
    return found


def _lasts(ring: Ring, from_s: float) -> bool:
    """It begins then or later, or lasts until then."""
    return ring.start_s >= from_s or ring.end_s is None or ring.end_s >= from_s


def _visits(rings: Sequence[Ring]) -> list[Called]:
    """In order. Doubtful ones call nobody."""
    visits: dict[int, list[Ring]] = {}
    for ring in rings:
        visits.setdefault(ring.visit_id, []).append(ring)
    told = [(one[0].visit_start_s, number, one) for number, one in visits.items() if not is_nobody(one)]
    return [Called(one[0].door, start_s) for start_s, _, one in sorted(told, key=lambda visit: visit[:2])]


def _packs_s(
    reader: Reader, chime: Chime, kept: Kept, rules: Sequence[Rule], start_s: float, to_s: float
) -> list[float]:
    """Moments at which the chime was heard: on both sides of each silence that any rule asks for, and a few between."""
    if start_s >= to_s:
        return []
    shortest_s = min(rule.watch.longer_than_s for rule in rules if isinstance(rule.watch, NoPack))
    heard_s = kept.moments(reader, chime, start_s, min(max(shortest_s / 4.0, WINDOW_S), HOUR_S))
    for boot in reader.boots(chime.site, chime.chime, start_s, to_s):
        heard_s += [boot.start_s, boot.last_heard_s]
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
