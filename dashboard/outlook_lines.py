"""The outlook in sentences: what drifts, how fast, and when it meets its limit; what does not, and why. Knows no record."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from dashboard import quantities, words
from dashboard.language import figure, marked, resaid, say
from service.findings.outlook import Limit, Outlook

DAY_S = 86_400.0
SOON_S = 90.0 * DAY_S
"""Days are named up to here, beyond it months."""

_TOO_LITTLE = ("too few readings", "too short a time", "it changed at once, and there is too little since")
_LEVEL = ("the slope may as well be nothing", "a healthy supply moves as much by itself")

_NAMES = {
    "reservoir_f": marked("Reservoir"),
    "open_circuit_v": marked("Open voltage of the transformer"),
    "headroom_v": marked("Headroom"),
}
"""Shorter, or without a comma, than in a table."""


def lines(outlooks: Sequence[Outlook], now_s: float, zone: ZoneInfo) -> list[str]:
    """A sentence for each that drifts, has changed at once or is beyond its limit; those that do neither are told together."""
    told = [one for one in outlooks if one.drifts or one.changed_s is not None or one.passed]
    rest = [one for one in outlooks if one not in told]
    said = [f"{_name(one)}: {_told(one, now_s, zone)}." for one in told]
    return said + _together(rest, [one for one in outlooks if one.why in _TOO_LITTLE], len(outlooks))


def ahead(outlooks: Sequence[Outlook], now_s: float, zone: ZoneInfo) -> str:
    """The sentence of the first that will meet its limit; empty where none will."""
    meeting = next((one for one in outlooks if one.drifts and one.at_s is not None and not one.passed), None)
    return "" if meeting is None else f"{_name(meeting)}: {_told(meeting, now_s, zone)}."


def _told(one: Outlook, now_s: float, zone: ZoneInfo) -> str:
    parts = []
    if one.changed_s is not None and one.changed_from is not None:
        span = quantities.between(one.name, one.changed_from, one.value)
        parts.append(say("changed at once by {day}, from {span}", day=_day(one.changed_s, now_s, zone), span=span))
    if one.drifts:
        parts += _speed(one)
    if one.passed and one.limit is not None:
        since = (
            say(" since about {day}", day=_day(one.at_s, now_s, zone))
            if one.at_s is not None and one.at_s < now_s
            else ""
        )
        parts.append(say("is beyond {limit}{since}", limit=_limit(one.limit, one.name), since=since))
    elif one.at_s is not None and one.limit is not None:
        parts.append(say("reaches {limit} {when}", limit=_limit(one.limit, one.name), when=_when(one, now_s, zone)))
    elif one.why == "it moves away from the limit":
        parts.append(say("moves away from its limit"))
    elif one.why == "beyond ten years" and one.limit is not None:
        parts.append(say("is more than ten years away from {limit}", limit=_limit(one.limit, one.name)))
    if one.why in _LEVEL:
        parts.append(say("no trend over {days}", days=_days(one.span_s)))
    return "; ".join(parts)


def _together(rest: Sequence[Outlook], early: Sequence[Outlook], count: int) -> list[str]:
    said = []
    level = [one for one in rest if one.why in _LEVEL]
    if level:
        said.append(
            say("No trend over {days}: {names}.", days=_days(min(one.span_s for one in level)), names=_names(level))
        )
        said += [
            say(
                "A loss of the reservoir of up to {percent} a year could hide in that.",
                percent=_percent(-one.share_per_year.low),
            )
            for one in level
            if one.name == "reservoir_f" and one.share_per_year is not None and one.share_per_year.low < 0.0
        ]
    if early:
        most = max(early, key=lambda one: (one.readings, one.span_s))
        surveys = words.counted(most.readings, "day with a survey", "days with a survey")
        over = say(", over {days}", days=_days(most.span_s)) if most.span_s >= DAY_S else ""
        of_what = "" if len(early) == count > 1 else say(" of {names}", names=_names(early))
        said.append(
            say(
                "Too early for a trend{of_what}: {surveys}{over}. It takes eight at least, over three weeks.",
                of_what=of_what,
                surveys=surveys,
                over=over,
            )
        )
    return said


def _speed(one: Outlook) -> list[str]:
    if one.per_year is None:
        return []
    verb = say("loses") if one.per_year.value < 0.0 else say("gains")
    share = one.share_per_year
    if share is not None:
        near, far = (_percent(abs(end)) for end in sorted((share.low, share.high), key=abs))
        return [
            say(
                "{verb} {percent} a year ({near} to {far})",
                verb=verb,
                percent=_percent(abs(share.value)),
                near=near.removesuffix(words.THIN + "%"),
                far=far,
            )
        ]
    near_v, far_v = sorted((abs(one.per_year.low), abs(one.per_year.high)))
    speed = quantities.figure(one.name, abs(one.per_year.value))
    return [
        say(
            "{verb} {speed} a year ({between})",
            verb=verb,
            speed=speed,
            between=quantities.between(one.name, near_v, far_v),
        )
    ]


def _limit(limit: Limit, name: str) -> str:
    reason = resaid(limit.reason).replace(" %", f"{words.THIN}%").replace(" ohm", f"{words.THIN}Ω")
    return say(
        "its limit of {figure} ({reason})",
        figure=quantities.figure(name, limit.value),
        reason=reason.replace(" mA", f"{words.THIN}mA"),
    )


def _when(one: Outlook, now_s: float, zone: ZoneInfo) -> str:
    earliest_s = one.earliest_s if one.earliest_s is not None else now_s
    if one.latest_s is None:
        return say("in {month} at the earliest", month=_month(earliest_s, zone))
    soon = one.latest_s - now_s < SOON_S
    last = _day(one.latest_s, now_s, zone) if soon else _month(one.latest_s, zone)
    if earliest_s <= now_s + DAY_S:
        return say("by {last}", last=last)
    first = _day(earliest_s, now_s, zone) if soon else _month(earliest_s, zone)
    if first == last:
        return say("on {last}", last=last) if soon else say("in {last}", last=last)
    same_year = words.local(earliest_s, zone).year == words.local(one.latest_s, zone).year
    return say(
        "between {value} and {last}", value=first.rpartition(" ")[0] if same_year and (not soon) else first, last=last
    )


def _day(time_s: float, now_s: float, zone: ZoneInfo) -> str:
    day, year = words.local(time_s, zone).date(), words.local(now_s, zone).year
    return words.day_and_month(day) + (f" {day.year}" if day.year != year else "")


def _month(time_s: float, zone: ZoneInfo) -> str:
    day = words.local(time_s, zone).date()
    return words.month_and_year(day)


def _days(span_s: float) -> str:
    days = round(span_s / DAY_S)
    return say("{days} days", days=days) if days < 100 else say("{days} months", days=round(days / 30.44))


def _name(one: Outlook) -> str:
    return say(_NAMES.get(one.name, "")) or quantities.name_of(one.name)


def _names(some: Sequence[Outlook]) -> str:
    return words.listed([words.within(_name(one)) for one in some])


def _percent(share: float) -> str:
    percent = 100.0 * share
    return f"{figure(percent, '.1f' if percent < 10.0 else '.0f')}{words.THIN}%"
